"""`spot` and `saved-place`: where prints are exposed, saved by name."""

from typing import Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.common import examples, show
from noonframe_terminal.contract import converse, in_json
from noonframe_terminal.options import Reach, Where, takes
from noonframe_terminal.options_run import Lean, spot_names, whole_spot
from noonframe_terminal.options_spot import Spot
from noonframe_terminal.saved import PLACES, SPOTS, newest
from noonframe_terminal.trouble import ANSWERED, refusal

Name = Annotated[str, typer.Argument(metavar="NAME", help="What to call it, such as 'yard bench'.")]

spot_app = typer.Typer(
    name="spot",
    help="Spots, saved by name with the place they are at: --saved-spot NAME exposes there.",
    no_args_is_help=True,
    epilog=examples("noonframe spot add 'yard bench' --place quayside-yard \\\n    --skyline 90:35,225:3"),
)
place_app = typer.Typer(
    name="saved-place",
    help="Places, saved by name: --saved-place NAME asks for one.",
    no_args_is_help=True,
    epilog=examples("noonframe saved-place add yard --latitude 41.15 --longitude=-8.61"),
)


@spot_app.command(
    epilog=examples(
        "noonframe spot add 'yard bench' --place quayside-yard --skyline 90:35,225:3",
        "noonframe spot add 'east window' --saved-place yard --window-facing e \\\n"
        "    --window-width 1.2 --sill 0.1 --head 1.5 --distance 0.6",
    )
)
@takes(where=Where, spot=Spot, lean=Lean, reach=Reach)
def add(*, where: Where, spot: Spot, lean: Lean, reach: Reach, name: Name) -> int:
    """Save a spot; flat in the open if nothing is said of it."""
    if lean.aim_azimuth_deg is not None and lean.tilt_deg is None:
        paper.complain("--facing does nothing on a level frame; give --tilt too")
    body = {"name": name, "spot": whole_spot(spot, lean) or {"kind": "open"}, **_position(where)}
    names = {"spot": "--spot", **spot_names(spot, lean), **where.names(), "name": "NAME"}
    answer = converse(
        reach.address(),
        reach.named(),
        lambda service: service.change(SPOTS.path, body, names, look="noonframe spot list"),
    )
    show(reach, answer, lambda: paper.write(f"Saved: {answer.says['name']}, {answer.says['says']}."))
    return ANSWERED


@spot_app.command("list", epilog=examples("noonframe spot list"))
@takes(reach=Reach)
def list_spots(*, reach: Reach) -> int:
    """Spots that are saved, newest first."""
    answer = converse(reach.address(), reach.named(), lambda service: newest(service, SPOTS))

    def draw(console: Any) -> None:
        from noonframe_terminal.show_bench import draw_spots

        draw_spots(console, answer.says["spots"])

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@place_app.command(
    "add",
    epilog=examples(
        "noonframe saved-place add yard --latitude 41.15 --longitude=-8.61 --elevation 80",
        "noonframe saved-place add home --place Porto",
    ),
)
@takes(where=Where, reach=Reach)
def add_place(*, where: Where, reach: Reach, name: Name) -> int:
    """Save a place, found by words or by coordinates."""
    if where.saved_place is not None:
        raise refusal("--saved-place", where.saved_place, "left out: give --place or coordinates")
    body = {"name": name, **_position(where)}
    names = where.names() | {"name": "NAME"}
    answer = converse(
        reach.address(),
        reach.named(),
        lambda service: service.change(PLACES.path, body, names, look="noonframe saved-place list"),
    )
    says = answer.says
    show(
        reach,
        answer,
        lambda: paper.write(
            f"Saved: {says['name']}, {says['latitude_deg']:g}, {says['longitude_deg']:g},"
            f" {says['elevation_m']:g} m, clock of {says['time_zone']}."
        ),
    )
    return ANSWERED


@place_app.command("list", epilog=examples("noonframe saved-place list"))
@takes(reach=Reach)
def list_places(*, reach: Reach) -> int:
    """Places that are saved, newest first."""
    answer = converse(reach.address(), reach.named(), lambda service: newest(service, PLACES))

    def draw(console: Any) -> None:
        from noonframe_terminal.show_bench import draw_saved_places

        draw_saved_places(console, answer.says["places"])

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


def _position(where: Where) -> dict[str, Any]:
    return {name: in_json(name, text) for name, text in where.fields().items()}
