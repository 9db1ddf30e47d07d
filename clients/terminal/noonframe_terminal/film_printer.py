"""`film-printer`: what density a film printer's codes give, saved by name."""

from typing import Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.commands_keep import Retired, add_history, add_restore, add_retire, draw_retired_of
from noonframe_terminal.common import examples, show
from noonframe_terminal.contract import Answer, Service, converse
from noonframe_terminal.negative_tone_options import ScaleOptions
from noonframe_terminal.options import Reach, Text, option, takes
from noonframe_terminal.saved import Kind, find_saved, newest
from noonframe_terminal.trouble import ANSWERED, Refused

FILM_PRINTERS = Kind("film printer", "/v1/film-printers", "film_printers", "noonframe film-printer")
LOOK = "noonframe film-printer list"
Name = Annotated[str, typer.Argument(metavar="NAME", help="Its name, such as 'inkjet upstairs'.")]
FilmKind = Annotated[Text, option("--film-kind", "About", "TEXT", "Which film it prints on.")]
Notes = Annotated[
    Text, option("--notes", "About", "TEXT", "Ink, driver settings: the scale holds for these.")
]
_ADD = (
    "noonframe film-printer add 'inkjet upstairs' --film steps.csv",
    "noonframe film-printer add upstairs --print print.csv --recipe 'kelp on cotton'",
    "noonframe film-printer add guess --full-density 2.0",
)

film_printer_app = typer.Typer(
    name="film-printer",
    help="Film printers, saved by name: print `noonframe negative wedge`, read its steps, tell them here.",
    no_args_is_help=True,
    epilog=examples(*_ADD),
)


@film_printer_app.command(epilog=examples(*_ADD))
@takes(scale=ScaleOptions, reach=Reach)
def add(
    *, scale: ScaleOptions, reach: Reach, name: Name, film_kind: FilmKind = None, notes: Notes = None
) -> int:
    """Save a film printer by the densities of a step wedge that it printed, from bare film to full ink."""
    told = scale.scale()
    if told is None:
        raise Refused("how dense its ink is is not known: give --film, --print, --scan or --full-density")
    body = {"name": name, "scale": told, **_about(film_kind, notes)}
    names = {"name": "NAME", **scale.names()}
    answer = converse(
        reach.address(),
        reach.named(),
        lambda service: service.change(FILM_PRINTERS.path, body, names, look=LOOK),
    )
    _show(reach, answer, f"Saved: {answer.says['name']}.")
    return ANSWERED


@film_printer_app.command(epilog=examples("noonframe film-printer change 'inkjet upstairs' --film steps.csv"))
@takes(scale=ScaleOptions, reach=Reach)
def change(
    *,
    scale: ScaleOptions,
    reach: Reach,
    name: Name,
    film_kind: FilmKind = None,
    notes: Notes = None,
    rename: Annotated[str | None, typer.Option("--rename", metavar="NAME", help="Its new name.")] = None,
) -> int:
    """Tell new readings, or what ink and film it has now."""
    told = scale.scale()
    body = _about(film_kind, notes) | ({} if told is None else {"scale": told})
    body |= {} if rename is None else {"name": rename}
    if not body:
        raise Refused("nothing to change was given")
    names = {"name": "--rename", **scale.names()}

    async def talk(service: Service) -> Answer:
        one = await find_saved(service, FILM_PRINTERS, name, "NAME")
        path = f"{FILM_PRINTERS.path}/{one['id']}"
        return await service.change(path, body, names, method="PATCH", version=one["version"], look=LOOK)

    answer = converse(reach.address(), reach.named(), talk)
    _show(reach, answer, f"{answer.says['name']} is now at version {answer.says['version']}.")
    return ANSWERED


@film_printer_app.command("list", epilog=examples(LOOK))
@takes(reach=Reach)
def list_printers(*, reach: Reach, retired: Retired = False) -> int:
    """Film printers that are saved, newest first."""
    answer = converse(
        reach.address(), reach.named(), lambda service: newest(service, FILM_PRINTERS, retired=retired)
    )

    def draw(console: Any) -> None:
        if retired:
            draw_retired_of(console, answer, FILM_PRINTERS)
            return
        from noonframe_terminal.negative_tone_show import draw_film_printers

        draw_film_printers(console, answer.says["film_printers"])

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@film_printer_app.command("show", epilog=examples("noonframe film-printer show 'inkjet upstairs'"))
@takes(reach=Reach)
def show_printer(*, reach: Reach, name: Name) -> int:
    """A film printer, and how its ink is known."""

    async def talk(service: Service) -> Answer:
        one = await find_saved(service, FILM_PRINTERS, name, "NAME")
        return await service.get(f"{FILM_PRINTERS.path}/{one['id']}", {}, {})

    answer = converse(reach.address(), reach.named(), talk)
    _show(reach, answer, f"{answer.says['name']}, version {answer.says['version']}.")
    return ANSWERED


def _about(film_kind: str | None, notes: str | None) -> dict[str, Any]:
    told = {"film": film_kind, "notes": notes}
    return {name: text for name, text in told.items() if text is not None}


def _show(reach: Reach, answer: Answer, opening: str) -> None:
    def draw(console: Any) -> None:
        from noonframe_terminal.negative_tone_show import draw_film_printer

        console.print(opening, style="bold")
        draw_film_printer(console, answer.says)

    show(reach, answer, lambda: paper.page(draw))


add_retire(film_printer_app, FILM_PRINTERS, "'inkjet upstairs'")
add_restore(film_printer_app, FILM_PRINTERS, "'inkjet upstairs'")
add_history(film_printer_app, FILM_PRINTERS, "'inkjet upstairs'")
