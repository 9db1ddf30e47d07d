"""`calendar`: slots and sessions for a calendar, as a file or at a private address."""

import dataclasses
import os
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote

import typer

from noonframe_terminal import paper, words
from noonframe_terminal.common import examples, question, show
from noonframe_terminal.contract import Service, converse, in_json
from noonframe_terminal.options import Reach, Scene, Target, Text, given, names_of, option, takes
from noonframe_terminal.options_spot import Spot
from noonframe_terminal.trouble import ANSWERED, Refused, refusal

_ICS = "text/calendar"
_FEEDS = "/v1/feeds"
_HERE = "http://in-process"

calendar_app = typer.Typer(
    name="calendar",
    help="The best slots, or a session, for your calendar: as a file, or to subscribe to.",
    no_args_is_help=True,
    epilog=examples(
        "noonframe calendar slots --saved-spot 'yard bench' --out slots.ics",
        "noonframe calendar subscribe Yard --saved-spot 'yard bench' \\\n    --recipe 'kelp on cotton'",
        "noonframe calendar feeds",
    ),
)


@dataclasses.dataclass(frozen=True)
class Days:
    """What a calendar of slots shows."""

    days: Annotated[Text, option("--days", "Calendar", "N", "From today on; 7 if not given.")] = None
    per_day: Annotated[
        Text, option("--per-day", "Calendar", "N", "At most so many slots a day; 1 if not given.")
    ] = None
    reminder_min: Annotated[
        Text, option("--remind", "Calendar", "MIN", "Minutes before the best start; 15, or none.")
    ] = None

    def fields(self) -> dict[str, str]:
        """What to ask the service."""
        asked = given(self)
        if (self.reminder_min or "").strip().lower() == "none":
            del asked["reminder_min"]
            asked["reminder"] = "false"
        return asked

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        return names_of(type(self)) | {"reminder": "--remind"}


@dataclasses.dataclass(frozen=True)
class Out:
    """Where a calendar goes."""

    out: Annotated[Text, option("--out", "Answer", "FILE.ics", "Into this file; else printed.")] = None
    force: Annotated[
        bool, typer.Option("--force", help="Even if the file is there already.", rich_help_panel="Answer")
    ] = False
    server: Annotated[Text, option("--server", "Answer", "URL", "Ask this service; else none is needed.")] = (
        None
    )

    def write(self, calendar: str) -> None:
        """Write it with the line ends that a calendar has; refuses to write over a file unasked."""
        if self.out is None:
            paper.write(calendar)
            return
        try:
            with open(self.out, "wb" if self.force else "xb") as file:
                file.write(calendar.encode())
        except FileExistsError:
            raise Refused(f"--out {self.out}: is there already; --force writes over it") from None
        except OSError as problem:
            reason = problem.strerror or problem
            raise Refused(f"--out {self.out}: cannot be written ({reason})") from None
        paper.write(f"Written: {Path(self.out).name}; open it with your calendar.")

    def check(self) -> None:
        """Refuse a file that could not be written, before the work of an answer is done."""
        if self.out is not None and os.path.lexists(self.out) and not self.force:
            raise Refused(f"--out {self.out}: is there already; --force writes over it")


@calendar_app.command(
    epilog=examples(
        "noonframe calendar slots --place quayside-yard --days 3",
        "noonframe calendar slots --saved-spot 'yard bench' --remind none --out slots.ics",
    )
)
@takes(scene=Scene, spot=Spot, target=Target, days=Days, out=Out)
def slots(*, scene: Scene, spot: Spot, target: Target, days: Days, out: Out) -> int:
    """The best slots of the next days as a calendar file."""
    if spot.spot is not None:
        raise refusal("--spot", spot.spot, "saved first (noonframe spot add), and given as --saved-spot")
    out.check()
    asked = question(scene, spot, target, days)
    out.write(_fetch(out, "/v1/slots/calendar.ics", asked.fields, asked.names))
    return ANSWERED


@calendar_app.command(epilog=examples("noonframe calendar session 'kelp day' --out kelp-day.ics"))
@takes(out=Out)
def session(
    *, out: Out, name: Annotated[str, typer.Argument(metavar="NAME", help="Of a saved session, or its id.")]
) -> int:
    """A saved session as a calendar file."""
    out.check()
    out.write(_fetch(out, f"/v1/sessions/{quote(name, safe='')}/calendar.ics", {}, {"session_id": "NAME"}))
    return ANSWERED


