"""`run`: a print in the light, started, told about and followed."""

from typing import Annotated, Any

import typer

from noonframe_terminal import paper, questions
from noonframe_terminal.common import Start, examples, question, show
from noonframe_terminal.contract import Answer, Service, converse
from noonframe_terminal.finding import find_run, short
from noonframe_terminal.options import Reach, Scene, Target, takes
from noonframe_terminal.options_run import Lean, Print, Telling
from noonframe_terminal.options_spot import Spot
from noonframe_terminal.trouble import ANSWERED, INTERRUPTED, NOT_REACHED

RUNS = "/v1/runs"
run_app = typer.Typer(
    name="run",
    help="A print in the light: start it, tell what the sky does, follow it to its end.",
    no_args_is_help=True,
    epilog=examples(
        "noonframe run start --place quayside-yard --name 'kelp fronds' \\\n    --target 24000",
        "noonframe run tell cloud --at 12:07",
        "noonframe run watch",
        "noonframe run tell finished",
    ),
)
Which = Annotated[
    str | None,
    typer.Argument(metavar="[ID]", help="The beginning of its id, or last; else the newest under way."),
]


@run_app.command(
    epilog=examples(
        "noonframe run start --place quayside-yard --name 'kelp fronds' \\\n    --target 24000",
        "noonframe run start --place quayside-yard --sky clear --start 12:05",
    )
)
@takes(printed=Print, scene=Scene, spot=Spot, target=Target, reach=Reach)
def start(
    *, printed: Print, scene: Scene, spot: Spot, target: Target, reach: Reach, start: Start = None
) -> int:
    """Put a print into the light, now or at a time just past."""
    asked = question(scene, spot, target, printed, start="--start")

    async def talk(service: Service) -> Answer:
        begun = asked.plus(await questions.start_field(service, start, asked.fields, asked.names))
        return await service.change(RUNS, begun.as_object(), asked.names)

    answer = converse(reach.address(), reach.named(), talk)
    show(reach, answer, lambda: _draw(answer.says, begun=True, usual=scene.recipe is None))
    return _code(answer.says)


@run_app.command("list", epilog=examples("noonframe run list", "noonframe run list --status running"))
@takes(reach=Reach)
def list_runs(
    reach: Reach,
    status: Annotated[
        str | None,
        typer.Option(metavar="WORD", help="Only running, covered, finished or discarded ones."),
    ] = None,
    limit: Annotated[
        str | None, typer.Option(metavar="N", help="At most so many, newest first; else 50.")
    ] = None,
) -> int:
    """Runs under way and ended, newest first."""
    fields = {name: text for name, text in (("status", status), ("limit", limit)) if text is not None}
    names = {"status": "--status", "limit": "--limit"}

    def draw(console: Any) -> None:
        from noonframe_terminal.show_run import draw_runs

        draw_runs(console, answer.says["runs"])

    answer = converse(reach.address(), reach.named(), lambda service: service.get(RUNS, fields, names))
    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@run_app.command(
    "show", epilog=examples("noonframe run show", "noonframe run show last --json", "noonframe run show last")
)
@takes(reach=Reach)
def show_run(reach: Reach, which: Which = None) -> int:
    """Where a run stands: dose, end, sky, and what was told."""

    async def talk(service: Service) -> tuple[Answer, list[dict[str, Any]]]:
        path = f"{RUNS}/{await find_run(service, which)}"
        answer = await service.get(path, {}, {})
        if reach.json:
            return answer, []
        return answer, (await service.get(f"{path}/events", {}, {})).says["events"]

    answer, events = converse(reach.address(), reach.named(), talk)
    show(reach, answer, lambda: _draw(answer.says, events))
    return _code(answer.says)


@run_app.command(
    epilog=examples(
        "noonframe run tell sun-out",
        "noonframe run tell cloud --at 12:07:30",
        "noonframe run tell meter --quantity uv --ratio 0.6 \\\n    --uncertainty 0.1 --since 12:02",
        "noonframe run tell moved last --tilt 30 --facing south-west",
        "noonframe run tell target --target 26000",
    )
)
@takes(telling=Telling, spot=Spot, lean=Lean, reach=Reach)
def tell(
    *,
    telling: Telling,
    spot: Spot,
    lean: Lean,
    reach: Reach,
    what: Annotated[
        str,
        typer.Argument(
            metavar="WHAT",
            help="The sky: sun-out, thin-cloud, cloud (before the sun), broken, overcast, rain, fog, clear."
            " The frame: covered, uncovered, moved."
            " A lamp: lamp-off, lamp-on. Else: meter, target, finished, discarded.",
        ),
    ],
    which: Annotated[
        str | None,
        typer.Argument(metavar="[ID]", help="The beginning of its id, or last; else the only one under way."),
    ] = None,
) -> int:
    """Tell what happened to a run, now or late; the end is worked out anew."""
    from noonframe_terminal.telling import what_is_told

    told = what_is_told(what, telling, spot, lean)

    async def talk(service: Service) -> tuple[Answer, Answer]:
        path = f"{RUNS}/{await find_run(service, which, alone=True)}"
        before = await service.get(path, {}, {})
        return await service.change(f"{path}/events", told.body(before.says), told.names), before

    answer, before = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_run import told_sentences

        for line in told_sentences(answer.says, before.says):
            console.print(line, style="bold")

    show(reach, answer, lambda: paper.page(draw))
    return _code(answer.says["run"])


@run_app.command(epilog=examples("noonframe run watch", "noonframe run watch last --until-reached"))
@takes(reach=Reach)
def watch(
    reach: Reach,
    which: Which = None,
    until_reached: Annotated[
        bool, typer.Option("--until-reached", help="Come back once it has had its dose.")
    ] = False,
) -> int:
    """Follow a run: one line that keeps up, and the bell when it has had its dose."""
    from noonframe_terminal import watch as watching

    followed: list[str] = []

    async def talk(service: Service) -> None:
        followed.append(await find_run(service, which))
        write = watching.watch_json if reach.json else watching.watch
        await write(service, followed[0], until_reached=until_reached)

    try:
        converse(reach.address(), reach.named(), talk)
    except KeyboardInterrupt:
        if followed:
            paper.complain(f"the run goes on; noonframe run watch {short(followed[0])} follows it again")
        return INTERRUPTED
    return ANSWERED


def _draw(
    run: dict[str, Any],
    events: list[dict[str, Any]] | None = None,
    *,
    begun: bool = False,
    usual: bool = False,
) -> None:
    def draw(console: Any) -> None:
        from noonframe_terminal.show_run import draw_run

        draw_run(console, run, events or (), usual=usual)
        if begun:
            console.print()
            console.print("noonframe run watch follows it; noonframe run tell WHAT tells what happens.")

    paper.page(draw)


def _code(run: dict[str, Any]) -> int:
    """Not reached when the light, or what is known of it, ends first."""
    is_short = run["status"] in ("running", "covered", "ready") and not run["reached"] and run["end"] is None
    return NOT_REACHED if is_short else ANSWERED
