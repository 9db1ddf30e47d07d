"""`year` and `month`: from which hours the sun does it, and how long it takes, never a forecast."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.common import examples, question, show
from noonframe_terminal.contract import Answer, Question, Service, converse
from noonframe_terminal.options import Reach, Scene, Target, takes
from noonframe_terminal.options_spot import Spot
from noonframe_terminal.trouble import ANSWERED, NOT_REACHED
from noonframe_terminal.year_picture import WallPicture

if TYPE_CHECKING:
    from rich.console import Console

_WINDOW = "\\\n    --window-facing se --window-width 1.2 --sill 0.1 --head 1.5 --distance 0.6"
_YEAR_EXAMPLES = (
    "noonframe year --place quayside-yard",
    "noonframe year --place dunedin-room --year 2027 --sky broken",
    f"noonframe year --place quayside-yard --picture year.pdf {_WINDOW}",
)
_MONTH_EXAMPLES = (
    "noonframe month --place quayside-yard --month 2026-06",
    "noonframe month --place quayside-yard --tilt 35 --facing s --picture june.svg",
)
_Draw = Callable[["Console", Mapping[str, Any]], None]


def add_year(app: typer.Typer) -> None:
    """Give `app` the commands of the month and the year."""
    app.command(epilog=examples(*_YEAR_EXAMPLES))(year)
    app.command(epilog=examples(*_MONTH_EXAMPLES))(month)


@takes(scene=Scene, spot=Spot, target=Target, picture=WallPicture, reach=Reach)
def year(
    *,
    scene: Scene,
    spot: Spot,
    target: Target,
    picture: WallPicture,
    reach: Reach,
    year: Annotated[
        str | None,
        typer.Option("--year", metavar="YEAR", help="This year if not given.", rich_help_panel="Time"),
    ] = None,
) -> int:
    """Minutes of exposure by start hour and month, and the best hours of each month."""
    asked = question(scene, spot, target, year="--year")
    if year is not None:
        asked = asked.plus({"year": year})

    def draw(console: "Console", says: Mapping[str, Any]) -> None:
        from noonframe_terminal.show_year import draw_year

        draw_year(console, says, usual=scene.recipe is None, picture=picture.picture)

    return _answer("/v1/year", asked, picture, reach, draw)


@takes(scene=Scene, spot=Spot, target=Target, picture=WallPicture, reach=Reach)
def month(
    *,
    scene: Scene,
    spot: Spot,
    target: Target,
    picture: WallPicture,
    reach: Reach,
    month: Annotated[
        str | None,
        typer.Option(
            "--month",
            metavar="YYYY-MM",
            help="Such as 2026-06; this month if not given.",
            rich_help_panel="Time",
        ),
    ] = None,
) -> int:
    """Minutes of exposure by day and start hour of a month."""
    asked = question(scene, spot, target, month="--month")
    if month is not None:
        asked = asked.plus({"month": month})

    def draw(console: "Console", says: Mapping[str, Any]) -> None:
        from noonframe_terminal.show_year import draw_month

        draw_month(console, says, usual=scene.recipe is None, picture=picture.picture)

    return _answer("/v1/month", asked, picture, reach, draw)


def _answer(path: str, asked: Question, picture: WallPicture, reach: Reach, draw: _Draw) -> int:
    picture.check()
    paper.complain(*picture.notes())

    async def talk(service: Service) -> tuple[Answer, bytes | None]:
        answer = await service.ask(path, asked)
        if picture.picture is None:
            return answer, None
        # what was left out was read from the clock, which must not turn between two questions
        same = asked.plus({name: str(answer.says[name]) for name in (path.removeprefix("/v1/"),)})
        return answer, await service.file(f"{path}{picture.ending()}", same, picture.kind())

    answer, page = converse(reach.address(), reach.named(), talk)
    if page is not None:
        picture.write(page)
    show(reach, answer, lambda: paper.page(lambda console: draw(console, answer.says)))
    return ANSWERED if answer.says["days_possible"] else NOT_REACHED
