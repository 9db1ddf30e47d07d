"""`prints`: the log of finished prints, written out and taken in."""

import datetime as dt
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.commands_keep import Retired, add_history, add_restore, add_retire, draw_retired_of
from noonframe_terminal.common import examples, show
from noonframe_terminal.contract import Answer, Service, converse
from noonframe_terminal.keeping import PRINTS, any_of, living_of
from noonframe_terminal.options import Reach, Text, takes
from noonframe_terminal.options_bench import Conditions, PrintFields
from noonframe_terminal.trouble import ANSWERED, Refused, refusal

_FORMS = {"csv": (f"{PRINTS.path}/table", "text/csv"), "json": ("/v1/export", "application/json")}
_NAMES = {
    "text": "WORDS",
    "recipe": "--recipe",
    "judgement": "--judgement",
    "limit": "--limit",
    "made_from": "--from",
    "made_to": "--until",
}

OfRecipe = Annotated[Text, typer.Option("--recipe", metavar="NAME", help="Only those of this recipe.")]
Judged = Annotated[
    Text, typer.Option("--judgement", metavar="WORDS", help="Only those judged so: right,a little dark.")
]
Limit = Annotated[Text, typer.Option("--limit", metavar="N", help="At most so many; else 50.")]
From = Annotated[
    Text,
    typer.Option(
        "--from", metavar="DAY", help="Made on this day or later, 2026-06-21 or '2026-06-21 12:00' here."
    ),
]
Until = Annotated[
    Text, typer.Option("--until", metavar="DAY", help="Made on this day or earlier; before this time of it.")
]
Which = Annotated[
    str, typer.Argument(metavar="NAME", help="Its name, how its id begins, or last.", show_default=False)
]

prints_app = typer.Typer(
    name="prints",
    help="The log of finished prints; noonframe judge adds to it.",
    no_args_is_help=True,
    epilog=examples(
        "noonframe prints list",
        "noonframe prints search kelp",
        "noonframe prints export json --out bench.json",
    ),
)


@prints_app.command(
    "list",
    epilog=examples(
        "noonframe prints list --recipe 'kelp on cotton'",
        "noonframe prints list --from 2026-06-01 --until 2026-06-30",
    ),
)
@takes(reach=Reach)
def list_prints(
    *,
    reach: Reach,
    recipe: OfRecipe = None,
    judgement: Judged = None,
    since: From = None,
    until: Until = None,
    limit: Limit = None,
    retired: Retired = False,
) -> int:
    """Finished prints, newest first."""
    typed = {"recipe": recipe, "judgement": judgement, "limit": limit, "retired": "yes" if retired else None}
    return _list(reach, typed | _span(since, until))


@prints_app.command(epilog=examples("noonframe prints search kelp", "noonframe prints search 'two changes'"))
@takes(reach=Reach)
def search(
    *,
    reach: Reach,
    text: Annotated[
        str, typer.Argument(metavar="WORDS", help="That all occur in name, notes, tags or film.")
    ],
    recipe: OfRecipe = None,
    judgement: Judged = None,
    since: From = None,
    until: Until = None,
    limit: Limit = None,
) -> int:
    """Finished prints that hold some words."""
    typed = {"text": text, "recipe": recipe, "judgement": judgement, "limit": limit}
    return _list(reach, typed | _span(since, until))


@prints_app.command(
    "show", epilog=examples("noonframe prints show 'kelp fronds'", "noonframe prints show last")
)
@takes(reach=Reach)
def show_print(*, reach: Reach, name: Which) -> int:
    """Everything that was written down of a print."""

    async def talk(service: Service) -> tuple[Answer, Mapping[str, Any]]:
        found = await any_of(PRINTS)(service, name, "NAME")
        answer = await service.get(f"{PRINTS.path}/{found['id']}", {}, {})
        if reach.json:
            return answer, {}
        version = {"version": str(found["recipe_version"])}
        return answer, (await service.get(f"/v1/recipes/{found['recipe_id']}", version, {})).says

    answer, recipe = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_print import draw_print

        draw_print(console, answer.says, recipe)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@prints_app.command(
    epilog=examples(
        "noonframe prints change 'kelp fronds' --judgement 'a little dark'",
        "noonframe prints change last --wash '20 min, two changes' --tags kelp,large",
    )
)
@takes(said=PrintFields, conditions=Conditions, reach=Reach)
def change(*, said: PrintFields, conditions: Conditions, reach: Reach, wanted: Which) -> int:
    """Save a new version of a print; judged anew, its old judgement counts no more."""
    body = said.body() | conditions.body()
    if not body:
        raise Refused("nothing to change: give one of the options of a print")
    names = said.names() | conditions.names()

    async def talk(service: Service) -> tuple[Mapping[str, Any], Answer]:
        before = await living_of(PRINTS)(service, wanted, "NAME")
        path, look = f"{PRINTS.path}/{before['id']}", "noonframe prints list"
        version = before["version"]
        return before, await service.change(path, body, names, method="PATCH", version=version, look=look)

    before, answer = converse(reach.address(), reach.named(), talk)
    is_new = answer.says["version"] != before["version"]
    said_so = f"Saved as version {answer.says['version']}. " if is_new else "Nothing new: it was so already. "

    def draw(console: Any) -> None:
        console.print(f"{said_so}{answer.says['summary']}")

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


