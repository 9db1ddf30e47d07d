"""`curve`: what densities of a wedge say of a coat, and of the negative that suits it."""

from collections.abc import Mapping
from typing import Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.common import show
from noonframe_terminal.contract import Answer, Service, converse, in_json
from noonframe_terminal.finding import find_run
from noonframe_terminal.options import Reach, Text, takes
from noonframe_terminal.options_bench import Wedge
from noonframe_terminal.readings import Readings, readings_of
from noonframe_terminal.trouble import ANSWERED, refusal

CURVE_EXAMPLES = (
    "noonframe curve readings.csv --dose 96000",
    "noonframe curve 1.42 1.41 1.36 1.18 0.89 0.58 0.34 0.20 0.13 \\\n    --wedge-steps 9 --wedge-step 0.3",
    "noonframe curve two-coats.csv --against one-coat.csv",
)
_NOMINAL_J_M2 = 100_000.0


@takes(wedge=Wedge, reach=Reach)
def curve(
    *,
    wedge: Wedge,
    reach: Reach,
    readings: Annotated[
        list[str],
        typer.Argument(
            metavar="READINGS...",
            help="Density of the print under each step, the clearest first, - where none was read;"
            " or a CSV file: density of the step, density of the print.",
        ),
    ],
    dose: Annotated[
        Text, typer.Option("--dose", metavar="J/m2", help="That fell on the wedge; tells the speed too.")
    ] = None,
    run: Annotated[
        Text, typer.Option("--run", metavar="ID", help="The run it was exposed in, instead, or last.")
    ] = None,
    against: Annotated[
        Text,
        typer.Option(
            "--against", metavar="FILE", help="Another coat to compare with: a file, or 1.3,1.28,..."
        ),
    ] = None,
    against_dose: Annotated[
        Text,
        typer.Option("--against-dose", metavar="J/m2", help="That fell on its wedge; the same if not given."),
    ] = None,
) -> int:
    """Fit the characteristic curve of a coat: D_min, D_max, and the density range of its negative."""
    if dose is not None and run is not None:
        raise refusal("--dose", dose, "left out when --run is given: the run knows it")
    if against_dose is not None and against is None:
        raise refusal("--against-dose", against_dose, "given with --against")
    if against_dose is not None and dose is None and run is None:
        raise refusal("--against-dose", against_dose, "given with --dose or --run: else neither is known")
    one = readings_of(readings, "READINGS", wedge, "This one")
    other = None
    if against is not None:
        other = readings_of(against.split(","), "--against", wedge, "The other")
    is_known = dose is not None or run is not None

    async def talk(service: Service) -> Answer:
        fallen: object = _NOMINAL_J_M2 if dose is None else in_json("dose_j_m2", dose)
        if run is not None:
            path = f"/v1/runs/{await find_run(service, run, kept=True)}"
            fallen = (await service.get(path, {}, {})).says["dose_j_m2"]
        body = {**one.fields, "dose_j_m2": fallen}
        if other is not None:
            its = fallen if against_dose is None else in_json("dose_j_m2", against_dose)
            body["against"] = {**other.fields, "dose_j_m2": its}
        return await service.post("/v1/curve", body, _names(one, other, run))

    answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_curve import draw_curves

        draw_curves(console, answer.says, one, other, is_dose_known=is_known)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


def _names(one: Readings, other: Readings | None, run: str | None) -> Mapping[str, str]:
    names = {**one.names, "dose_j_m2": "--dose" if run is None else "--run"}
    if other is not None:
        names |= {f"against.{field}": called for field, called in other.names.items()}
        names["against.dose_j_m2"] = "--against-dose"
    return names
