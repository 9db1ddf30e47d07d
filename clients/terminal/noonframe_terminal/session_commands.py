"""`session`: a day of printing planned, kept, and planned anew while it runs."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer

from noonframe_terminal import moments, paper, questions
from noonframe_terminal.commands_keep import Retired, add_restore, add_retire, draw_retired_of
from noonframe_terminal.common import Day, examples, question, show
from noonframe_terminal.contract import Answer, Question, Service, converse
from noonframe_terminal.options import Reach, Scene, Target, takes
from noonframe_terminal.options_spot import Spot
from noonframe_terminal.picture import Picture
from noonframe_terminal.saved import Kind, find_saved
from noonframe_terminal.session_file import TIMES, read_session, read_sheet
from noonframe_terminal.trouble import ANSWERED, NOT_REACHED, Refused, refusal

SESSIONS = Kind("session", "/v1/sessions", "sessions", "noonframe session")
_NAMES = {
    "sheets": "--sheet, --file",
    "frames": "--frames",
    "breaks": "--break",
    "spots": "--file",
    "work": "--file",
    "name": "--save",
}
_SHEETS = "they may also come from --file, a table with the columns name, count, target, priority, by, ..."
_PANEL, _TIME, _TELL = "Session", "Time", "What happened"

Sheets = Annotated[
    list[str] | None,
    typer.Option(
        "--sheet",
        metavar="LINE",
        help="A sheet: 'kelp fronds, count=5, target=24000, priority=2, by=16:00'; may be repeated.",
        rich_help_panel=_PANEL,
    ),
]
File = Annotated[
    str | None,
    typer.Option(
        "--file",
        metavar="FILE",
        help="Sheets from a table (.csv), or a whole session as JSON: sheets, spots, frames, work, breaks.",
        rich_help_panel=_PANEL,
    ),
]
Breaks = Annotated[
    list[str] | None,
    typer.Option(
        "--break",
        metavar="FROM-TO",
        help="No hands then: 13:00-13:30; may be repeated.",
        rich_help_panel=_PANEL,
    ),
]
Name = Annotated[str, typer.Argument(metavar="NAME", help="Of a saved session.")]
Told = list[str] | None

session_app = typer.Typer(
    name="session",
    help="A day of printing: which sheet goes into which frame, when, with your two hands.",
    no_args_is_help=True,
    epilog=examples(
        "noonframe session plan --place quayside-yard --date tomorrow \\\n"
        "    --sheet 'kelp fronds, count=5, target=24000' --sheet 'ferry ticket, target=18000, by=12:00'"
    ),
)


def told(metavar: str, text: str) -> Any:
    """An option that tells what happened; may be repeated."""
    return typer.Option(metavar=metavar, help=text, rich_help_panel=_TELL)


@session_app.command(
    epilog=examples(
        "noonframe session plan --place quayside-yard --sheet 'kelp fronds, count=5' --frames 2",
        "noonframe session plan --place quayside-yard --date tomorrow --file sheets.csv --save 'kelp day'",
        "noonframe session plan --place quayside-yard --file day.json --picture day.svg",
    )
)
@takes(scene=Scene, spot=Spot, target=Target, picture=Picture, reach=Reach)
def plan(
    *,
    scene: Scene,
    spot: Spot,
    target: Target,
    picture: Picture,
    reach: Reach,
    sheet: Sheets = None,
    file: File = None,
    frames: Annotated[
        int | None,
        typer.Option("--frames", metavar="N", help="Frames alike; 3 if not given.", rich_help_panel=_PANEL),
    ] = None,
    break_: Breaks = None,
    date: Day = "today",
    from_: Annotated[
        str | None,
        typer.Option(
            "--from", metavar="TIME", help="Hands from then; sunrise or now.", rich_help_panel=_TIME
        ),
    ] = None,
    to: Annotated[
        str | None,
        typer.Option("--to", metavar="TIME", help="All washed by then; after sunset.", rich_help_panel=_TIME),
    ] = None,
    sureness: Annotated[
        float | None,
        typer.Option(
            "--sureness",
            metavar="SHARE",
            help="Plan lengths that suffice so often: 0.5 (likely) to 0.95.",
            rich_help_panel=_PANEL,
        ),
    ] = None,
    save: Annotated[
        str | None,
        typer.Option("--save", metavar="NAME", help="Keep it under a name.", rich_help_panel=_PANEL),
    ] = None,
) -> int:
    """Plan a session: sheets, frames, hands and tray over the light of the day."""
    picture.check()
    body = read_session(file) if file is not None else {}
    listed = body.get("sheets", [])
    if not isinstance(listed, list):
        raise refusal("--file", file, "a session whose sheets are a list")
    body["sheets"] = [*listed, *(read_sheet(line) for line in sheet or ())]
    if not body["sheets"]:
        raise Refused(f"no sheets given: --sheet 'kelp fronds, count=5, target=24000'; {_SHEETS}")
    asked = question(scene, spot, target, date="--date", start="--from", end="--to", sureness="--sureness")
    if frames is not None:
        body["frames"] = [{"name": "frame", "count": frames}]
    if sureness is not None:
        body["sureness"] = sureness
    paper.complain(*picture.notes())

    async def talk(service: Service) -> tuple[Answer, str | None]:
        zone = await questions.zone_of(service, asked.fields, asked.names)
        day = moments.a_day(date, zone, "--date")
        whole = _whole(asked, body, zone, day)
        if from_ is not None:
            whole["start"] = moments.instant_text(from_, zone, "--from", day)
        if to is not None:
            whole["end"] = moments.instant_text(to, zone, "--to", day)
        if not {"start", "end"} <= whole.keys() and date.strip().lower() != "today":
            whole["date"] = day.isoformat()
        spans = [_break(text, zone, day) for text in break_ or ()]
        if spans:
            whole["breaks"] = [*whole.get("breaks", []), *spans]
        names = {**asked.names, **_NAMES}
        if save is None:
            answer = await service.post("/v1/session", whole, names)
            return answer, await _drawing(service, picture, Question({}, names), whole, None)
        look = "noonframe session list"
        answer = await service.change(SESSIONS.path, {**whole, "name": save}, names, look=look)
        return answer, await _drawing(service, picture, Question({}, names), whole, answer.says["id"])

    answer, drawing = converse(reach.address(), reach.named(), talk)
    return _show(reach, picture, answer, drawing)


def _whole(asked: Question, body: Mapping[str, Any], zone: dt.tzinfo, day: dt.date) -> dict[str, Any]:
    """The request: options first, then what the file says; clock times as instants of the day."""
    whole: dict[str, Any] = {**asked.less({"spot": ""}).as_object()}
    spot = whole.pop("spot", None)
    if spot is not None:
        whole["spots"] = [{"name": "the spot", "spot": spot}]
    whole.update(body)
    if "recipe" in whole:
        for name in ("stack", "sensitizer"):
            whole.pop(name, None)
    whole["sheets"] = [_timed(each, TIMES, zone, day) for each in whole["sheets"]]
    if isinstance(whole.get("breaks"), list):
        whole["breaks"] = [_timed(each, ("start", "end"), zone, day) for each in whole["breaks"]]
    timed: dict[str, Any] = _timed(whole, ("start", "end"), zone, day)
    return timed


def _timed(fields: Any, names: Sequence[str], zone: dt.tzinfo, day: dt.date) -> Any:
    """An object with its clock times as instants."""
    if not isinstance(fields, dict):
        return fields
    found = dict(fields)
    for name in names:
        if isinstance(found.get(name), str):
            called = "by" if name == "done_by" else name
            found[name] = moments.instant_text(found[name], zone, called, day)
    return found


def _break(text: str, zone: dt.tzinfo, day: dt.date) -> dict[str, Any]:
    first, sign, last = text.partition("-")
    if not sign:
        raise refusal("--break", text, "two times of day, such as 13:00-13:30")
    return {
        "start": moments.instant_text(first, zone, "--break", day),
        "end": moments.instant_text(last, zone, "--break", day),
    }


async def _drawing(
    service: Service, picture: Picture, asked: Question, whole: Mapping[str, Any], session_id: str | None
) -> str | None:
    if picture.picture is None:
        return None
    if session_id is not None:
        return await service.picture(f"{SESSIONS.path}/{session_id}/picture", asked)
    return await service.picture("/v1/session/picture", _Whole({}, asked.names, whole))


class _Whole(Question):
    """A question that is posted as it stands."""

    def body(self) -> str:
        import json

        return json.dumps(self.spot)


def _show(reach: Reach, picture: Picture, answer: Answer, drawing: str | None, *, past: bool = False) -> int:
    if drawing is not None:
        picture.write(drawing)
    saved = "plan" in answer.says
    plan = answer.says["plan"] if saved else answer.says

    def draw(console: Any) -> None:
        from noonframe_terminal.session_show import draw_plan

        draw_plan(console, plan, name=answer.says["name"] if saved else None, past=past)
        if picture.picture is not None:
            console.print()
            console.print(f"Drawn in {picture.picture}.", soft_wrap=True)

    show(reach, answer, lambda: paper.page(draw))
    return NOT_REACHED if plan["sheets_left_out"] else ANSWERED


@session_app.command("list", epilog=examples("noonframe session list"))
@takes(reach=Reach)
def list_sessions(*, reach: Reach, retired: Retired = False) -> int:
    """Sessions that are saved, the latest first."""

    async def talk(service: Service) -> Answer:
        if retired:
            return await newest_of(service, {"retired": "yes"})
        return await newest_of(service, {})

    answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        if retired:
            draw_retired_of(console, answer, SESSIONS)
            return
        from noonframe_terminal.session_show import draw_sessions

        draw_sessions(console, answer.says["sessions"])

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


async def newest_of(service: Service, fields: Mapping[str, str]) -> Answer:
    """As many sessions as the contract lists at once."""
    return await service.get(SESSIONS.path, {"limit": "100", **fields}, {})


@session_app.command("show", epilog=examples("noonframe session show 'kelp day' --picture day.svg"))
@takes(picture=Picture, reach=Reach)
def show_session(
    *,
    picture: Picture,
    reach: Reach,
    name: Name,
    past: Annotated[bool, typer.Option("--past", help="Also what is over.")] = False,
) -> int:
    """A saved session: what is to be done, and what becomes of each sheet."""
    picture.check()

    async def talk(service: Service) -> tuple[Answer, str | None]:
        found = await find_saved(service, SESSIONS, name, "NAME")
        answer = await service.get(f"{SESSIONS.path}/{found['id']}", {}, {})
        return answer, await _drawing(service, picture, Question({}, {}), {}, found["id"])

    answer, drawing = converse(reach.address(), reach.named(), talk)
    _show(reach, picture, answer, drawing, past=past)
    return ANSWERED


@session_app.command(
    epilog=examples(
        "noonframe session replan 'kelp day' --followed --cloud 11:00-11:30",
        "noonframe session replan 'kelp day' --started kelp-fronds-1@10:05 --ended kelp-fronds-1@10:22",
        "noonframe session replan 'kelp day' --dropped ferry-ticket-1 --add 'rope, count=2, target=30000'",
    )
)
@takes(picture=Picture, reach=Reach)
def replan(
    *,
    picture: Picture,
    reach: Reach,
    name: Name,
    followed: Annotated[
        bool,
        typer.Option(
            "--followed",
            help="All else before now happened as planned.",
            rich_help_panel=_TELL,
        ),
    ] = False,
    started: Annotated[Told, told("SHEET[@TIME]", "Put into the light; now if no time is given.")] = None,
    ended: Annotated[Told, told("SHEET[@TIME]", "Taken out of the light.")] = None,
    dropped: Annotated[Told, told("SHEET[@TIME]", "Not wanted any more.")] = None,
    dose: Annotated[Told, told("SHEET=J[@TIME]", "What it has gathered, in J/m2.")] = None,
    cloud: Annotated[Told, told("FROM[-TO][=WORD]", "The sky then: 11:00-11:30=overcast.")] = None,
    break_: Annotated[
        Told,
        typer.Option("--break", metavar="FROM-TO", help="No hands then.", rich_help_panel=_TELL),
    ] = None,
    add: Annotated[Told, told("LINE", "Another sheet, as for plan --sheet.")] = None,
) -> int:
    """Tell what happened, and plan the rest anew: the past stays, sheets in the light stay."""
    picture.check()

    async def talk(service: Service) -> tuple[Answer, str | None]:
        found = await find_saved(service, SESSIONS, name, "NAME")
        found = (await service.get(f"{SESSIONS.path}/{found['id']}", {}, {})).says
        teller = _Teller(found["plan"])
        events = [
            *teller.sheets("started", started),
            *teller.sheets("ended", ended),
            *teller.sheets("dropped", dropped),
            *teller.doses(dose),
            *teller.clouds(cloud),
            *teller.breaks(break_),
            *teller.added(add),
        ]
        path = f"{SESSIONS.path}/{found['id']}"
        answer = await service.change(
            f"{path}/replan",
            {"events": events, "followed": followed},
            {"events": "what happened"},
            version=found["version"],
            look=f"noonframe session show '{found['name']}'",
        )
        return answer, await _drawing(service, picture, Question({}, {}), {}, found["id"])

    answer, drawing = converse(reach.address(), reach.named(), talk)
    return _show(reach, picture, answer, drawing)


class _Teller:
    """Events from what was typed; times are those of the session's place and day."""

    def __init__(self, plan: Mapping[str, Any]) -> None:
        self._zone = ZoneInfo(plan["basis"]["time_zone"])
        self._day = dt.datetime.fromisoformat(plan["start"]).astimezone(self._zone).date()

    def _now(self) -> str:
        return dt.datetime.now(self._zone).isoformat(timespec="seconds")

    def _at(self, text: str, option: str) -> str:
        return moments.instant_text(text, self._zone, option, self._day) if text.strip() else self._now()

    def sheets(self, kind: str, texts: Told) -> list[dict[str, Any]]:
        """Events of one kind that name a sheet."""
        found = []
        for text in texts or ():
            sheet_id, _, at = text.partition("@")
            found.append({"kind": kind, "sheet_id": sheet_id.strip(), "at": self._at(at, f"--{kind}")})
        return found

    def doses(self, texts: Told) -> list[dict[str, Any]]:
        """Doses told."""
        found = []
        for text in texts or ():
            said, _, at = text.partition("@")
            sheet_id, _, value = said.partition("=")
            try:
                dose = float(value)
            except ValueError:
                raise refusal("--dose", text, "a sheet, = and a dose in J/m2, such as kelp-1=12000") from None
            found.append(
                {
                    "kind": "dose",
                    "sheet_id": sheet_id.strip(),
                    "dose_j_m2": dose,
                    "at": self._at(at, "--dose"),
                }
            )
        return found

    def clouds(self, texts: Told) -> list[dict[str, Any]]:
        """What was told of the sky."""
        found = []
        for text in texts or ():
            span, _, word = text.partition("=")
            first, _, last = span.partition("-")
            event = {"kind": "cloud", "at": self._at(first, "--cloud")}
            if last:
                event["until"] = self._at(last, "--cloud")
            if word:
                event["sky"] = word.strip()
            found.append(event)
        return found

    def breaks(self, texts: Told) -> list[dict[str, Any]]:
        """Times without hands."""
        found = []
        for text in texts or ():
            span = _break(text, self._zone, self._day)
            found.append({"kind": "break", "at": span["start"], "until": span["end"]})
        return found

    def added(self, texts: Told) -> list[dict[str, Any]]:
        """Sheets that came later, as one event."""
        sheets = [_timed(read_sheet(text, "--add"), TIMES, self._zone, self._day) for text in texts or ()]
        return [{"kind": "added", "at": self._now(), "sheets": sheets}] if sheets else []


for _add in (add_retire, add_restore):
    _add(session_app, SESSIONS, "'kelp day'")
