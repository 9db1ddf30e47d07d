"""`spot` and `saved-place`: where prints are exposed, saved by name."""

from collections.abc import Mapping
from typing import Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.commands_keep import Retired, add_history, add_restore, add_retire, draw_retired_of
from noonframe_terminal.common import examples, show
from noonframe_terminal.contract import Answer, Service, converse, in_json
from noonframe_terminal.options import Reach, Where, given, names_of, takes
from noonframe_terminal.options_bench import PlaceFields
from noonframe_terminal.options_run import Lean, spot_names, whole_spot
from noonframe_terminal.options_spot import Spot, merged_spot
from noonframe_terminal.saved import PLACES, SPOTS, Kind, find_saved, newest
from noonframe_terminal.trouble import ANSWERED, Refused, refusal

Name = Annotated[str, typer.Argument(metavar="NAME", help="What to call it, such as 'yard bench'.")]
Rename = Annotated[str | None, typer.Option("--rename", metavar="NAME", help="A new name.")]

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
def list_spots(*, reach: Reach, retired: Retired = False) -> int:
    """Spots that are saved, newest first."""
    answer = converse(reach.address(), reach.named(), lambda service: newest(service, SPOTS, retired=retired))

    def draw(console: Any) -> None:
        if retired:
            draw_retired_of(console, answer, SPOTS)
            return
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
        lambda: paper.write(f"Saved: {says['name']}, {_place_words(says)}."),
    )
    return ANSWERED


@place_app.command("list", epilog=examples("noonframe saved-place list"))
@takes(reach=Reach)
def list_places(*, reach: Reach, retired: Retired = False) -> int:
    """Places that are saved, newest first."""
    answer = converse(
        reach.address(), reach.named(), lambda service: newest(service, PLACES, retired=retired)
    )

    def draw(console: Any) -> None:
        if retired:
            draw_retired_of(console, answer, PLACES)
            return
        from noonframe_terminal.show_bench import draw_saved_places

        draw_saved_places(console, answer.says["places"])

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@spot_app.command(
    epilog=examples(
        "noonframe spot change 'yard bench' --skyline 90:40,225:3",
        "noonframe spot change 'east window' --distance 0.8 --rename 'east sill'",
    )
)
@takes(where=Where, spot=Spot, lean=Lean, reach=Reach)
def change(*, where: Where, spot: Spot, lean: Lean, reach: Reach, name: Name, rename: Rename = None) -> int:
    """Save a new version of a spot; what is not typed stays, and old prints keep theirs."""
    body: dict[str, Any] = {field: in_json(field, text) for field, text in given(where).items()}
    body |= {} if rename is None else {"name": rename}
    typed = whole_spot(spot, lean)
    if not body and typed is None:
        raise Refused("nothing to change: give --rename, a place, or one of the options of a spot")
    names = {"spot": "--spot", **spot_names(spot, lean), **names_of(Where), "name": "--rename"}

    async def talk(service: Service) -> tuple[dict[str, Any], Answer]:
        before = await find_saved(service, SPOTS, name, "NAME")
        if typed is not None:
            body["spot"] = typed if spot.spot is not None else merged_spot(before["spot"], typed)
        return before, await _patch(service, SPOTS, before, body, names)

    before, answer = converse(reach.address(), reach.named(), talk)
    show(reach, answer, lambda: _write_changed(before, answer.says, answer.says["says"]))
    return ANSWERED


@place_app.command(
    "change",
    epilog=examples(
        "noonframe saved-place change yard --elevation 85",
        "noonframe saved-place change yard --rename 'the yard'",
    ),
)
@takes(fields=PlaceFields, reach=Reach)
def change_place(*, fields: PlaceFields, reach: Reach, name: Name, rename: Rename = None) -> int:
    """Save a new version of a place; what is not typed stays, and spots that name it follow."""
    body: dict[str, Any] = {field: in_json(field, text) for field, text in given(fields).items()}
    body |= {} if rename is None else {"name": rename}
    if not body:
        raise Refused("nothing to change: give --rename, --latitude, --longitude, --elevation or --time-zone")
    names = names_of(PlaceFields) | {"name": "--rename"}

    async def talk(service: Service) -> tuple[dict[str, Any], Answer]:
        before = await find_saved(service, PLACES, name, "NAME")
        return before, await _patch(service, PLACES, before, body, names)

    before, answer = converse(reach.address(), reach.named(), talk)
    show(reach, answer, lambda: _write_changed(before, answer.says, _place_words(answer.says)))
    return ANSWERED


for _app, _kind, _example in ((spot_app, SPOTS, "'yard bench'"), (place_app, PLACES, "yard")):
    add_retire(_app, _kind, _example)
    add_restore(_app, _kind, _example)
    add_history(_app, _kind, _example)


async def _patch(
    service: Service, kind: Kind, before: Mapping[str, Any], body: dict[str, Any], names: dict[str, str]
) -> Answer:
    path, look = f"{kind.path}/{before['id']}", f"{kind.command} list"
    return await service.change(path, body, names, method="PATCH", version=before["version"], look=look)


def _write_changed(before: Mapping[str, Any], now: Mapping[str, Any], words: str) -> None:
    if now["version"] == before["version"]:
        paper.write(f"Nothing new: {now['name']}, {words}, was so already.")
    else:
        paper.write(f"Saved as version {now['version']}: {now['name']}, {words}.")


def _place_words(says: Mapping[str, Any]) -> str:
    return (
        f"{says['latitude_deg']:g}, {says['longitude_deg']:g}, {says['elevation_m']:g} m,"
        f" clock of {says['time_zone']}"
    )


def _position(where: Where) -> dict[str, Any]:
    return {name: in_json(name, text) for name, text in where.fields().items()}
