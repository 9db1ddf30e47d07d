"""From a wedge in a request to the bench's own."""

from noonframe.api.bench_names import named
from noonframe.api.inputs_bench import WedgeBody
from noonframe.bench.wedges import BASE_DENSITY, StepWedge, even_wedge
from noonframe.errors import OutOfDomain


def wedge_of(body: WedgeBody | None, prefix: str = "wedge.") -> StepWedge:
    """The wedge a request describes; 21 steps of 0.15 where it says nothing."""
    body = body or WedgeBody()
    if body.densities is None:
        name = f"{body.step_count} steps of {body.step_density:.2f}"
        with named(prefix=prefix):
            return even_wedge(body.step_count, body.step_density, name, base_counted=body.base_in_stack)
    for name in ("step_count", "step_density"):
        if name in body.model_fields_set:
            raise OutOfDomain(f"{prefix}{name}", getattr(body, name), "left out when densities are given")
    base = 0.0 if body.base_in_stack else BASE_DENSITY
    with named({"step_density": "densities"}, prefix):
        return StepWedge(f"{len(body.densities)} measured steps", tuple(body.densities), base)
