"""`coat`: what to measure and weigh for some sheets, what to do, and what to mind."""

import datetime as dt
import os
import re
from typing import Annotated, Any

import typer

from noonframe_terminal import moments, paper, questions
from noonframe_terminal.common import show
from noonframe_terminal.contract import Answer, Service, converse, in_json
from noonframe_terminal.options import PLACE_VARIABLE, Reach, Text, Where, given, names_of, takes
from noonframe_terminal.trouble import ANSWERED, refusal

COAT_EXAMPLES = (
    "noonframe coat 203x254x6",
    "noonframe coat 203x254x6 100x150x20 --coverage brush",
    "noonframe coat 203x254 --bottle iron=100 --bottle ferricyanide=100",
    "noonframe coat 203x254x6 --at 9:00 --wash-at 14:30 --place quayside-yard",
)
_TIMES = {"start": "--at", "wash_start": "--wash-at"}
_SHEETS = re.compile(r"(\d+(?:\.\d+)?)[x×](\d+(?:\.\d+)?)(?:[x×](\d+))?", re.ASCII | re.IGNORECASE)


@takes(where=Where, reach=Reach)
def coat(
    *,
    where: Where,
    reach: Reach,
    sheets: Annotated[
        list[str],
        typer.Argument(metavar="SHEETS...", help="Coated width x height in mm, and how many: 203x254x6."),
    ],
    formula: Annotated[
        str | None, typer.Option("--formula", metavar="ID", help="A published formula; the classic one else.")
    ] = None,
    coverage: Annotated[
        str | None, typer.Option("--coverage", metavar="WORD", help="rod or brush; rod if not given.")
    ] = None,
    coverage_ml_m2: Annotated[
        str | None, typer.Option("--ml-per-m2", metavar="ML", help="Your own coverage, instead.")
    ] = None,
    margin_share: Annotated[
        str | None,
        typer.Option("--margin", metavar="SHARE", help="What clings to beaker and rod: 0.15 is 15 %."),
    ] = None,
    bottle: Annotated[
        list[str] | None,
        typer.Option("--bottle", metavar="STOCK=ML", help="Left of a stock; tells for how many sheets."),
    ] = None,
    stock_ml: Annotated[
        str | None, typer.Option("--stock", metavar="ML", help="Of each stock to weigh powders for; or 100.")
    ] = None,
    acid_bath: Annotated[
        bool, typer.Option("--acid-bath", help="A mildly acid first bath, where the water is hard.")
    ] = False,
    oxidising_rinse: Annotated[
        bool, typer.Option("--oxidising-rinse", help="With peroxide, instead of a day in the air.")
    ] = False,
    bath_l: Annotated[
        str | None, typer.Option("--bath", metavar="LITRES", help="Of the oxidising rinse; 2 if not given.")
    ] = None,
    peroxide_strength_percent: Annotated[
        str | None, typer.Option("--peroxide", metavar="PERCENT", help="Strength of the bottle; else 3.")
    ] = None,
    at: Annotated[
        Text,
        typer.Option(
            "--at",
            metavar="TIME",
            help="Begin coating then: HH:MM today at the place, or with a day; or now.",
        ),
    ] = None,
    wash_at: Annotated[Text, typer.Option("--wash-at", metavar="TIME", help="Begin washing then.")] = None,
) -> int:
    """Millilitres for some sheets, powders for the stocks, a checklist, and what to mind."""
    numbers = {
        "coverage_ml_m2": coverage_ml_m2,
        "margin_share": margin_share,
        "stock_ml": stock_ml,
        "bath_l": bath_l,
        "peroxide_strength_percent": peroxide_strength_percent,
    }
    body: dict[str, Any] = {"sheets": [_sheets(text) for text in sheets]}
    body |= {name: in_json(name, text) for name, text in numbers.items() if text is not None}
    body |= {name: word for name, word in (("formula", formula), ("coverage", coverage)) if word is not None}
    body |= {
        name: True for name, on in (("acid_bath", acid_bath), ("oxidising_rinse", oxidising_rinse)) if on
    }
    if bottle:
        body["bottle_ml"] = dict(_bottle(text) for text in bottle)
    times = {"start": at, "wash_start": wash_at}
    has_times = any(text is not None for text in times.values())
    if not has_times and given(where):
        name = next(iter(given(where)))
        raise refusal(names_of(Where)[name], given(where)[name], "given with --at or --wash-at")

    async def talk(service: Service) -> tuple[Answer, dt.tzinfo | None]:
        zone = await _zone(service, where) if has_times else None
        for field, text in times.items():
            if text is not None and zone is not None:
                body[field] = _moment(text, zone, _TIMES[field])
        return await service.post("/v1/coating", body, _names(body)), zone

    answer, zone = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_coating import draw_coating

        draw_coating(console, answer.says, stock_ml or "100", zone)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


async def _zone(service: Service, where: Where) -> dt.tzinfo:
    """The clock of the place, or the one that is named."""
    if where.time_zone is None and where.lacks_place() and not os.environ.get(PLACE_VARIABLE, "").strip():
        limit = f"given with a place: --place, --saved-place or {PLACE_VARIABLE}; or else --time-zone"
        raise refusal("--at, --wash-at", None, limit)
    if where.time_zone is not None and where.lacks_place():
        return await questions.zone_of(service, given(where), where.names())
    return await questions.zone_of(service, where.fields(), where.names())


def _moment(text: str, zone: dt.tzinfo, called: str) -> str:
    if text.strip().lower() == "now":
        return dt.datetime.now(zone).isoformat(timespec="seconds")
    return moments.instant_text(text, zone, called)


def _sheets(text: str) -> dict[str, object]:
    found = _SHEETS.fullmatch(text.replace(" ", ""))
    if found is None:
        raise refusal("SHEETS", text, "width x height in mm, and how many: 203x254 or 203x254x6")
    return {"width_mm": float(found[1]), "height_mm": float(found[2]), "count": int(found[3] or 1)}


def _bottle(text: str) -> tuple[str, object]:
    name, mark, volume = text.partition("=")
    if not mark or not name.strip():
        raise refusal("--bottle", text, "a stock and its millilitres: iron=100")
    return name.strip(), in_json("bottle_ml", volume.strip())


def _names(body: dict[str, Any]) -> dict[str, str]:
    names = {
        "formula": "--formula",
        "coverage": "--coverage",
        "coverage_ml_m2": "--ml-per-m2",
        "margin_share": "--margin",
        "stock_ml": "--stock",
        "bath_l": "--bath",
        "peroxide_strength_percent": "--peroxide",
        **_TIMES,
        "sheets": "SHEETS",
        "bottle_ml": "--bottle",
    }
    names |= {f"bottle_ml.{stock}": f"--bottle {stock}" for stock in body.get("bottle_ml", {})}
    for number, _ in enumerate(body["sheets"]):
        for field, word in (("width_mm", "width"), ("height_mm", "height"), ("count", "count")):
            names[f"sheets.{number}.{field}"] = f"SHEETS, {word}"
    return names
