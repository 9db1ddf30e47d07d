"""`retire`, `restore` and `history`, alike for everything that is saved."""

import shlex
from collections.abc import Mapping
from typing import Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.common import examples, show
from noonframe_terminal.contract import Answer, Service, converse
from noonframe_terminal.keeping import PRINTS, any_of, living_of, retired_of
from noonframe_terminal.options import Reach, takes
from noonframe_terminal.saved import Kind, is_saved
from noonframe_terminal.trouble import ANSWERED, Refused

Which = Annotated[str, typer.Argument(metavar="NAME", help="Its name, or how its id begins.")]

Retired = Annotated[bool, typer.Option("--retired", help="Those that were put away, instead.")]


def draw_retired_of(console: Any, answer: Answer, kind: Kind) -> None:
    """A list of what was put away."""
    from noonframe_terminal.show_keeping import draw_retired

    draw_retired(console, answer.says[kind.key], kind.word, kind.command)


def add_retire(app: typer.Typer, kind: Kind, example: str) -> None:
    """Give `app` the command that puts one away."""

    @takes(reach=Reach)
    def retire(*, reach: Reach, name: Which) -> int:
        answer = _turn(reach, kind, name, "retire")
        says = answer.says
        kept = "its judgement counts no more" if kind is PRINTS else "its name is free"
        back = f"{kind.command} restore takes it back"
        show(reach, answer, lambda: paper.write(f"{says['name']} is retired: {kept}; {back}."))
        return ANSWERED

    text = f"Put a {kind.word} away: it is listed no more; nothing is lost."
    app.command("retire", help=text, epilog=examples(f"{kind.command} retire {example}"))(retire)


def add_restore(app: typer.Typer, kind: Kind, example: str) -> None:
    """Give `app` the command that takes one back."""

    @takes(reach=Reach)
    def restore(*, reach: Reach, name: Which) -> int:
        answer = _turn(reach, kind, name, "restore")
        says = answer.says
        show(reach, answer, lambda: paper.write(f"{says['name']} is back, as version {says['version']}."))
        return ANSWERED

    text = f"Take a {kind.word} back that was retired."
    shown = (f"{kind.command} list --retired", f"{kind.command} restore {example}")
    app.command("restore", help=text, epilog=examples(*shown))(restore)


def add_history(app: typer.Typer, kind: Kind, example: str) -> None:
    """Give `app` the command that shows every version."""

    @takes(reach=Reach)
    def history(*, reach: Reach, name: Which) -> int:
        async def talk(service: Service) -> Answer:
            found = await any_of(kind)(service, name, "NAME")
            return await service.get(f"{kind.path}/{found['id']}/versions", {}, {})

        answer = converse(reach.address(), reach.named(), talk)

        def draw(console: Any) -> None:
            from noonframe_terminal.show_keeping import draw_history

            draw_history(console, answer.says[kind.key])

        show(reach, answer, lambda: paper.page(draw))
        return ANSWERED

    text = f"Every version of a {kind.word}, and what changed from one to the next."
    app.command("history", help=text, epilog=examples(f"{kind.command} history {example}"))(history)


def _turn(reach: Reach, kind: Kind, name: str, word: str) -> Answer:
    find = (living_of if word == "retire" else retired_of)(kind)

    async def talk(service: Service) -> Answer:
        found: Mapping[str, Any] = await find(service, name, "NAME")
        if word == "restore" and kind is not PRINTS and await is_saved(service, kind, found["name"]):
            again = f"{kind.command} change {shlex.quote(found['name'])} --rename NEW"
            raise Refused(
                f"another {kind.word} is called {found['name']} now; give that another name: {again}"
            )
        path = f"{kind.path}/{found['id']}/{word}"
        look = f"{kind.command} list"
        return await service.change(path, {}, {"name": "NAME"}, version=found["version"], look=look)

    return converse(reach.address(), reach.named(), talk)
