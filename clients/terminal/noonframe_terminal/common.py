"""What commands share: examples, options of time, and how an answer is shown."""

import datetime as dt
from collections.abc import Callable
from typing import Annotated, Protocol, cast
from zoneinfo import ZoneInfo

import typer

from noonframe_terminal import paper
from noonframe_terminal.contract import Answer, Question
from noonframe_terminal.options import Reach, Scene
from noonframe_terminal.options_spot import Spot
from noonframe_terminal.trouble import Failed

_EXIT_CODES = (
    "Exit codes: 0 answered; 1 the exposure cannot be reached (the answer still says when it can);"
    " 2 something typed is wrong; 3 the service cannot be reached or failed; 130 stopped with Ctrl-C."
)

Start = Annotated[
    str | None,
    typer.Option(
        "--start",
        metavar="TIME",
        help="HH:MM at the place today, 'YYYY-MM-DD HH:MM' there, or RFC 3339; now if not given.",
        rich_help_panel="Time",
    ),
]
Day = Annotated[
    str,
    typer.Option(
        "--date", metavar="DAY", help="A date, today or tomorrow, at the place.", rich_help_panel="Time"
    ),
]


def examples(*lines: str) -> str:
    """The end of a command's help."""
    return "\n\n".join(["Examples:", *(f"  {line}" for line in lines), _EXIT_CODES])


class _Group(Protocol):
    def fields(self) -> dict[str, str]: ...

    def names(self) -> dict[str, str]: ...


def question(scene: Scene, spot: Spot, *groups: _Group, **names: str) -> Question:
    """What groups of options ask; `names` are the options of fields to come."""
    fields: dict[str, str] = {}
    called: dict[str, str] = {}
    for group in cast("tuple[_Group, ...]", (scene, spot, *groups)):
        fields |= group.fields()
        called |= group.names()
    paper.complain(*scene.notes())
    return Question(fields, called | names, spot.from_file())


def show(reach: Reach, answer: Answer, draw: Callable[[], None]) -> None:
    """The answer as it came, or as `draw` writes it."""
    if reach.json:
        paper.write(answer.text)
        return
    try:
        draw()
    except (KeyError, TypeError) as problem:
        if reach.address() is None:
            raise
        raise Failed(f"the service answers in a form this version does not know ({problem!r})") from None


def now_there(answer: Answer) -> dt.datetime:
    """The time now by the clock of the place; under a lamp without one, by that of the answer's times."""
    name = answer.says["basis"]["time_zone"]
    if name is None:
        return dt.datetime.now(dt.datetime.fromisoformat(answer.says["start"]).tzinfo)
    return dt.datetime.now(ZoneInfo(name))
