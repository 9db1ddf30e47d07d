"""`recipe`: coat, paper, negative and glass under one name, and the target learned of them."""

from typing import Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.commands_keep import Retired, add_history, add_restore, draw_retired_of
from noonframe_terminal.common import examples, show
from noonframe_terminal.contract import Answer, Service, converse
from noonframe_terminal.options import USUAL_STACK, Reach, takes
from noonframe_terminal.options_bench import RecipeFields, stack_list
from noonframe_terminal.saved import RECIPES, find_saved, newest
from noonframe_terminal.trouble import ANSWERED, Refused, refusal
from noonframe_terminal.words import date, moment

LOOK = "noonframe recipe list"
Name = Annotated[str, typer.Argument(metavar="NAME", help="Its name, such as 'kelp on cotton'.")]

recipe_app = typer.Typer(
    name="recipe",
    help="Recipes: coat, paper, negative and glass under one name, and the target learned of them.",
    no_args_is_help=True,
    epilog=examples(
        "noonframe recipe add 'kelp on cotton' --paper 'cotton rag'",
        "noonframe strip plan 'kelp on cotton' --place quayside-yard",
        "noonframe now --recipe 'kelp on cotton' --place quayside-yard",
    ),
)


@recipe_app.command(
    epilog=examples(
        "noonframe recipe add 'kelp on cotton' --paper 'cotton rag, unbuffered'",
        "noonframe recipe add leaves --stack none --coat 'two thin coats by brush'",
    )
)
@takes(said=RecipeFields, reach=Reach)
def add(*, said: RecipeFields, reach: Reach, name: Name) -> int:
    """Save a recipe; behind the usual glass and film unless --stack says otherwise."""
    body = {"name": name, "stack": stack_list(USUAL_STACK)} | said.body()
    answer = converse(
        reach.address(),
        reach.named(),
        lambda service: service.change(RECIPES.path, body, said.names() | {"name": "NAME"}, look=LOOK),
    )
    _show(reach, answer, f"Saved: {answer.says.get('name')}.")
    return ANSWERED


@recipe_app.command("list", epilog=examples("noonframe recipe list"))
@takes(reach=Reach)
def list_recipes(*, reach: Reach, retired: Retired = False) -> int:
    """Recipes that are saved, newest first."""
    answer = converse(
        reach.address(), reach.named(), lambda service: newest(service, RECIPES, retired=retired)
    )

    def draw(console: Any) -> None:
        if retired:
            draw_retired_of(console, answer, RECIPES)
            return
        from noonframe_terminal.show_bench import draw_recipes

        draw_recipes(console, answer.says["recipes"])

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@recipe_app.command("show", epilog=examples("noonframe recipe show 'kelp on cotton'"))
@takes(reach=Reach)
def show_recipe(*, reach: Reach, name: Name) -> int:
    """A recipe, its target, and what that was learned from."""

    async def talk(service: Service) -> tuple[dict[str, Any], Answer, list[dict[str, Any]]]:
        recipe = await find_saved(service, RECIPES, name, "NAME")
        path = f"{RECIPES.path}/{recipe['id']}"
        if reach.json:
            return recipe, await service.get(path, {}, {}), []
        target = await service.get(f"{path}/target", {}, {})
        return recipe, target, (await service.get(f"{path}/evidence", {}, {})).says["evidence"]

    recipe, answer, evidence = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_bench import draw_recipe, draw_target

        draw_recipe(console, recipe)
        draw_target(console, answer.says, evidence)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@recipe_app.command(epilog=examples("noonframe recipe target 'kelp on cotton' --json"))
