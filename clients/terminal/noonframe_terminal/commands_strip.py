"""`strip` and `judge`: test strips planned and read, and finished prints judged; each moves the target."""

import dataclasses
from collections.abc import Mapping
from typing import Annotated, Any

import typer

from noonframe_terminal import paper, questions, words
from noonframe_terminal.common import Start, examples, question, show
from noonframe_terminal.contract import Answer, Service, converse, in_json
from noonframe_terminal.finding import find_run
from noonframe_terminal.options import Reach, Scene, given, names_of, takes
from noonframe_terminal.options_bench import Conditions, Ladder, Reading, Wedge, judged
from noonframe_terminal.options_spot import Spot
from noonframe_terminal.saved import RECIPES, find_saved
from noonframe_terminal.trouble import ANSWERED, INTERRUPTED, NOT_REACHED, refusal

LOOK = "noonframe recipe show"
Recipe = Annotated[str, typer.Argument(metavar="RECIPE", help="Its name: noonframe recipe list.")]
Run = Annotated[
    str | None,
    typer.Option(
        "--run", metavar="ID", help="The run it was exposed in, by the beginning of its id, or last."
    ),
]

strip_app = typer.Typer(
    name="strip",
    help="Test strips: plan one by dose, read it, and the recipe's target is known.",
    no_args_is_help=True,
    epilog=examples(
        "noonframe strip plan 'kelp on cotton' --place quayside-yard",
        "noonframe strip follow --first-dose 6000 --steps 9",
        "noonframe strip read 'kelp on cotton' --first-full 5 --first-toned 1",
    ),
)


@strip_app.command(
    epilog=examples(
        "noonframe strip plan 'kelp on cotton' --place quayside-yard",
        "noonframe strip plan leaves --place quayside-yard --start 12:00 --steps 7",
    )
)
@takes(ladder=Ladder, scene=Scene, spot=Spot, reach=Reach)
def plan(
    *, ladder: Ladder, scene: Scene, spot: Spot, reach: Reach, wanted: Recipe, start: Start = None
) -> int:
    """When to cover each strip under the light now, or from a start, so that the target lies between."""
    if scene.recipe is not None:
        raise refusal("--recipe", scene.recipe, "left out: the recipe is named already")
    asked = question(
        dataclasses.replace(scene, recipe=wanted), spot, ladder, start="--start", recipe="RECIPE"
    )

    async def talk(service: Service) -> tuple[str, Answer]:
        named = str((await find_saved(service, RECIPES, wanted, "RECIPE"))["name"])
        when = await questions.start_field(service, start, asked.fields, asked.names)
        return named, await service.post("/v1/strip", asked.plus(when).as_object(), asked.names)

    named, answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_strip import draw_plan

        draw_plan(console, answer.says, named, _typed(scene, spot))

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED if answer.says["complete"] else NOT_REACHED


@strip_app.command(
    "wedge",
    epilog=examples(
        "noonframe strip wedge 'kelp on cotton' --place quayside-yard",
        "noonframe strip wedge leaves --place quayside-yard --wedge-steps 31 --wedge-step 0.1",
    ),
)
@takes(wedge=Wedge, scene=Scene, spot=Spot, reach=Reach)
def plan_wedge(
    *, wedge: Wedge, scene: Scene, spot: Spot, reach: Reach, wanted: Recipe, start: Start = None
) -> int:
    """How long to expose a transparent step wedge, once, so that the target lies among its steps."""
    if scene.recipe is not None:
        raise refusal("--recipe", scene.recipe, "left out: the recipe is named already")
    asked = question(dataclasses.replace(scene, recipe=wanted), spot, start="--start", recipe="RECIPE")
    typed = {"wedge": wedge.body()} if wedge.body() else {}

    async def talk(service: Service) -> tuple[str, Answer]:
        named = str((await find_saved(service, RECIPES, wanted, "RECIPE"))["name"])
        when = await questions.start_field(service, start, asked.fields, asked.names)
        body = {**asked.plus(when).as_object(), "kind": "wedge", **typed}
        return named, await service.post("/v1/strip", body, {**asked.names, **wedge.names()})

    named, answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_strip import draw_wedge

        draw_wedge(console, answer.says, named, _typed(scene, spot), _typed(wedge))

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED if answer.says["complete"] else NOT_REACHED


