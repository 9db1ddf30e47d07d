"""`prints`: the log of finished prints, written out and taken in."""

from pathlib import Path
from typing import Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.common import examples, show
from noonframe_terminal.contract import Service, converse
from noonframe_terminal.options import Reach, Text, takes
from noonframe_terminal.trouble import ANSWERED, Refused, refusal

PRINTS = "/v1/prints"
_FORMS = {"csv": (f"{PRINTS}/table", "text/csv"), "json": ("/v1/export", "application/json")}
_NAMES = {"text": "WORDS", "recipe": "--recipe", "judgement": "--judgement", "limit": "--limit"}

OfRecipe = Annotated[Text, typer.Option("--recipe", metavar="NAME", help="Only those of this recipe.")]
Judged = Annotated[
    Text, typer.Option("--judgement", metavar="WORDS", help="Only those judged so: right,a little dark.")
]
Limit = Annotated[Text, typer.Option("--limit", metavar="N", help="At most so many; else 50.")]

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


@prints_app.command("list", epilog=examples("noonframe prints list --recipe 'kelp on cotton'"))
@takes(reach=Reach)
def list_prints(
    *, reach: Reach, recipe: OfRecipe = None, judgement: Judged = None, limit: Limit = None
) -> int:
    """Finished prints, newest first."""
    return _list(reach, {"recipe": recipe, "judgement": judgement, "limit": limit})


@prints_app.command(epilog=examples("noonframe prints search kelp", "noonframe prints search 'two changes'"))
@takes(reach=Reach)
def search(
    *,
    reach: Reach,
    text: Annotated[str, typer.Argument(metavar="WORDS", help="That all occur in name, notes or tags.")],
    recipe: OfRecipe = None,
    judgement: Judged = None,
    limit: Limit = None,
) -> int:
    """Finished prints that hold some words."""
    return _list(reach, {"text": text, "recipe": recipe, "judgement": judgement, "limit": limit})


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
        answer = await service.get(PRINTS, fields, _NAMES)
        recipes = {} if reach.json else await _recipe_names(service)
        return answer, recipes

    answer, recipes = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_bench import draw_prints

        draw_prints(console, answer.says, recipes)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


async def _recipe_names(service: Service) -> dict[str, str]:
    answer = await service.get("/v1/recipes", {"limit": "500", "retired": "both"}, {})
    return {each["id"]: each["name"] for each in answer.says["recipes"]}
