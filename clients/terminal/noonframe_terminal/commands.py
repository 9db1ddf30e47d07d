"""The commands; each is a question, the service's answer, and an exit code."""

from collections.abc import Awaitable, Mapping, Sequence
from typing import Annotated, Any

import typer

from noonframe_terminal import paper, questions
from noonframe_terminal.commands_moves import MOVES_EXAMPLES, PATCH_EXAMPLES, moves, patch
from noonframe_terminal.commands_say import QR_EXAMPLES, SAY_EXAMPLES, begun_at, qr, say
from noonframe_terminal.common import Day, Start, examples, now_there, question, show
from noonframe_terminal.contract import Answer, Service, converse
from noonframe_terminal.moments import step_text
from noonframe_terminal.options import Reach, Scene, Target, takes
from noonframe_terminal.options_spot import Spot
from noonframe_terminal.trouble import ANSWERED, NOT_REACHED, refusal

app = typer.Typer(
    name="noonframe",
    epilog=examples(
        "noonframe now --place quayside-yard",
        "noonframe slots --place quayside-yard --date tomorrow",
        "noonframe now --place dunedin-room --sky broken --stack none",
        "noonframe moves --place quayside-yard --aims propped",
        "noonframe run start --place quayside-yard --name 'kelp fronds'",
    ),
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
)


def _print_version(wanted: bool) -> None:
    if wanted:
        from noonframe import __version__

        paper.write(f"noonframe {__version__}")
        raise typer.Exit


def commands_for(arguments: Sequence[str]) -> typer.Typer:
    """All commands, but `run` and those of the bench only where they may be meant: they take time to load."""
    first = next((word for word in arguments if not word.startswith("-")), None)
    usual = {one.name or one.callback.__name__ for one in app.registered_commands if one.callback}
    if first not in usual and not app.registered_groups:
        from noonframe_terminal.commands_bench import add_bench
        from noonframe_terminal.commands_calendar import calendar_app
        from noonframe_terminal.commands_keys import add_upkeep
        from noonframe_terminal.commands_run import run_app
        from noonframe_terminal.commands_year import add_year
        from noonframe_terminal.film_printer import film_printer_app
        from noonframe_terminal.negative import negative_app
        from noonframe_terminal.session_commands import session_app

        app.add_typer(run_app)
        app.add_typer(calendar_app)
        add_bench(app)
        add_year(app)
        add_upkeep(app)
        app.add_typer(session_app)
        app.add_typer(negative_app)
        app.add_typer(film_printer_app)
    return app


@app.callback()
def main(
    version: Annotated[
        bool, typer.Option("--version", help="Show the version.", is_eager=True, callback=_print_version)
    ] = False,
) -> None:
    """How long, when and where to expose a sun print.

    NOONFRAME_PLACE may name your place, and NOONFRAME_SERVER a service to ask.
    """


@app.command(
    epilog=examples(
        "noonframe now --place quayside-yard",
        "noonframe now --place quayside-yard --sky overcast --target 21000",
        "noonframe now --place quayside-yard --start 15:30 --tilt 35 --facing sw",
        "noonframe now --place quayside-yard --skyline 90:10,180:0,270:35",
    )
)
@takes(scene=Scene, spot=Spot, target=Target, reach=Reach)
def now(
    *,
    scene: Scene,
    spot: Spot,
    target: Target,
    reach: Reach,
    start: Start = None,
    objects: Annotated[
        str | None,
        typer.Option(
            metavar="LIST",
            help="What lies on the sheet: leaf, lace, opaque, ... (noonframe materials); tells its tone.",
            rich_help_panel="Sheet",
        ),
    ] = None,
) -> int:
    """How long to expose, from now or from a start, and until when."""
    asked = question(scene, spot, target, start="--start", objects="--objects")
    if objects is not None:
        asked = asked.plus({"objects": objects})
    answer = converse(reach.address(), reach.named(), begun_at("/v1/exposure", asked, start))

    def draw(console: Any) -> None:
        from noonframe_terminal.show_exposure import draw_exposure

        draw_exposure(console, answer.says, now_there(answer), usual=scene.recipe is None)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED if answer.says["reached"] else NOT_REACHED


app.command(epilog=examples(*SAY_EXAMPLES))(say)
app.command(epilog=examples(*QR_EXAMPLES))(qr)


@app.command(
    epilog=examples(
        "noonframe slots --place quayside-yard --date 2026-06-21",
        "noonframe slots --place dunedin-room --date tomorrow --sky broken",
    )
)
@takes(scene=Scene, spot=Spot, target=Target, reach=Reach)
def slots(
    *,
    scene: Scene,
    spot: Spot,
    target: Target,
    reach: Reach,
    date: Day = "today",
    limit: Annotated[
        str | None,
        typer.Option(metavar="N", help="At most so many slots; 6 if not given.", rich_help_panel="Time"),
    ] = None,
) -> int:
    """When to expose: the best stretches of a day, and the sun's course."""
    asked = question(scene, spot, target, date="--date", limit="--limit")
    if limit is not None:
        asked = asked.plus({"limit": limit})

    async def talk(service: Service) -> Answer:
        day = await questions.date_field(service, date, asked.fields, asked.names)
        return await service.ask("/v1/slots", asked.plus(day))

    answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_slots import draw_slots

        draw_slots(console, answer.says, now_there(answer), usual=scene.recipe is None)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED if answer.says["slots"] else NOT_REACHED