@calendar_app.command(
    epilog=examples(
        "noonframe calendar subscribe Yard --saved-spot 'yard bench' --recipe 'kelp on cotton'",
        "noonframe calendar subscribe 'Kelp day' --session 'kelp day'",
    )
)
@takes(scene=Scene, spot=Spot, target=Target, days=Days, reach=Reach)
def subscribe(
    *,
    scene: Scene,
    spot: Spot,
    target: Target,
    days: Days,
    reach: Reach,
    name: Annotated[str, typer.Argument(metavar="NAME", help="What the calendar is to be called.")],
    session: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="A saved session, in place of slots.", rich_help_panel="Calendar"),
    ] = None,
) -> int:
    """Make a private address to subscribe to; it is shown this once."""
    body: dict[str, Any] = {"name": name}
    names: dict[str, str] = {"name": "NAME", "session": "--session"}
    if session is not None:
        if given(scene) or given(spot) or given(target) or given(days):
            raise Refused("--session shows a session's own plan: give it without a place, spot or days")
        body["session"] = session
    else:
        asked = question(scene, spot, target, days)
        body["slots"] = asked.as_object() | _switches(days.fields())
        names |= {f"slots.{field}": called for field, called in asked.names.items()} | dict(asked.names)
        names["name"] = "NAME"
    answer = _converse(
        reach, lambda service: service.change(_FEEDS, body, names, look="noonframe calendar feeds")
    )

    def draw() -> None:
        says = answer.says
        if says["address"].startswith(_HERE):
            paper.write(
                f"Saved: {says['name']}, {says['says']}.\n"
                f"Its private path, shown this once:\n{says['path']}\n"
                "Put the address of your service before it (noonframe serve says where it listens) and\n"
                "subscribe to it. Keep it to yourself: whoever has it can read this calendar, until\n"
                f"noonframe calendar revoke {says['id'][:8]}"
            )
            return
        paper.write(f"Saved: {says['name']}, {says['says']}.\n{says['address']}\n{says['summary']}")

    show(reach, answer, draw)
    return ANSWERED


@calendar_app.command(epilog=examples("noonframe calendar feeds"))
@takes(reach=Reach)
def feeds(*, reach: Reach) -> int:
    """Feeds that can be read, newest first; their addresses are never shown again."""
    answer = _converse(reach, lambda service: service.get(_FEEDS, {}, {}))

    def draw() -> None:
        found = answer.says["feeds"]
        if not found:
            paper.write("No feeds.")
        for feed in found:
            read = f"last read on {feed['last_used_day']}" if feed["last_used_day"] else "never read"
            made = words.date(words.moment(feed["created"]).date())
            paper.write(f"{feed['id'][:8]}  {feed['name']}: {feed['says']}; made on {made}, {read}")

    show(reach, answer, draw)
    return ANSWERED


@calendar_app.command(epilog=examples("noonframe calendar revoke 5df7b838"))
@takes(reach=Reach)
def revoke(
    *,
    reach: Reach,
    feed: Annotated[
        str, typer.Argument(metavar="ID", help="The beginning of its id: noonframe calendar feeds.")
    ],
) -> int:
    """Let nobody read a feed any more, for good."""

    async def talk(service: Service) -> Any:
        found = (await service.get(_FEEDS, {"limit": "200"}, {})).says["feeds"]
        meant = [one for one in found if feed.strip() and one["id"].startswith(feed.strip().lower())]
        if len(meant) != 1:
            limit = "the beginning of one feed's id: noonframe calendar feeds shows them"
            raise refusal("ID", feed, limit)
        return await service.change(
            f"{_FEEDS}/{meant[0]['id']}/revoke", {}, {}, look="noonframe calendar feeds"
        )

    answer = _converse(reach, talk)
    show(reach, answer, lambda: paper.write(f"Revoked: {answer.says['name']}. Nobody can read it any more."))
    return ANSWERED


def _switches(fields: Mapping[str, str]) -> dict[str, Any]:
    """The fields of days as JSON has them: `false` too is no text."""
    return {name: False if text == "false" else in_json(name, text) for name, text in fields.items()}


def _converse(reach: Reach, talk: Callable[[Service], Awaitable[Any]]) -> Any:
    return converse(reach.address(), reach.named(), talk)


def _fetch(out: Out, path: str, fields: Mapping[str, str], names: Mapping[str, str]) -> str:
    reach = Reach(server=out.server)
    fetched: str = _converse(reach, lambda service: service.text(path, fields, names, _ICS))
    return fetched
