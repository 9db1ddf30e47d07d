"""`negative`: from pictures to a film page, and the aids that are printed on film."""

import json
from typing import Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.common import examples, show
from noonframe_terminal.contract import Answer, Part, Question, Service, converse
from noonframe_terminal.negative_files import MEDIA_TYPES, Film, read_pictures
from noonframe_terminal.negative_options import PageOptions, Steps, settings_file
from noonframe_terminal.negative_preview import add_preview
from noonframe_terminal.negative_tone_options import ToneOptions
from noonframe_terminal.options import Reach, Text, option, takes
from noonframe_terminal.trouble import ANSWERED, Failed, refusal

Pictures = Annotated[list[str], typer.Argument(metavar="PICTURE...", help="JPEG, PNG, TIFF or WebP files.")]
_MAKE = "noonframe negative make tide-table.jpg --out film.pdf"

negative_app = typer.Typer(
    name="negative",
    help="Film negatives: from a picture to a page for the film printer, and aids to print on film.",
    no_args_is_help=True,
    epilog=examples(_MAKE, "noonframe negative wedge --out wedge.pdf"),
)


@negative_app.command(
    epilog=examples(
        _MAKE,
        "noonframe negative make tide-table.jpg --straighten -2.3 --levels auto \\\n"
        "    --width 150 --wedge 21 --out film.pdf",
        "noonframe negative make tide-table.jpg --recipe 'kelp on cotton' \\\n"
        "    --film-printer 'inkjet upstairs' --out film.pdf",
        "noonframe negative make a.tif b.png --page a3 --copies 2 --out film.tif",
    )
)
@takes(steps=Steps, page=PageOptions, tone=ToneOptions, film=Film, reach=Reach)
def make(
    *,
    steps: Steps,
    page: PageOptions,
    tone: ToneOptions,
    film: Film,
    reach: Reach,
    pictures: Pictures,
    settings: Annotated[
        Text,
        option("--settings", "File", "FILE.json", "All settings of the page, each negative's own if wanted."),
    ] = None,
) -> int:
    """A film page of one or several negatives at its exact size; the pictures are only read."""
    film.check(pictures)
    read = read_pictures(pictures)
    kind = film.format()
    body, names = page.body(), page.names() | Steps.names(24) | tone.names("tone.")
    if toned := tone.body():
        body["tone"] = toned
    item = steps.item()
    if settings is not None:
        if body or item:
            raise refusal("--settings", settings, "the only settings, or left out")
        body, names = settings_file(settings), {"format": "--out"}
    elif item:
        body["negatives"] = [{"picture": number + 1, **item} for number in range(len(read))]
    names |= {f"picture.{number + 1}": f"PICTURE {path}" for number, path in enumerate(pictures)}
    body["format"] = kind
    parts = [*_parts(read), ("settings", (None, json.dumps(body).encode(), "application/json"))]

    async def talk(service: Service) -> tuple[bytes, Answer]:
        made, headers = await service.send("/v1/negative", parts, MEDIA_TYPES[kind], names)
        return made, _told(headers.get("Noonframe-Answer", ""))

    made, answer = converse(reach.address(), reach.named(), talk)
    film.write(made)

    def draw(console: Any) -> None:
        from noonframe_terminal.negative_show import draw_made

        draw_made(console, answer.says, film.out, tone.exposed())

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@negative_app.command(epilog=examples("noonframe negative look tide-table.jpg"))
@takes(reach=Reach)
def look(*, reach: Reach, pictures: Pictures) -> int:
    """What pictures are, and how their colours are brought to grey."""
    read = read_pictures(pictures)
    names = {f"picture.{number + 1}": f"PICTURE {path}" for number, path in enumerate(pictures)}

    async def talk(service: Service) -> Answer:
        text, _ = await service.send("/v1/negative/look", _parts(read), "application/json", names)
        return _told(text.decode("utf-8"))

    answer = converse(reach.address(), reach.named(), talk)

    def draw(console: Any) -> None:
        from noonframe_terminal.negative_show import draw_looks

        draw_looks(console, answer.says)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


add_preview(negative_app)