@app.command(
    epilog=examples(
        "noonframe light --place quayside-yard --date 2026-06-21",
        "noonframe light --place quayside-yard --from 10:00 --to 14:00 --step 15min",
        "noonframe light --place dunedin-room --date tomorrow --step 10min --csv",
    )
)
@takes(scene=Scene, spot=Spot, reach=Reach)
def light(
    *,
    scene: Scene,
    spot: Spot,
    reach: Reach,
    date: Day = "today",
    from_: Annotated[
        str | None,
        typer.Option(
            "--from", metavar="TIME", help="First instant; else the day's start.", rich_help_panel="Time"
        ),
    ] = None,
    to: Annotated[
        str | None,
        typer.Option("--to", metavar="TIME", help="Last instant; else its end.", rich_help_panel="Time"),
    ] = None,
    step: Annotated[
        str, typer.Option(metavar="LENGTH", help="Such as 600s, 10min or 1h.", rich_help_panel="Time")
    ] = "1h",
    csv: Annotated[
        bool, typer.Option("--csv", help="Comma-separated values.", rich_help_panel="Answer")
    ] = False,
) -> int:
    """The light of a day, or of a stretch of it, step by step."""
    if csv and reach.json:
        raise refusal("--csv", None, "given without --json: an answer has one form")
    asked = question(scene, spot, start="--from", end="--to", step_s="--step")
    asked = asked.plus({"step_s": step_text(step)})

    async def talk(service: Service) -> Answer:
        span = await questions.span_fields(
            service, day_text=date, from_text=from_, to_text=to, fields=asked.fields, names=asked.names
        )
        return await service.ask("/v1/light", asked.plus(span))

    answer = converse(reach.address(), reach.named(), talk)

    def draw() -> None:
        from noonframe_terminal.show_light import draw_light, light_csv

        if csv:
            paper.write(light_csv(answer.says))
        else:
            paper.page(lambda console: draw_light(console, answer.says))

    show(reach, answer, draw)
    return ANSWERED


app.command(epilog=examples(*MOVES_EXAMPLES))(moves)
app.command(epilog=examples(*PATCH_EXAMPLES))(patch)


@app.command(epilog=examples("noonframe materials", "noonframe materials float-glass-4mm"))
@takes(reach=Reach)
def materials(
    reach: Reach,
    material: Annotated[
        str | None, typer.Argument(metavar="ID", help="One entry in full, with its sources.")
    ] = None,
) -> int:
    """Coats, panes and films that can be named, and how well they are known."""

    def draw(console: Any) -> None:
        from noonframe_terminal.show_catalogue import draw_material, draw_materials

        if material is None:
            draw_materials(console, answer.says)
        else:
            draw_material(console, answer.says, material)

    answer = _ask("/v1/materials", {}, {}, reach)
    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@app.command(
    epilog=examples("noonframe places Porto", 'noonframe places "-45.87,170.50"'),
    context_settings={"ignore_unknown_options": True},  # a southern latitude begins like an option
)
@takes(reach=Reach)
def places(
    reach: Reach,
    name: Annotated[str, typer.Argument(metavar="NAME", help="A city, lat,lon, geo: URI, or demo place.")],
    limit: Annotated[
        str | None, typer.Option(metavar="N", help="At most so many; else 10.", rich_help_panel="Answer")
    ] = None,
) -> int:
    """Where a name is, and its time zone."""

    def draw(console: Any) -> None:
        from noonframe_terminal.show_catalogue import draw_places

        draw_places(console, answer.says)

    fields = {"name": name} | ({} if limit is None else {"limit": limit})
    answer = _ask("/v1/places", fields, {"name": "place", "limit": "--limit"}, reach)
    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@app.command(epilog=examples("noonframe demo"))
def demo() -> int:
    """A whole exposure on a made-up day, in seconds: no network, nothing kept."""
    from noonframe_terminal.demo import run_demo

    run_demo()
    return ANSWERED


@app.command(epilog=examples("noonframe serve", "noonframe serve --port 8800"))
def serve(
    host: Annotated[
        str | None, typer.Option(metavar="HOST", help="Address to listen on; else NOONFRAME_HOST, 127.0.0.1.")
    ] = None,
    port: Annotated[
        str | None,
        typer.Option(metavar="PORT", help="0 lets the system choose; else NOONFRAME_PORT, 8765."),
    ] = None,
    allow_unauthenticated: Annotated[
        bool,
        typer.Option("--allow-unauthenticated", help="Let everybody ask, and nobody is asked for a key."),
    ] = False,
    make_key: Annotated[
        str | None, typer.Option(metavar="NAME", help="Make a key that manages, and show it once.")
    ] = None,
    log: Annotated[
        str | None,
        typer.Option(metavar="FORM", help="plain or json, with a line for each request; else NOONFRAME_LOG."),
    ] = None,
) -> int:
    """Run the service for other programs, on this machine only unless told otherwise."""
    from noonframe_terminal.serve import serve as run_service

    return run_service(host, port, allow_unauthenticated, make_key, log)


def _ask(path: str, fields: Mapping[str, str], names: Mapping[str, str], reach: Reach) -> Answer:
    def talk(service: Service) -> Awaitable[Answer]:
        return service.get(path, fields, names)

    return converse(reach.address(), reach.named(), talk)
