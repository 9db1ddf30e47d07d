"""`moves` and `patch`: when and where to move the frame, and where the sun comes in."""

from typing import Annotated, Any

import typer

from noonframe_terminal import paper, questions
from noonframe_terminal.common import Day, Start, now_there, question, show
from noonframe_terminal.contract import Answer, Service, converse
from noonframe_terminal.options import Reach, Scene, Target, takes
from noonframe_terminal.options_spot import Plan, Spot, TableEdges
from noonframe_terminal.picture import Picture
from noonframe_terminal.trouble import ANSWERED, NOT_REACHED, Refused

_WINDOW = "\\\n    --window-facing se --window-width 1.2 --sill 0.1 --head 1.5 --distance 0.6"
MOVES_EXAMPLES = (
    f"noonframe moves --place quayside-yard --start 'tomorrow 10:00' {_WINDOW}",
    "noonframe moves --place quayside-yard --aims propped --max-moves 2",
    "noonframe moves --place quayside-yard --aims flat --object-height 3",
)
PATCH_EXAMPLES = (
    f"noonframe patch --place quayside-yard {_WINDOW}",
    f"noonframe patch --place quayside-yard --months {_WINDOW}",
)
_NO_WINDOW = (
    "patch needs a window: give --window-facing, --window-width, --sill, --head and --distance,"
    " or --spot FILE with one"
)


@takes(scene=Scene, spot=Spot, edges=TableEdges, plan=Plan, target=Target, picture=Picture, reach=Reach)
def moves(
    *,
    scene: Scene,
    spot: Spot,
    edges: TableEdges,
    plan: Plan,
    target: Target,
    picture: Picture,
    reach: Reach,
    start: Start = None,
) -> int:
    """When and where to move the frame so that the print is done soonest."""
    picture.check()
    asked = question(scene, spot, edges, plan, target, start="--start")
    paper.complain(*picture.notes())

    async def talk(service: Service) -> tuple[Answer, str | None, Answer | None]:
        begun = asked.plus(await questions.start_field(service, start, asked.fields, asked.names))
        answer = await service.ask("/v1/moves", begun)
        # the rest is about the instant that was answered for: "now" has moved on meanwhile
        begun = begun.plus({"start": answer.says["start"]})
        drawing = None if picture.picture is None else await service.picture("/v1/moves/picture", begun)
        if answer.says["reached"] or reach.json:
            return answer, drawing, None
        staying = begun.less(edges.fields(), plan.fields())
        return answer, drawing, await service.ask("/v1/exposure", staying)

    answer, drawing, staying = converse(reach.address(), reach.named(), talk)
    if drawing is not None:
        picture.write(drawing)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_moves import draw_moves

        draw_moves(
            console,
            answer.says,
            now_there(answer),
            staying=None if staying is None else staying.says,
            usual=scene.recipe is None,
            object_asked=plan.object_height_mm is not None,
            picture=picture.picture,
        )

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED if answer.says["reached"] else NOT_REACHED


@takes(scene=Scene, spot=Spot, edges=TableEdges, reach=Reach)
def patch(
    *,
    scene: Scene,
    spot: Spot,
    edges: TableEdges,
    reach: Reach,
    date: Day = "today",
    months: Annotated[
        bool,
        typer.Option(
            "--months", help="The best place in the middle of every month too.", rich_help_panel="Time"
        ),
    ] = False,
) -> int:
    """Where the patch of sun lies inside a window in the course of a day, and the best place in it."""
    asked = question(scene, spot, edges, date="--date", months="--months")
    if not spot.is_said() and scene.saved_spot is None:
        raise Refused(_NO_WINDOW)
    if months:
        asked = asked.plus({"months": "true"})

    async def talk(service: Service) -> Answer:
        day = await questions.date_field(service, date, asked.fields, asked.names)
        return await service.ask("/v1/patch", asked.plus(day))

    answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_patch import draw_patch

        draw_patch(console, answer.says)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED
