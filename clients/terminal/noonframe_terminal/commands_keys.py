"""`keys`, `studios` and `audit`: who may use the service, whose records there are, and who changed them."""

import datetime as dt
from typing import Annotated, Any
from urllib.parse import quote

import typer

from noonframe_terminal import paper
from noonframe_terminal.commands_backup import BACKUP_EXAMPLES, RESTORE_EXAMPLES, backup, restore
from noonframe_terminal.common import examples, show
from noonframe_terminal.contract import Answer, converse
from noonframe_terminal.options import Reach, takes
from noonframe_terminal.trouble import ANSWERED, refusal

_KEYS, _STUDIOS = "/v1/keys", "/v1/studios"
_LONGEST_DAYS = 36_500

keys_app = typer.Typer(
    name="keys",
    help="Keys: who may ask a service, and for what.",
    no_args_is_help=True,
    epilog=examples("noonframe keys add 'yard phone' --scope run", "noonframe keys list"),
)
studios_app = typer.Typer(
    name="studios",
    help="Studios: each with records of its own that no other one's keys open.",
    no_args_is_help=True,
    epilog=examples("noonframe studios add evening-class", "noonframe studios list"),
)


def add_upkeep(app: typer.Typer) -> None:
    """Give the command line the commands of whoever looks after a service."""
    app.add_typer(keys_app)
    app.add_typer(studios_app)
    app.command(epilog=examples("noonframe audit", "noonframe audit --limit 10"))(audit)
    app.command(epilog=examples(*BACKUP_EXAMPLES))(backup)
    app.command(epilog=examples(*RESTORE_EXAMPLES))(restore)


@keys_app.command(
    epilog=examples(
        "noonframe keys add 'yard phone'",
        "noonframe keys add 'workshop lead' --scope manage --studio evening-class --days 90",
    )
)
@takes(reach=Reach)
def add(
    *,
    reach: Reach,
    name: Annotated[str, typer.Argument(metavar="NAME", help="Whose it is, such as 'yard phone'.")],
    scope: Annotated[
        str, typer.Option(metavar="SCOPE", help="read, run (also expose and save) or manage (also keys).")
    ] = "run",
    studio: Annotated[
        str | None, typer.Option(metavar="NAME", help="Whose records it opens; else the house's.")
    ] = None,
    days: Annotated[str | None, typer.Option(metavar="N", help="Ends after N days; else never.")] = None,
) -> int:
    """Make a key.  It is shown this once, so keep it at once."""
    body: dict[str, Any] = {"name": name, "scope": scope}
    if studio is not None:
        body["studio"] = studio
    if days is not None:
        body["expires"] = _ends(days)
    names = {"name": "NAME", "scope": "--scope", "studio": "--studio", "expires": "--days"}
    answer = converse(reach.address(), reach.named(), lambda service: service.post(_KEYS, body, names))

    def draw() -> None:
        made = answer.says
        paper.write(made["key"])  # alone on standard output, for a pipe
        ends = "" if made["expires"] is None else f", until {made['expires'][:10]}"
        paper.complain(
            f"the key {made['id']} of {made['name']}: {made['scope']},"
            f" in the records of {made['studio']}{ends}",
            "it is not shown again; programs send it as Authorization: Bearer KEY, and this one takes it"
            " from NOONFRAME_KEY",
        )

    show(reach, answer, draw)
    return ANSWERED


@keys_app.command(
    "list", epilog=examples("noonframe keys list", "noonframe keys list --studio evening-class")
)
@takes(reach=Reach)
def list_keys(
    *,
    reach: Reach,
    studio: Annotated[str | None, typer.Option(metavar="NAME", help="Of this studio alone.")] = None,
) -> int:
    """Keys, newest first; never in full."""
    fields = {"limit": "500"} | ({} if studio is None else {"studio": studio})
    answer = converse(
        reach.address(), reach.named(), lambda service: service.get(_KEYS, fields, {"studio": "--studio"})
    )

    def draw(console: Any) -> None:
        from noonframe_terminal.show_keys import draw_keys

        draw_keys(console, answer.says["keys"], dt.datetime.now(dt.UTC))

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@keys_app.command(epilog=examples("noonframe keys revoke a2b3c4d5e6"))
@takes(reach=Reach)
def revoke(
    *,
    reach: Reach,
    key_id: Annotated[str, typer.Argument(metavar="ID", help="As keys list shows it.")],
) -> int:
    """Let a key open nothing any more, for good."""
    path = f"{_KEYS}/{quote(key_id, safe='')}/revoke"
    answer = converse(
        reach.address(), reach.named(), lambda service: service.post(path, b"", {"key_id": "ID"})
    )
    words = f"Revoked: {answer.says['id']}, of {answer.says['name']}. It opens nothing any more."
    show(reach, answer, lambda: paper.write(words))
    return ANSWERED


@studios_app.command("add", epilog=examples("noonframe studios add evening-class"))
@takes(reach=Reach)
def add_studio(
    *,
    reach: Reach,
    name: Annotated[str, typer.Argument(metavar="NAME", help="Small letters, digits and hyphens.")],
) -> int:
    """Make a studio with records of its own."""
    answer = converse(
        reach.address(),
        reach.named(),
        lambda service: service.post(_STUDIOS, {"name": name}, {"name": "NAME"}),
    )
    words = f"Made: {name}. noonframe keys add WHO --studio {name} makes a key to its records."
    show(reach, answer, lambda: paper.write(words))
    return ANSWERED


@studios_app.command("list", epilog=examples("noonframe studios list"))
@takes(reach=Reach)
def list_studios(*, reach: Reach) -> int:
    """Studios; the house is the one every installation begins with."""
    answer = _get(reach, _STUDIOS)

    def draw() -> None:
        for studio in answer.says["studios"]:
            since = "" if studio["created"] is None else f", since {studio['created'][:10]}"
            paper.write(f"{studio['name']}{since}")

    show(reach, answer, draw)
    return ANSWERED


@takes(reach=Reach)
def audit(
    *,
    reach: Reach,
    limit: Annotated[str, typer.Option(metavar="N", help="At most so many.")] = "50",
) -> int:
    """Who changed what, newest first."""
    answer = converse(
        reach.address(),
        reach.named(),
        lambda service: service.get("/v1/audit", {"limit": limit}, {"limit": "--limit"}),
    )

    def draw(console: Any) -> None:
        from noonframe_terminal.show_keys import draw_changes

        draw_changes(console, answer.says["changes"])

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


def _get(reach: Reach, path: str) -> Answer:
    return converse(reach.address(), reach.named(), lambda service: service.get(path, {}, {}))


def _ends(days: str) -> str:
    limit = f"a whole number of days from 1 to {_LONGEST_DAYS}"
    if not (days.isascii() and days.isdecimal() and len(days) <= 5 and 1 <= int(days) <= _LONGEST_DAYS):
        raise refusal("--days", days, limit)
    return (dt.datetime.now(dt.UTC) + dt.timedelta(days=int(days))).isoformat(timespec="seconds")