Page = Annotated[Text, option("--page", "Page", "NAME", "a5, a4, a3, letter, ...; a4.")]
Dpi = Annotated[Text, option("--dpi", "Page", "N", "The film printer's dots to the inch; 720.")]
Bits = Annotated[Text, option("--bits", "Page", "N", "8 or 16; 8 in a PDF, else 16.")]
NoMirror = Annotated[
    bool, typer.Option("--no-mirror", help="Not mirrored: inked side up.", rich_help_panel="Page")
]


@negative_app.command(epilog=examples("noonframe negative wedge --out wedge.pdf"))
@takes(film=Film, reach=Reach)
def wedge(
    *,
    film: Film,
    reach: Reach,
    steps: Annotated[Text, option("--steps", "Wedge", "N", "How many; 21.")] = None,
    patch_width: Annotated[Text, option("--patch-width", "Wedge", "MM", "Of a step; 8.")] = None,
    patch_height: Annotated[Text, option("--patch-height", "Wedge", "MM", "Of a step; 20.")] = None,
    page: Page = None,
    dpi: Dpi = None,
    bits: Bits = None,
    no_mirror: NoMirror = False,
) -> int:
    """A step wedge to print on film, even in code value: it shows what the film printer does."""
    fields = {"steps": steps, "patch_width_mm": patch_width, "patch_height_mm": patch_height}
    names = {"steps": "--steps", "patch_width_mm": "--patch-width", "patch_height_mm": "--patch-height"}
    return _aid("wedge", film, reach, {**fields, **_page(page, dpi, bits, no_mirror)}, names)


@negative_app.command(epilog=examples("noonframe negative mask --strips 7 --out mask.pdf"))
@takes(film=Film, reach=Reach)
def mask(
    *,
    film: Film,
    reach: Reach,
    strips: Annotated[Text, option("--strips", "Mask", "N", "How many; 9.")] = None,
    step: Annotated[Text, option("--step", "Mask", "STOPS", "From strip to strip; 0.5.")] = None,
    strip_width: Annotated[Text, option("--strip-width", "Mask", "MM", "Of a strip; 15.")] = None,
    strip_height: Annotated[Text, option("--strip-height", "Mask", "MM", "Of a strip; 50.")] = None,
    page: Page = None,
    dpi: Dpi = None,
    bits: Bits = None,
    no_mirror: NoMirror = False,
) -> int:
    """A mask to print on film for a test strip: where to lay the card, and how the doses rise."""
    fields = {"strip_count": strips, "step_stops": step, "strip_width_mm": strip_width}
    fields |= {"strip_height_mm": strip_height, **_page(page, dpi, bits, no_mirror)}
    names = {"strip_count": "--strips", "step_stops": "--step", "strip_width_mm": "--strip-width"}
    return _aid("mask", film, reach, fields, names | {"strip_height_mm": "--strip-height"})


def _page(page: Text, dpi: Text, bits: Text, no_mirror: bool) -> dict[str, str | None]:
    return {"page": page, "dpi": dpi, "bits": bits, "mirror": "false" if no_mirror else None}


def _aid(
    aid: str,
    film: Film,
    reach: Reach,
    fields: dict[str, str | None],
    names: dict[str, str],
) -> int:
    film.check()
    kind = film.format()
    given = {name: text for name, text in fields.items() if text is not None} | {"format": kind}
    called = names | {name: f"--{name}" for name in ("page", "dpi", "bits")} | {"format": "--out"}
    asked = Question(given, called)

    async def talk(service: Service) -> bytes:
        return await service.file(f"/v1/negative/{aid}", asked, MEDIA_TYPES[kind])

    film.write(converse(reach.address(), reach.named(), talk))
    if reach.json:
        paper.write(json.dumps({"file": film.out, "request": given}))
    else:
        paper.write(f"{film.out}: print it at 100 %, without scaling and without any tone correction.")
    return ANSWERED


def _parts(read: list[tuple[str, bytes]]) -> list[Part]:
    return [("picture", (name, data, "application/octet-stream")) for name, data in read]


def _told(text: str) -> Answer:
    try:
        says = json.loads(text)
    except ValueError:
        says = None
    if not isinstance(says, dict):
        raise Failed("the service answers in a form this version does not know")
    return Answer(text, says)