@strip_app.command(
    epilog=examples(
        "noonframe strip read 'kelp on cotton' --first-dose 6000 --steps 9 \\\n"
        "    --first-full 5 --first-toned 1",
        "noonframe strip read 'kelp on cotton' --run last --first-full 5",
        "noonframe strip read 'kelp on cotton' --dose 96000 --last-full 8",
        "noonframe strip read 'kelp on cotton' --dose 96000 --last-full 2 --wedge-steps 9 \\\n"
        "    --wedge-step 0.3 --densities 1.42,1.41,1.36,1.18,0.89,0.58,0.34,0.20,0.13",
    )
)
@takes(reading=Reading, ladder=Ladder, wedge=Wedge, conditions=Conditions, reach=Reach)
def read(
    *,
    reading: Reading,
    ladder: Ladder,
    wedge: Wedge,
    conditions: Conditions,
    reach: Reach,
    recipe: Recipe,
    run: Run = None,
) -> int:
    """Tell what a strip or a step wedge shows, washed and dry; the new target comes back.

    Without doses, a recipe's first strip is taken to be the one that strip plan plans for it.
    """
    kind = reading.kind()
    body: dict[str, Any] = {"kind": kind, **reading.body(), **conditions.body()}
    typed = ladder.body()
    if typed is not None and (kind == "wedge" or reading.covered is not None):
        raise refusal("--first-dose", ladder.first_j_m2, "left out of a wedge, and with --covered")
    if reading.covered is not None and run is None:
        raise refusal("--covered", None, "given with --run: only a run knows the dose at a time")
    if wedge.body():
        if kind == "strip":
            raise refusal(wedge.first_typed(), None, "left out of a strip: it goes with --last-full")
        body["wedge"] = wedge.body()
    names = reading.names() | ladder.names() | wedge.names() | conditions.names() | {"run_id": "--run"}

    async def talk(service: Service) -> Answer:
        found = await find_saved(service, RECIPES, recipe, "RECIPE")
        path = f"{RECIPES.path}/{found['id']}"
        if run is not None:
            body["run_id"] = await find_run(service, run, kept=True)
        if reading.covered is not None:
            state = (await service.get(f"/v1/runs/{body['run_id']}", {}, {})).says
            body["covered_at"] = _moments(reading.covered, state)
        elif kind == "strip":
            body["ladder"] = typed or await _planned(service, path)
        return await service.change(f"{path}/evidence", body, names, look=LOOK)

    answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.show_strip import draw_reading

        draw_reading(console, answer.says)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@strip_app.command(
    "next",
    epilog=examples("noonframe strip next --first-dose 6000 --steps 9 --covered 3"),
)
@takes(ladder=Ladder, reach=Reach)
def next_cover(
    *,
    ladder: Ladder,
    reach: Reach,
    run: Run = None,
    covered: Annotated[
        str, typer.Option("--covered", metavar="N", help="So many strips lie covered already.")
    ] = "0",
) -> int:
    """Which strip to cover next and when, by the dose that its run has gathered so far."""
    doses = ladder.body()
    if doses is None:
        raise refusal("--first-dose", None, "given with --steps, as the plan said it")
    body = {**doses, "covered": in_json("covered", covered)}
    names = ladder.names() | {"run_id": "--run", "covered": "--covered"}

    async def talk(service: Service) -> Answer:
        run_id = await find_run(service, run, alone=run is None)
        return await service.post("/v1/strip/follow", {**body, "run_id": run_id}, names)

    answer = converse(reach.address(), reach.named(), talk)
    show(reach, answer, lambda: paper.write(answer.says["advice"]))
    return ANSWERED


@strip_app.command(
    "follow",
    epilog=examples(
        "noonframe strip follow --first-dose 6000 --steps 9",
        "noonframe strip follow --first-dose 6000 --steps 9 --covered 12:02:28,12:03:30",
    ),
)
@takes(ladder=Ladder, reach=Reach)
def follow(
    *,
    ladder: Ladder,
    reach: Reach,
    run: Run = None,
    covered: Annotated[
        str,
        typer.Option(
            "--covered",
            metavar="LIST",
            help="When strips were covered already, from strip 1 on; or how many.",
        ),
    ] = "0",
    no_bell: Annotated[bool, typer.Option("--no-bell", help="Do not ring when a strip is due.")] = False,
) -> int:
    """Follow a strip that is under way as a run: it says when to cover each, by the dose as it falls."""
    from noonframe_terminal import strip_follow

    doses = ladder.body()
    if doses is None:
        raise refusal("--first-dose", None, "given with --steps, as the plan said it")
    names = ladder.names() | {"run_id": "--run", "covered": "--covered"}
    followed: list[strip_follow.StripFollow] = []

    async def talk(service: Service) -> int:
        run_id = await find_run(service, run, alone=run is None)
        state = (await service.get(f"/v1/runs/{run_id}", {}, {})).says
        times = [] if covered.strip().isdigit() else _moments(covered, state)
        count = in_json("covered", covered.strip()) if not times else len(times)
        following = strip_follow.StripFollow(
            {**doses, "run_id": run_id, "covered": count},
            state,
            tuple(words.moment(each) for each in times),
            typed=_typed(ladder),
            in_json=reach.json,
            rings=not no_bell,
        )
        followed.append(following)
        return await strip_follow.follow(service, following, names)

    try:
        return converse(reach.address(), reach.named(), talk)
    except KeyboardInterrupt:
        for following in followed:
            paper.complain("the run goes on; this follows the strip again:")
            paper.write(following.again())
        return INTERRUPTED


