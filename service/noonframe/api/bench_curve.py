"""Tone curves fitted and compared, as answers."""

import numpy as np

from noonframe.api.bench_names import named
from noonframe.api.bench_wedge import wedge_of
from noonframe.api.inputs_bench import CurveBody, ReadingsBody
from noonframe.api.outputs_bench import CurveAnswer, CurveDifference, CurveItem
from noonframe.bench.curve import CharacteristicCurve, compare_curves
from noonframe.bench.curve_fit import fit_curve
from noonframe.errors import OutOfDomain

_POINTS = 61


def answer_curve(body: CurveBody) -> CurveAnswer:
    """The curve a request's readings make, and how it differs from another."""
    curve = fitted_curve(body)
    other = None if body.against is None else fitted_curve(body.against, "against.")
    difference = None
    if other is not None:
        found = compare_curves(other, curve)
        difference = CurveDifference(
            compared_at_net_density=round(found.compared_at_net_density, 4),
            slower_stops=round(found.slower_stops, 4),
            exposure_scale_stops=round(found.exposure_scale_stops, 4),
            d_min=round(found.d_min, 4),
            d_max=round(found.d_max, 4),
            gamma_ratio=round(found.gamma_ratio, 4),
        )
    summary = (
        f"D_min {curve.d_min:.2f}, D_max {curve.d_max:.2f}, exposure scale "
        f"{curve.exposure_scale:.2f} ± {curve.exposure_scale_error:.2f} ({curve.exposure_scale_stops:.1f} "
        f"stops): a negative should have a density range of {curve.negative_density_range:.2f} in the light "
        "that prints."
    )
    if difference is not None:
        speed = "slower" if difference.slower_stops >= 0.0 else "faster"
        scale = "longer" if difference.exposure_scale_stops >= 0.0 else "shorter"
        summary += (
            f" Against the other: {abs(difference.slower_stops):.2f} stops {speed}, a scale "
            f"{abs(difference.exposure_scale_stops):.2f} stops {scale}."
        )
    return CurveAnswer(
        curve=_item(curve, body.points),
        against=None if other is None else _item(other, body.points),
        difference=difference,
        summary=summary,
    )


def fitted_curve(readings: ReadingsBody, prefix: str = "") -> CharacteristicCurve:
    """The curve of a request's readings; errors name their fields, after `prefix`."""
    doses = _doses(readings, prefix)
    if len(readings.densities) != len(doses):
        limit = f"as many as there are doses or steps, {len(doses)}; null for one that was not read"
        raise OutOfDomain(f"{prefix}densities", len(readings.densities), limit)
    read = [
        (index, dose, density)
        for index, (dose, density) in enumerate(zip(doses, readings.densities, strict=True))
        if density is not None
    ]
    names = {"density": "densities", "dose_j_m2": "doses_j_m2"}
    indices = [index for index, _, _ in read]
    try:
        return fit_curve([dose for _, dose, _ in read], [density for _, _, density in read])
    except OutOfDomain as problem:
        # readings are counted here with the blanks, in the fit without
        stem, bracket, rest = problem.field.partition("[")
        place = f".{indices[int(rest.rstrip(']'))]}" if bracket else ""
        field = f"{prefix}{names.get(stem, stem)}{place}"
        raise OutOfDomain(field, problem.value, problem.limit.replace("density[", "the density [")) from None


def _doses(readings: ReadingsBody, prefix: str) -> tuple[float, ...]:
    if readings.doses_j_m2 is not None:
        for name in ("wedge", "dose_j_m2"):
            if getattr(readings, name) is not None:
                raise OutOfDomain(f"{prefix}{name}", None, "left out when doses_j_m2 are given")
        return tuple(readings.doses_j_m2)
    if readings.dose_j_m2 is None:
        limit = "given: that on the wedge; or else doses_j_m2, one for each reading"
        raise OutOfDomain(f"{prefix}dose_j_m2", None, limit)
    wedge = wedge_of(readings.wedge, f"{prefix}wedge.")
    with named(prefix=prefix):
        return wedge.doses_j_m2(readings.dose_j_m2)


def _item(curve: CharacteristicCurve, points: bool) -> CurveItem:
    dose = np.geomspace(curve.least_dose_j_m2, curve.most_dose_j_m2, _POINTS) if points else None
    speed = curve.speed_point_j_m2
    return CurveItem(
        d_min=round(curve.d_min, 4),
        d_max=round(curve.d_max, 4),
        net_density=round(curve.net_density, 4),
        exposure_scale=round(curve.exposure_scale, 4),
        exposure_scale_error=round(curve.exposure_scale_error, 4),
        exposure_scale_stops=round(curve.exposure_scale_stops, 4),
        iso_range=curve.iso_range,
        negative_density_range=round(curve.negative_density_range, 4),
        gamma=round(curve.gamma, 4),
        mean_gradient=round(curve.mean_gradient, 4),
        toe_j_m2=round(curve.toe_j_m2, 3),
        shoulder_j_m2=round(curve.shoulder_j_m2, 3),
        speed_point_j_m2=None if speed is None else round(speed, 3),
        rms_residual=round(curve.rms_residual, 4),
        residuals=[round(residual, 4) for residual in curve.residuals],
        notes=list(curve.notes),
        dose_j_m2=None if dose is None else [round(float(value), 3) for value in dose],
        density=None if dose is None else [round(float(value), 4) for value in curve.density(dose)],
    )
