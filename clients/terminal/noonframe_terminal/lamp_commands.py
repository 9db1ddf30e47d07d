"""`lamp`: artificial UV in place of the sun, saved by name."""

from typing import Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.commands_keep import Retired, add_history, add_restore, add_retire, draw_retired_of
from noonframe_terminal.common import examples, show
from noonframe_terminal.contract import Answer, Service, converse
from noonframe_terminal.lamp_options import LampFields
from noonframe_terminal.options import Reach, takes
from noonframe_terminal.saved import Kind, find_saved, newest
from noonframe_terminal.trouble import ANSWERED, Refused, refusal

LAMPS = Kind("lamp", "/v1/lamps", "lamps", "noonframe lamp")
LOOK = "noonframe lamp list"
Name = Annotated[str, typer.Argument(metavar="NAME", help="Its name, such as 'quayside box'.")]

lamp_app = typer.Typer(
    name="lamp",
    help="UV lamps, saved by name: --lamp NAME exposes under one, in place of the sun.",
    no_args_is_help=True,
    epilog=examples(
        "noonframe lamp add 'quayside box' --kind uv-a-tube-368 --reading-mw 6",
        "noonframe now --lamp 'quayside box'",
    ),
)


@lamp_app.command(
    epilog=examples(
        "noonframe lamp add 'quayside box' --kind uv-a-tube-368 --reading-mw 6",
        "noonframe lamp add box --kind uv-a-tube-352 --print-length 12min \\\n    --recipe 'kelp on cotton'",
        "noonframe lamp add bank --kind uv-a-tube-368 --power 120 --distance 0.08 \\\n"
        "    --tube-length 0.44 --tubes 8 --pitch 0.05 --reflector 1.5",
    )
)
@takes(fields=LampFields, reach=Reach)
def add(*, fields: LampFields, reach: Reach, name: Name) -> int:
    """Save a lamp, and how its light at the sheet is known: a reading, a print, or power and distance."""
    body = {"name": name, **fields.body()}
    if "kind" not in body:
        raise refusal("--kind", None, "given: noonframe lamp kinds lists them")
    if "output" not in body:
        raise Refused("how much light it gives is not known: give --reading, --print-length or --power")
    names = {"name": "NAME", **fields.names()}
    answer = converse(
        reach.address(), reach.named(), lambda service: service.change(LAMPS.path, body, names, look=LOOK)
    )
    _show(reach, answer, f"Saved: {answer.says['name']}.")
    return ANSWERED


@lamp_app.command(
    epilog=examples(
        "noonframe lamp change 'quayside box' --hours 250",
        "noonframe lamp change 'quayside box' --reading-mw 5.4 --hours 0",
    )
)
@takes(fields=LampFields, reach=Reach)
def change(
    *,
    fields: LampFields,
    reach: Reach,
    name: Name,
    rename: Annotated[str | None, typer.Option("--rename", metavar="NAME", help="Its new name.")] = None,
) -> int:
    """Tell a new reading, or how long it has burned since."""
    body = fields.body() | ({} if rename is None else {"name": rename})
    if not body:
        raise Refused("nothing to change was given")
    names = {"name": "--rename", **fields.names()}

    async def talk(service: Service) -> Answer:
        lamp = await find_saved(service, LAMPS, name, "NAME")
        path = f"{LAMPS.path}/{lamp['id']}"
        return await service.change(path, body, names, method="PATCH", version=lamp["version"], look=LOOK)

    answer = converse(reach.address(), reach.named(), talk)
    _show(reach, answer, f"{answer.says['name']} is now at version {answer.says['version']}.")
    return ANSWERED


@lamp_app.command("list", epilog=examples("noonframe lamp list"))
@takes(reach=Reach)
def list_lamps(*, reach: Reach, retired: Retired = False) -> int:
    """Lamps that are saved, newest first."""
    answer = converse(reach.address(), reach.named(), lambda service: newest(service, LAMPS, retired=retired))

    def draw(console: Any) -> None:
        if retired:
            draw_retired_of(console, answer, LAMPS)
            return
        from noonframe_terminal.lamp_show import draw_lamps

        draw_lamps(console, answer.says["lamps"])

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@lamp_app.command("show", epilog=examples("noonframe lamp show 'quayside box'"))
@takes(reach=Reach)
def show_lamp(*, reach: Reach, name: Name) -> int:
    """A lamp, and how its light is known."""

    async def talk(service: Service) -> Answer:
        lamp = await find_saved(service, LAMPS, name, "NAME")
        return await service.get(f"{LAMPS.path}/{lamp['id']}", {}, {})

    answer = converse(reach.address(), reach.named(), talk)
    _show(reach, answer, f"{answer.says['name']}, version {answer.says['version']}.")
    return ANSWERED


@lamp_app.command(epilog=examples("noonframe lamp kinds"))
@takes(reach=Reach)
def kinds(*, reach: Reach) -> int:
    """Kinds of lamps that can be named, and what is usual for them."""
    answer = converse(reach.address(), reach.named(), lambda service: service.get("/v1/lamp-kinds", {}, {}))

    def draw(console: Any) -> None:
        from noonframe_terminal.lamp_show import draw_kinds

        draw_kinds(console, answer.says["kinds"])

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


def _show(reach: Reach, answer: Answer, opening: str) -> None:
    def draw(console: Any) -> None:
        from noonframe_terminal.lamp_show import draw_lamp

        console.print(opening, style="bold")
        draw_lamp(console, answer.says)

    show(reach, answer, lambda: paper.page(draw))


add_retire(lamp_app, LAMPS, "'quayside box'")
add_restore(lamp_app, LAMPS, "'quayside box'")
add_history(lamp_app, LAMPS, "'quayside box'")