@takes(conditions=Conditions, reach=Reach)
def judge(
    *,
    conditions: Conditions,
    reach: Reach,
    recipe: Recipe,
    judgement: Annotated[
        str,
        typer.Argument(
            metavar="WORDS",
            help="far too pale, too pale, a little pale, right, a little dark, too dark or far too dark;"
            " or too dark by so many stops, such as 0.5 (too pale: -0.5).",
        ),
    ],
    run: Run = None,
    dose: Annotated[
        str | None,
        typer.Option("--dose", metavar="J/m2", help="What the sheet had, where there is no run."),
    ] = None,
    name: Annotated[
        str | None,
        typer.Option("--name", metavar="TEXT", help="What was printed; the run's name if not given."),
    ] = None,
    notes: Annotated[str | None, typer.Option("--notes", metavar="TEXT", help="Anything else.")] = None,
    film: Annotated[
        str | None, typer.Option("--film", metavar="FILE", help="Its film page's file, by reference.")
    ] = None,
    photo: Annotated[
        str | None, typer.Option("--photo", metavar="FILE", help="A photo of it, by reference.")
    ] = None,
) -> int:
    """Log a finished print and say how it came out; the recipe's target moves."""
    if (run is None) == (dose is None):
        raise refusal(
            "--run" if dose is None else "--dose", dose, "given, or else the other of --run and --dose"
        )
    if dose is not None and name is None:
        raise refusal("--name", None, "given with --dose: what was printed")
    body: dict[str, Any] = {"recipe": recipe, **conditions.body()}
    body |= judged(judgement)
    told = {
        "dose_j_m2": None if dose is None else in_json("dose_j_m2", dose),
        "name": name,
        "notes": notes,
        "film": film,
        "photo": photo,
    }
    body |= {field: value for field, value in told.items() if value is not None}
    names = conditions.names() | {
        "recipe": "RECIPE",
        "judgement": "WORDS",
        "judgement_stops": "WORDS",
        "run_id": "--run",
        "dose_j_m2": "--dose",
        "name": "--name",
        "notes": "--notes",
        "film": "--film",
        "photo": "--photo",
    }

    async def talk(service: Service) -> Answer:
        if run is not None:
            body["run_id"] = await find_run(service, run, kept=True)
        return await service.change("/v1/prints", body, names, look="noonframe prints list")

    answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        console.print(answer.says["summary"], style="bold")
        for note in answer.says["target"]["notes"]:
            console.print(f"Note: {note}.")

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


def _typed(*groups: Any) -> list[str]:
    """Options as they were typed, to be typed again."""
    typed: list[str] = []
    for group in groups:
        names = names_of(type(group))
        for field, text in given(group).items():
            if getattr(group, field) is True:
                typed.append(names[field])
                continue
            # a value that begins like an option must stand with its own
            typed += [f"{names[field]}={text}"] if text.startswith("-") else [names[field], text]
    return typed


async def _planned(service: Service, path: str) -> Mapping[str, Any]:
    """The strip that is planned for a recipe while nothing is learned of it; refused once there is."""
    target = (await service.get(f"{path}/target", {}, {})).says
    if target["learned"]:
        limit = "given with --steps: the target has been learned since, so the plan was another"
        raise refusal("--first-dose", None, limit)
    strip: Mapping[str, Any] = target["strip"]
    return strip


def _moments(text: str, run: Mapping[str, Any]) -> list[str]:
    from noonframe_terminal.telling import moment_text

    return [moment_text(one.strip(), run, "--covered") for one in text.split(",")]
