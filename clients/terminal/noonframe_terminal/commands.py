"""The commands; each is a question, the service's answer, and an exit code."""

import datetime as dt
from collections.abc import Awaitable, Callable, Mapping
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer

from noonframe_terminal import paper, questions
from noonframe_terminal.contract import Answer, Service, converse
from noonframe_terminal.moments import step_text
from noonframe_terminal.options import Reach, Scene, Target, takes
from noonframe_terminal.trouble import ANSWERED, NOT_REACHED, Failed, refusal

_EXIT_CODES = (
    "Exit codes: 0 answered; 1 the exposure cannot be reached (the answer still says when it can);"
    " 2 something typed is wrong; 3 the service cannot be reached or failed; 130 stopped with Ctrl-C."
)


def _examples(*lines: str) -> str:
    return "\n\n".join(["Examples:", *(f"  {line}" for line in lines), _EXIT_CODES])


app = typer.Typer(
    name="noonframe",
    epilog=_examples(
        "noonframe now --place quayside-yard",
        "noonframe slots --place quayside-yard --date tomorrow",
        "noonframe now --place dunedin-room --sky broken --stack none",
    ),
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
)

_Start = Annotated[
    str | None,
    typer.Option(
        "--start",
        metavar="TIME",
        help="HH:MM at the place today, 'YYYY-MM-DD HH:MM' there, or RFC 3339; now if not given.",
        rich_help_panel="Time",
    ),
]


def _print_version(wanted: bool) -> None:
    if wanted:
        from noonframe import __version__

        paper.write(f"noonframe {__version__}")
        raise typer.Exit


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
    epilog=_examples(
        "noonframe now --place quayside-yard",
        "noonframe now --place quayside-yard --sky overcast --target 21000",
        "noonframe now --place quayside-yard --start 15:30 --tilt 35 --facing sw",
    )
)
@takes(scene=Scene, target=Target, reach=Reach)
def now(scene: Scene, target: Target, reach: Reach, start: _Start = None) -> int:
    """How long to expose, from now or from a start, and until when."""
    answer = _ask_exposure("/v1/exposure", scene, target, reach, start)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_exposure import draw_exposure

        draw_exposure(console, answer.says, _now_there(answer))

    _show(reach, answer, lambda: paper.page(draw))
    return ANSWERED if answer.says["reached"] else NOT_REACHED


@app.command(
    epilog=_examples(
        "noonframe say --place quayside-yard",
        "noonframe say --place dunedin-room --sky thin-cloud",
    )
)
@takes(scene=Scene, target=Target, reach=Reach)
def say(scene: Scene, target: Target, reach: Reach, start: _Start = None) -> int:
    """The same in one plain sentence, to be read out or passed on."""
    answer = _ask_exposure("/v1/say", scene, target, reach, start)
    _show(reach, answer, lambda: paper.write(answer.says["summary"]))
    return ANSWERED if answer.says["reached"] else NOT_REACHED


def _ask_exposure(path: str, scene: Scene, target: Target, reach: Reach, start: str | None) -> Answer:
    fields, names = scene.fields() | target.fields(), scene.names() | target.names() | {"start": "--start"}
    paper.complain(*scene.notes())

    async def talk(service: Service) -> Answer:
        when = await questions.start_field(service, start, fields, names)
        return await service.get(path, {**fields, **when}, names)

    return converse(reach.address(), reach.named(), talk)


@app.command(
    epilog=_examples(
        "noonframe slots --place quayside-yard --date 2026-06-21",
        "noonframe slots --place dunedin-room --date tomorrow --sky broken",
    )
)
@takes(scene=Scene, target=Target, reach=Reach)
def slots(
    *,
    scene: Scene,
    target: Target,
    reach: Reach,
    date: Annotated[
        str,
        typer.Option(metavar="DAY", help="A date, today or tomorrow, at the place.", rich_help_panel="Time"),
    ] = "today",
    limit: Annotated[
        str | None,
        typer.Option(metavar="N", help="At most so many slots; 6 if not given.", rich_help_panel="Time"),
    ] = None,
) -> int:
    """When to expose: the best stretches of a day, and the sun's course."""
    fields = scene.fields() | target.fields() | ({} if limit is None else {"limit": limit})
    names = scene.names() | target.names() | {"date": "--date", "limit": "--limit"}
    paper.complain(*scene.notes())

    async def talk(service: Service) -> Answer:
        day = await questions.date_field(service, date, fields, names)
        return await service.get("/v1/slots", {**fields, **day}, names)

    answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_slots import draw_slots

        draw_slots(console, answer.says, _now_there(answer))

    _show(reach, answer, lambda: paper.page(draw))
    return ANSWERED if answer.says["slots"] else NOT_REACHED


@app.command(
    epilog=_examples(
        "noonframe light --place quayside-yard --date 2026-06-21",
        "noonframe light --place quayside-yard --from 10:00 --to 14:00 --step 15min",
        "noonframe light --place dunedin-room --date tomorrow --step 10min --csv",
    )
)
@takes(scene=Scene, reach=Reach)
def light(
    *,
    scene: Scene,
    reach: Reach,
    date: Annotated[
        str,
        typer.Option(metavar="DAY", help="A date, today or tomorrow, at the place.", rich_help_panel="Time"),
    ] = "today",
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
    fields = scene.fields() | {"step_s": step_text(step)}
    names = scene.names() | {"start": "--from", "end": "--to", "step_s": "--step"}
    paper.complain(*scene.notes())

    async def talk(service: Service) -> Answer:
        span = await questions.span_fields(
            service, day_text=date, from_text=from_, to_text=to, fields=fields, names=names
        )
        return await service.get("/v1/light", {**fields, **span}, names)

    answer = converse(reach.address(), reach.named(), talk)

    def show() -> None:
        from noonframe_terminal.show_light import draw_light, light_csv

        if csv:
            paper.write(light_csv(answer.says))
        else:
            paper.page(lambda console: draw_light(console, answer.says))

    _show(reach, answer, show)
    return ANSWERED


@app.command(epilog=_examples("noonframe materials", "noonframe materials float-glass-4mm"))
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
    _show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@app.command(
    epilog=_examples("noonframe places Porto", 'noonframe places "-45.87,170.50"'),
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
    _show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@app.command(epilog=_examples("noonframe serve", "noonframe serve --port 8800"))
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
        typer.Option("--allow-unauthenticated", help="Let other machines ask; there is no sign-in."),
    ] = False,
) -> int:
    """Run the service for other programs, on this machine only unless told otherwise."""
    from noonframe_terminal.serve import serve as run_service

    return run_service(host, port, allow_unauthenticated)


def _ask(path: str, fields: Mapping[str, str], names: Mapping[str, str], reach: Reach) -> Answer:
    def talk(service: Service) -> Awaitable[Answer]:
        return service.get(path, fields, names)

    return converse(reach.address(), reach.named(), talk)


def _show(reach: Reach, answer: Answer, show: Callable[[], None]) -> None:
    if reach.json:
        paper.write(answer.text)
        return
    try:
        show()
    except (KeyError, TypeError) as problem:
        if reach.address() is None:
            raise
        raise Failed(f"the service answers in a form this version does not know ({problem!r})") from None


def _now_there(answer: Answer) -> dt.datetime:
    return dt.datetime.now(ZoneInfo(answer.says["basis"]["time_zone"]))
