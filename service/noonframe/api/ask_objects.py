"""The stack of a request with its negative, and what lies on the sheet."""

from collections.abc import Sequence
from pathlib import Path

from noonframe.api.inputs import SceneFields
from noonframe.api.lamp_outputs import ObjectItem
from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.stack.materials import find_material, material_catalogue, parse_stack
from noonframe.stack.objects import DENSITY_SPREAD, NO_LIGHT, OPAQUE, Shadow, negative_layer, object_shadow
from noonframe.stack.sheets import Stack
from noonframe.types import FloatArray

MOST_OBJECTS = 8


def stack_of(fields: SceneFields, spectra_dir: Path | None) -> Stack:
    """What the light passes: the sheets that a request names, and the clearest part of its negative."""
    stack = parse_stack(fields.stack, spectra_dir)
    if fields.negative_density is None:
        for name in ("negative_density_spread", "negative_includes_base"):
            if getattr(fields, name) is not None:
                raise OutOfDomain(name, getattr(fields, name), "left out unless negative_density is given")
        return stack
    spread = fields.negative_density_spread
    includes_base = bool(fields.negative_includes_base)
    films = [material.id for material in stack.materials if material.kind == "film"]
    if includes_base and films:
        limit = f"false, or {films[0]} left out of the stack: the base of the film would count twice"
        raise OutOfDomain("negative_includes_base", True, limit)
    layer = negative_layer(
        fields.negative_density, DENSITY_SPREAD if spread is None else spread, includes_base
    )
    return Stack((*stack.materials, layer))


def refuse_objects(fields: SceneFields) -> None:
    """Raise for objects where no answer would tell of them."""
    objects = getattr(fields, "objects", None)
    if objects is not None:
        raise OutOfDomain("objects", objects, "left out here: ask /v1/exposure what their part gets")


def objects_of(text: str, weight: FloatArray, spectra_dir: Path | None) -> list[ObjectItem]:
    """The objects that a request names, under light (times action) `weight` (41,)."""
    words = [word.strip() for word in text.split(",")]
    if "" in words:
        raise Malformed("objects", text[:40], "ids with single commas between")
    if len(words) > MOST_OBJECTS:
        raise OutOfDomain("objects", len(words), f"at most {MOST_OBJECTS} objects")
    return [_item(word, weight, spectra_dir) for word in words]


def _item(word: str, weight: FloatArray, spectra_dir: Path | None) -> ObjectItem:
    if word == OPAQUE:
        return _shaped(OPAQUE, "Opaque object", NO_LIGHT, "lets nothing through")
    try:
        material = find_material(word, spectra_dir)
    except UnknownName as problem:
        known = [each.id for each in material_catalogue(spectra_dir).values() if each.kind == "object"]
        raise UnknownName("objects", word, ", ".join([OPAQUE, *known]), problem.near) from None
    return _shaped(material.id, material.label, object_shadow(material, weight), material.provenance)


def _shaped(identity: str, label: str, shadow: Shadow, provenance: str) -> ObjectItem:
    def rounded(stops: float | None) -> float | None:
        return None if stops is None else round(stops, 2)

    return ObjectItem(
        id=identity,
        label=label,
        stops_less=rounded(shadow.stops),
        stops_less_low=rounded(shadow.low_stops),
        stops_less_high=rounded(shadow.high_stops),
        says=shadow.says,
        provenance=provenance,
    )


def object_words(items: Sequence[ObjectItem] | None) -> str:
    """Further sentences on what lies on the sheet; empty where nothing does."""
    return "".join(f" {_sentence(item)}" for item in items or ())


def _sentence(item: ObjectItem) -> str:
    if item.stops_less is None:
        return f"Under the {item.label.lower()} the sheet {item.says}."
    low, high = item.stops_less_low, item.stops_less_high
    span = f"about {item.stops_less:.0f}"
    if low is not None and high is not None and round(low) != round(high):
        span = f"about {low:.0f} to {high:.0f}"
    return f"Through the {item.label[:1].lower()}{item.label[1:]} {span} stops less: it {item.says}."