add_retire(prints_app, PRINTS, "'kelp fronds'")
add_restore(prints_app, PRINTS, "'kelp fronds'")
add_history(prints_app, PRINTS, "'kelp fronds'")


@prints_app.command(
    epilog=examples(
        "noonframe prints export csv > prints.csv", "noonframe prints export json --out bench.json"
    )
)
def export(
    form: Annotated[
        str,
        typer.Argument(
            metavar="FORM", help="csv: a line per print. json: recipes, spots, prints and all, for import."
        ),
    ],
    out: Annotated[
        str | None, typer.Option("--out", metavar="FILE", help="A new file; standard output if not given.")
    ] = None,
    server: Annotated[
        str | None, typer.Option("--server", metavar="URL", help="Ask this service. Else NOONFRAME_SERVER.")
    ] = None,
) -> int:
    """Write the log out."""
    if form.strip().lower() not in _FORMS:
        raise refusal("FORM", form, "csv or json")
    path, kind = _FORMS[form.strip().lower()]
    reach = Reach(server)
    text = converse(reach.address(), reach.named(), lambda service: service.text(path, {}, {}, kind))
    if out is None:
        paper.write(text)
        return ANSWERED
    try:
        with open(out, "x", encoding="utf-8", newline="") as file:
            file.write(text)
    except FileExistsError:
        raise refusal("--out", out, "a file that does not exist yet") from None
    except (OSError, ValueError) as problem:
        raise Refused(f"--out {out}: cannot be written ({problem})") from None
    paper.write(f"Written to {out}.")
    return ANSWERED


@prints_app.command("import", epilog=examples("noonframe prints import bench.json"))
@takes(reach=Reach)
def import_prints(
    *,
    reach: Reach,
    file: Annotated[str, typer.Argument(metavar="FILE", help="As noonframe prints export json wrote it.")],
) -> int:
    """Take an export in, whole or not at all; what is here already stays."""
    try:
        content = Path(file).read_bytes()
    except (OSError, ValueError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) else problem
        raise Refused(f"FILE {file}: cannot be read ({reason})") from None
    answer = converse(
        reach.address(), reach.named(), lambda service: service.post("/v1/import", content, {"body": "FILE"})
    )
    show(reach, answer, lambda: paper.write(answer.says["summary"]))
    return ANSWERED


def _list(reach: Reach, typed: dict[str, str | None]) -> int:
    fields = {name: text for name, text in typed.items() if text is not None}

    async def talk(service: Service) -> Any:
        answer = await service.get(PRINTS.path, fields, _NAMES)
        recipes = {} if reach.json else await _recipe_names(service)
        return answer, recipes

    answer, recipes = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        if typed.get("retired") is not None:
            draw_retired_of(console, answer, PRINTS)
            return
        from noonframe_terminal.show_bench import draw_prints

        draw_prints(console, answer.says, recipes)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


def _span(since: str | None, until: str | None) -> dict[str, str | None]:
    """The moments between which prints were made, by this machine's clock; a day is taken whole."""
    return {
        "made_from": None if since is None else _moment(since, "--from"),
        "made_to": None if until is None else _moment(until, "--until", whole=True),
    }


def _moment(text: str, called: str, *, whole: bool = False) -> str:
    typed = text.strip()
    try:
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", typed, re.ASCII):
            day = dt.date.fromisoformat(typed) + dt.timedelta(days=whole)
            return dt.datetime.combine(day, dt.time()).astimezone().isoformat()
        return dt.datetime.fromisoformat(typed).astimezone().isoformat()
    except (ValueError, OverflowError):
        limit = "a day, 2026-06-21, a time of it by the clock here, '2026-06-21 12:00', or RFC 3339"
        raise refusal(called, text, limit) from None


async def _recipe_names(service: Service) -> dict[str, str]:
    answer = await service.get("/v1/recipes", {"limit": "500", "retired": "both"}, {})
    return {each["id"]: each["name"] for each in answer.says["recipes"]}
