"""A course of light under a lamp, as an answer."""

import numpy as np

from noonframe.api.inputs import LightQuery
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.lamp_ask import understand_lamp
from noonframe.api.lamp_outputs import LampLightAnswer
from noonframe.api.times import format_time
from noonframe.settings import Settings
from noonframe.stack.curves import BLUE_BAND_NM, UVA_BAND_NM
from noonframe.stack.effective import band_weights
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.types import FloatArray


def answer_lamp_light(
    query: LightQuery, time_s: FloatArray, settings: Settings, spot: SpotBody | None
) -> LampLightAnswer:
    """The light at instants (n,), the first of which is when the request's exposure begins."""
    ask = understand_lamp(query, query.start, settings, spot)
    scene = ask.scene
    spectral = scene.lamp.spectral_w_m2_nm
    share = scene.shares(time_s - time_s[0])
    uva, blue = (float(spectral @ band_weights(*band)) for band in (UVA_BAND_NM, BLUE_BAND_NM))
    return LampLightAnswer.model_construct(
        time=[format_time(second, ask.where.zone) for second in time_s.tolist()],
        output_share=_short(share, 6),
        uva_w_m2=_short(uva * share, 6),
        blue_w_m2=_short(blue * share, 6),
        effective_w_m2=_short(scene.effective_w_m2 * share, 6),
        wavelength_nm=WAVELENGTH_NM.tolist(),
        spectral_w_m2_nm=_short(spectral, 8),
        basis=ask.basis,
    )


def _short(values: FloatArray, digits: int) -> list[float]:
    rounded: list[float] = np.round(values, digits).tolist()
    return rounded