@takes(reach=Reach)
def target(*, reach: Reach, name: Name) -> int:
    """The target alone, in one sentence."""

    async def talk(service: Service) -> Answer:
        recipe = await find_saved(service, RECIPES, name, "NAME")
        return await service.get(f"{RECIPES.path}/{recipe['id']}/target", {}, {})

    answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_bench import target_sentence

        console.print(target_sentence(answer.says))

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@recipe_app.command(
    epilog=examples(
        "noonframe recipe change 'kelp on cotton' --coat 'two thin coats by rod'",
        "noonframe recipe change 'kelp on cotton' --rename 'kelp, two coats'",
    )
)
@takes(said=RecipeFields, reach=Reach)
def change(
    *,
    said: RecipeFields,
    reach: Reach,
    name: Name,
    rename: Annotated[
        str | None, typer.Option("--rename", metavar="NAME", help="A new name.", rich_help_panel="Recipe")
    ] = None,
) -> int:
    """Save a new version; what is not typed stays, and old prints keep the version they were made with."""
    body = said.body() | ({} if rename is None else {"name": rename})
    if not body:
        raise Refused("nothing to change: give --rename or one of the options of a recipe")

    async def talk(service: Service) -> tuple[dict[str, Any], Answer]:
        before = await find_saved(service, RECIPES, name, "NAME")
        return before, await service.change(
            f"{RECIPES.path}/{before['id']}",
            body,
            said.names() | {"name": "--rename"},
            method="PATCH",
            version=before["version"],
            look=LOOK,
        )

    before, answer = converse(reach.address(), reach.named(), talk)
    changed = answer.says["version"] != before["version"]
    said_so = f"Saved as version {answer.says['version']}." if changed else "Nothing new: it was so already."
    _show(reach, answer, said_so)
    return ANSWERED


@recipe_app.command(epilog=examples("noonframe recipe retire 'kelp on cotton'"))
@takes(reach=Reach)
def retire(*, reach: Reach, name: Name) -> int:
    """Put a recipe away: it is listed no more and its name is free; nothing is lost."""

    async def talk(service: Service) -> Answer:
        before = await find_saved(service, RECIPES, name, "NAME")
        path = f"{RECIPES.path}/{before['id']}/retire"
        return await service.change(path, {}, {"name": "NAME"}, version=before["version"], look=LOOK)

    answer = converse(reach.address(), reach.named(), talk)
    show(reach, answer, lambda: paper.write(f"{answer.says['name']} is retired; its prints and target stay."))
    return ANSWERED


@recipe_app.command(
    epilog=examples(
        "noonframe recipe withdraw 'kelp on cotton' --reason 'strip 5 was misread'",
        "noonframe recipe withdraw 'kelp on cotton' 3f2a91c0 --reason 'washed too briefly'",
    )
)
@takes(reach=Reach)
def withdraw(
    *,
    reach: Reach,
    name: Name,
    which: Annotated[
        str,
        typer.Argument(metavar="[ID]", help="How the id in recipe show begins; else what was told last."),
    ] = "last",
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why; it is kept on file.")],
) -> int:
    """Let a strip, wedge or print count no longer for the target; it stays on file, and cannot come back."""

    async def talk(service: Service) -> Answer:
        recipe = await find_saved(service, RECIPES, name, "NAME")
        path = f"{RECIPES.path}/{recipe['id']}/evidence"
        standing = [
            item
            for item in (await service.get(path, {}, {})).says["evidence"]
            if item["withdrawn"] is None and (which == "last" or item["id"].startswith(which.lower()))
        ]
        if not standing:
            raise refusal("ID", which, "of something that counts: noonframe recipe show lists it")
        if which != "last" and len(standing) > 1:
            raise refusal("ID", which, f"longer: {len(standing)} begin so")
        newest_told = max(standing, key=lambda item: moment(item["recorded"]))
        names = {"reason": "--reason"}
        look = "noonframe recipe show"
        return await service.change(
            f"{path}/{newest_told['id']}/withdraw", {"reason": reason}, names, look=look
        )

    answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_bench import target_sentence

        evidence = answer.says["evidence"]
        console.print(f"The {evidence['kind']} of {date(moment(evidence['made']).date())} counts no more.")
        console.print(target_sentence(answer.says["target"]), style="bold")

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


add_restore(recipe_app, RECIPES, "'kelp on cotton'")
add_history(recipe_app, RECIPES, "'kelp on cotton'")


def _show(reach: Reach, answer: Answer, opening: str) -> None:
    def draw(console: Any) -> None:
        from noonframe_terminal.show_bench import draw_recipe

        console.print(opening, style="bold")
        draw_recipe(console, answer.says)

    show(reach, answer, lambda: paper.page(draw))
