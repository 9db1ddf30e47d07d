"""/v1/film-printers: what density the codes of a film printer give, saved by name."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter

from noonframe.api.bench_shelf import Visit
from noonframe.api.document_routes import document_kind
from noonframe.api.negative_tone import saved_scale, scale_of
from noonframe.api.negative_tone_answers import FilmPrinterAnswer, FilmPrintersAnswer
from noonframe.api.negative_tone_bodies import FilmPrinterBody, PrintReading, ScaleBody
from noonframe.api.negative_tone_examples import FILM_PRINTER, FILM_PRINTER_CHANGE
from noonframe.api.shelf_routes import Said, add_shelf
from noonframe.errors import NoonframeError, OutOfDomain

if TYPE_CHECKING:
    from noonframe.store.documents import DocumentFields
    from noonframe.store.versioned import Shelf

router = APIRouter(tags=["film printers"])


def _shelf() -> "Shelf[DocumentFields]":
    from noonframe.store.film_printers import FILM_PRINTERS

    return FILM_PRINTERS


def check_film_printer(_visit: Visit, body: FilmPrinterBody) -> None:
    """Raise for a scale that no film has; one read by a recipe's curve is worked out when it is used."""
    if isinstance(body.scale, PrintReading) and body.scale.recipe is not None:
        if body.scale.curve is not None:
            raise OutOfDomain("scale.curve", None, "left out when recipe is given")
        return
    scale_of(body.scale)


def told(document: Mapping[str, Any]) -> dict[str, Any]:
    """What a stored scale amounts to."""
    try:
        scale: ScaleBody = saved_scale(document)
        if isinstance(scale, PrintReading) and scale.recipe is not None:
            says = f"read from a print, by the curve of the recipe {scale.recipe}"
            return {"film_density_range": None, "says": says}
        ink = scale_of(scale)
    except NoonframeError as problem:  # one that came in by another way stays to be seen, and mended
        return {"film_density_range": None, "says": f"cannot be used: {problem}"}
    return {"film_density_range": round(ink.range, 4), "says": "; ".join([ink.says, *ink.notes])}


FILM_PRINTER_KIND = document_kind(
    "film_printer",
    "/v1/film-printers",
    _shelf,
    body=FilmPrinterBody,
    body_example=FILM_PRINTER,
    change_example=FILM_PRINTER_CHANGE,
    answer=FilmPrinterAnswer,
    many=FilmPrintersAnswer,
    check=check_film_printer,
    told=told,
    says={"create": Said("Save a film printer, and how the density of its ink is known.")},
)
add_shelf(router, FILM_PRINTER_KIND)
