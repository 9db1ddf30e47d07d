"""The options that tell a lamp; declared as in `options`."""

import dataclasses
from typing import Annotated, Any

from noonframe_terminal.contract import in_json
from noonframe_terminal.moments import step_text
from noonframe_terminal.options import Text, given, names_of, option
from noonframe_terminal.trouble import refusal

_WORDS = ("kind", "recipe", "stack", "sensitizer")
_LENGTHS = ("length_s", "lit_before_s", "time_constant_s")
_OF_LAMP = ("kind", "hours", "loss_per_1000_h", "start_share", "time_constant_s")
_BY = {
    "reading": (
        *("irradiance_w_m2", "irradiance_mw_cm2"),
        *("meter_low_nm", "meter_high_nm", "meter_centre_nm"),
    ),
    "print": ("length_s", "lit_before_s", "recipe", "target_j_m2", "stack", "sensitizer"),
    "power": ("power_w", "efficiency", "radiant_w", "distance_m", "sheet"),
}
_SHAPES = {
    "tubes": ("length_m", "count", "pitch_m", "reflector_gain"),
    "panel": ("panel",),
    "point": ("beam_angle_deg",),
}


@dataclasses.dataclass(frozen=True)
class LampFields:
    """What is known of a lamp."""

    kind: Annotated[Text, option("--kind", "Lamp", "ID", "Which kind: noonframe lamp kinds.")] = None
    hours: Annotated[
        Text, option("--hours", "Lamp", "H", "Burned since it was measured, or since new with --power.")
    ] = None
    loss_per_1000_h: Annotated[
        Text, option("--loss", "Lamp", "SHARE", "Of its light, lost in 1000 hours: 0.2 is 20 %.")
    ] = None
    start_share: Annotated[
        Text, option("--start-share", "Lamp", "SHARE", "Of full light when switched on cold.")
    ] = None
    time_constant_s: Annotated[
        Text, option("--warm-up", "Lamp", "LENGTH", "Time constant of coming to full light, such as 2min.")
    ] = None
    irradiance_w_m2: Annotated[
        Text, option("--reading", "Reading", "W/m2", "Of a UV meter where the sheet lies, lamp warm.")
    ] = None
    irradiance_mw_cm2: Annotated[
        Text, option("--reading-mw", "Reading", "mW/cm2", "The same in the other unit.")
    ] = None
    meter_low_nm: Annotated[
        Text, option("--meter-from", "Reading", "NM", "Where the meter's band begins; 315 if not given.")
    ] = None
    meter_high_nm: Annotated[
        Text, option("--meter-to", "Reading", "NM", "Where it ends; 400 if not given.")
    ] = None
    meter_centre_nm: Annotated[
        Text, option("--meter-for", "Reading", "NM", "Instead: the wavelength it is calibrated for.")
    ] = None
    length_s: Annotated[
        Text, option("--print-length", "Print", "LENGTH", "An exposure under it that came right: 12min.")
    ] = None
    lit_before_s: Annotated[
        Text, option("--print-lit", "Print", "LENGTH", "So long it had burned before that.")
    ] = None
    recipe: Annotated[Text, option("--recipe", "Print", "NAME", "The recipe of that print.")] = None
    target_j_m2: Annotated[Text, option("--target", "Print", "J/m2", "Or its target,")] = None
    stack: Annotated[Text, option("--stack", "Print", "LIST", "and its stack,")] = None
    sensitizer: Annotated[Text, option("--sensitizer", "Print", "ID", "and its sensitizer.")] = None
    power_w: Annotated[Text, option("--power", "Power", "W", "Electrical, of all together.")] = None
    efficiency: Annotated[
        Text, option("--efficiency", "Power", "SHARE", "Light for electrical power; the kind's if not given.")
    ] = None
    radiant_w: Annotated[Text, option("--radiant", "Power", "W", "Instead: light, of all together.")] = None
    distance_m: Annotated[Text, option("--distance", "Power", "M", "From the lamp to the sheet.")] = None
    length_m: Annotated[Text, option("--tube-length", "Power", "M", "Of each tube.")] = None
    count: Annotated[Text, option("--tubes", "Power", "N", "How many side by side; one if not given.")] = None
    pitch_m: Annotated[Text, option("--pitch", "Power", "M", "From tube to tube, axis to axis.")] = None
    reflector_gain: Annotated[
        Text, option("--reflector", "Power", "FACTOR", "What a reflector adds: 1 for none, 1.5 for white.")
    ] = None
    panel: Annotated[Text, option("--panel", "Power", "MxM", "Instead: an LED panel, 0.3x0.2.")] = None
    beam_angle_deg: Annotated[
        Text, option("--beam", "Power", "DEG", "Instead: a single lamp with a beam of this full angle.")
    ] = None
    sheet: Annotated[Text, option("--sheet", "Power", "MxM", "The sheet, for its evenness: 0.2x0.25.")] = None
    spread_stops: Annotated[
        Text, option("--spread", "Lamp", "STOPS", "How sure the light is, as one standard deviation.")
    ] = None

    def body(self) -> dict[str, Any]:
        """The contract's fields that were typed."""
        typed = {name: _value(name, text) for name, text in given(self).items()}
        body = {name: typed[name] for name in _OF_LAMP if name in typed}
        output = self._output(typed)
        return body if output is None else {**body, "output": output}

    def _output(self, typed: dict[str, Any]) -> dict[str, Any] | None:
        names = names_of(type(self))
        shaped = [shape for shape, fields in _SHAPES.items() if any(name in typed for name in fields)]
        ways = [way for way, fields in _BY.items() if any(name in typed for name in fields)]
        if shaped and "power" not in ways:
            ways.append("power")
        if not ways:
            if "spread_stops" in typed:
                raise refusal("--spread", self.spread_stops, "given with what tells the light")
            return None
        if len(ways) > 1 or len(shaped) > 1:
            stray = [name for way in ways[1:] for name in _BY[way] if name in typed]
            stray += [name for shape in shaped[1:] for name in _SHAPES[shape] if name in typed]
            raise refusal(names[stray[0]], getattr(self, stray[0]), "left out: the light is told one way")
        output = {name: typed[name] for name in _BY[ways[0]] if name in typed and name != "sheet"}
        if "spread_stops" in typed:
            output["spread_stops"] = typed["spread_stops"]
        if ways[0] == "power":
            shape = shaped[0] if shaped else "point"
            source = {name: typed[name] for name in _SHAPES[shape] if name in typed and name != "panel"}
            if "panel" in typed:
                source["width_m"], source["depth_m"] = typed["panel"]
            output["source"] = {"shape": shape, **source}
            if "sheet" in typed:
                output["sheet_width_m"], output["sheet_depth_m"] = typed["sheet"]
        return {"by": ways[0], **output}

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        names = names_of(type(self))
        inner = {f"output.{name}": called for name, called in names.items()}
        source = {f"output.source.{name}": called for name, called in names.items()}
        sizes = {"output.source.width_m": "--panel", "output.source.depth_m": "--panel"}
        sheets = {"output.sheet_width_m": "--sheet", "output.sheet_depth_m": "--sheet"}
        every = names | inner | source | sizes | sheets
        return every | {f"lamp.{name}": called for name, called in every.items()}


def _value(name: str, text: str) -> Any:
    if name in _WORDS:
        return text
    if name in _LENGTHS:
        return float(step_text(text, names_of(LampFields)[name]))
    if name in ("panel", "sheet"):
        sides = [in_json("", part.strip()) for part in text.lower().replace("×", "x").split("x")]
        if len(sides) != 2 or not all(isinstance(side, int | float) for side in sides):
            raise refusal(f"--{name}", text, "two lengths in metres such as 0.3x0.2")
        return tuple(sides)
    return in_json(name, text)
