"""`say` and `qr`: one sentence to be read out, and the service's address for a phone's camera."""

import sys
from collections.abc import Awaitable, Callable, Mapping
from typing import Annotated

import typer

from noonframe_terminal import paper, questions
from noonframe_terminal.common import Start, question, show
from noonframe_terminal.contract import Answer, Question, Service, converse
from noonframe_terminal.hosts import is_loopback
from noonframe_terminal.options import Reach, Scene, Target, given, takes
from noonframe_terminal.options_spot import Spot
from noonframe_terminal.trouble import ANSWERED, NOT_REACHED, Refused, refusal

SAY_EXAMPLES = (
    "noonframe say --place quayside-yard",
    "noonframe say --place dunedin-room --sky thin-cloud",
    "noonframe say tomorrow --place quayside-yard",
    "noonframe say time-left",
)
QR_EXAMPLES = ("noonframe qr --server http://printroom.local:8765", "noonframe qr")
_UNDER_WAY = ("running", "time-left")
_WHAT = ("now", "tomorrow", "next-move", *_UNDER_WAY)
_SAY = "/v1/say"


@takes(scene=Scene, spot=Spot, target=Target, reach=Reach)
def say(
    *,
    scene: Scene,
    spot: Spot,
    target: Target,
    reach: Reach,
    what: Annotated[
        str, typer.Argument(metavar="[WHAT]", help=f"One of {', '.join(_WHAT)}; now if not given.")
    ] = "now",
    start: Start = None,
    name: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="With running and time-left: only prints of this name.",
            rich_help_panel="Under way",
        ),
    ] = None,
    session: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="With next-move: of this session; else of the one that is on.",
            rich_help_panel="Under way",
        ),
    ] = None,
) -> int:
    """One plain sentence, to be read out or passed on: how long, when tomorrow, what is under way."""
    said = what.strip().lower()
    if said not in _WHAT:
        raise refusal("WHAT", what, f"one of {', '.join(_WHAT)}")
    asked_of_a_place = bool(given(scene) or given(spot) or given(target) or start is not None)
    if name is not None and said not in _UNDER_WAY:
        raise refusal("--name", name, f"left out unless with {' or '.join(_UNDER_WAY)}")
    if session is not None and said != "next-move":
        raise refusal("--session", session, "left out unless with next-move")
    if said in _UNDER_WAY and asked_of_a_place:
        raise Refused(
            f"{said} tells of what is in the light already: it takes --name, and nothing of a place"
        )
    if said == "tomorrow" and start is not None:
        raise refusal("--start", start, "left out: tomorrow is the whole day")
    if said == "now":
        # the sentence of a spot that only JSON holds comes with the whole answer
        path = _SAY if spot.spot is None else "/v1/exposure"
        asked = question(scene, spot, target, start="--start")
        answer = converse(reach.address(), reach.named(), begun_at(path, asked, start))
    elif said in _UNDER_WAY or (said == "next-move" and not asked_of_a_place):
        fields = {"name": name, "session": session}
        answer = _ask(said, {field: text for field, text in fields.items() if text is not None}, reach)
    else:
        if spot.spot is not None:
            raise refusal("--spot", spot.spot, "saved first (noonframe spot add), and given as --saved-spot")
        if session is not None:
            raise refusal("--session", session, "left out when a place is asked about")
        asked = question(scene, spot, target, start="--start")
        answer = converse(reach.address(), reach.named(), begun_at(f"{_SAY}/{said}", asked, start))
    show(reach, answer, lambda: paper.write(answer.says["summary"]))
    return _code(said, answer)


def _code(said: str, answer: Answer) -> int:
    found = {"now": "reached", "tomorrow": "found"}.get(said)
    return ANSWERED if found is None or answer.says[found] else NOT_REACHED


def begun_at(path: str, asked: Question, start: str | None) -> Callable[[Service], Awaitable[Answer]]:
    """The talk that asks `path` of a print begun at `start`."""

    async def talk(service: Service) -> Answer:
        when = await questions.start_field(service, start, asked.fields, asked.names)
        return await service.ask(path, asked.plus(when))

    return talk


def _ask(said: str, fields: Mapping[str, str], reach: Reach) -> Answer:
    names = {"name": "--name", "session": "--session"}
    return converse(
        reach.address(), reach.named(), lambda service: service.get(f"{_SAY}/{said}", fields, names)
    )


@takes(reach=Reach)
def qr(*, reach: Reach) -> int:
    """The service's address as a code for a phone's camera: that of --server, or where serve would listen."""
    if reach.address() is None:
        from noonframe_terminal.serve import settings_or_refuse

        settings = settings_or_refuse()
        host = f"[{settings.host}]" if ":" in settings.host.strip("[]") else settings.host
        address = f"http://{host.replace('[[', '[').replace(']]', ']')}:{settings.port}"
        if reach.json:
            raise refusal("--json", None, "given with --server: the answer is that of a service")
        _draw(address, _own_summary(settings.host, address))
        return ANSWERED
    answer = converse(reach.address(), reach.named(), lambda service: service.get("/v1/address", {}, {}))
    show(reach, answer, lambda: _draw(answer.says["address"], answer.says["summary"]))
    return ANSWERED


def _own_summary(host: str, address: str) -> str:
    if is_loopback(host):
        return (
            f"{address} leads to this machine only, so a phone cannot open it: serve on an address of your"
            " network (NOONFRAME_HOST, or --server with the address it has there)."
        )
    if host.strip("[]") in ("0.0.0.0", "::"):
        return f"{address} is every address of this machine: give --server with the one a phone can open."
    return f"{address} is where noonframe serve will listen."


def _draw(address: str, summary: str) -> None:
    import segno

    from noonframe_terminal.show_code import code_lines

    encoding = getattr(sys.stdout, "encoding", None) or "ascii"
    paper.write("\n".join([*code_lines(segno.make(address, error="m", micro=False), encoding), "", summary]))
