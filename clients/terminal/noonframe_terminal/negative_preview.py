"""`negative preview` and `negative tone`: how a film will print, and the correction that evens it."""

import dataclasses
import json
from typing import Annotated, Any

import typer

from noonframe_terminal import paper
from noonframe_terminal.common import examples, show
from noonframe_terminal.contract import Answer, Service, converse, in_json
from noonframe_terminal.negative_files import Film, read_pictures
from noonframe_terminal.negative_options import Steps
from noonframe_terminal.negative_tone_options import ToneOptions
from noonframe_terminal.options import Reach, Text, option, takes
from noonframe_terminal.picture import Picture
from noonframe_terminal.trouble import ANSWERED, Failed, refusal

_PREVIEW = (
    "noonframe negative preview tide-table.jpg --straighten -2.3 \\\n    --levels auto --out tide.png",
    "noonframe negative preview kelp.tif --recipe 'kelp on cotton' \\\n"
    "    --film-printer 'inkjet upstairs' --out kelp.png",
)
_TONE = (
    "noonframe negative tone --recipe 'kelp on cotton' --film-printer 'inkjet upstairs'",
    "noonframe negative tone --readings wedge.csv --even lightness --picture tone.svg",
)


@dataclasses.dataclass(frozen=True)
class Shown:
    """What a preview shows."""

    stops: Annotated[
        Text, option("--stops", "Preview", "LIST", "Exposures, in stops from the target: -0.5,0,0.5.")
    ] = None
    uncorrected: Annotated[
        bool,
        typer.Option("--uncorrected", help="Without the tone correction.", rich_help_panel="Preview"),
    ] = False
    longest_px: Annotated[
        Text, option("--longest", "Preview", "PIXELS", "Longer side of each picture; 700.")
    ] = None
    bits: Annotated[Text, option("--bits", "Preview", "N", "Of the film file, 8 or 16; 8.")] = None
    paper_colour: Annotated[
        Text, option("--paper-colour", "Preview", "#RRGGBB", "Of the washed paper; its hue counts.")
    ] = None

    def body(self) -> dict[str, Any]:
        """What was typed, as the contract has it."""
        body: dict[str, Any] = {"corrected": False} if self.uncorrected else {}
        if self.stops is not None:
            numbers = [in_json("stops", part.strip()) for part in self.stops.split(",")]
            if any(isinstance(number, str | bool) for number in numbers):
                raise refusal("--stops", self.stops, "numbers such as -0.5,0,0.5")
            body["stops"] = numbers
        for name in ("longest_px", "bits"):
            if getattr(self, name) is not None:
                body[name] = in_json(name, getattr(self, name))
        return body if self.paper_colour is None else {**body, "paper_colour": self.paper_colour}

    @staticmethod
    def names() -> dict[str, str]:
        """What each field was called when it was typed."""
        names = {"stops": "--stops", "longest_px": "--longest", "bits": "--bits"}
        names |= {f"stops.{index}": "--stops" for index in range(20)}
        return names | {"paper_colour": "--paper-colour", "corrected": "--uncorrected"}


@takes(steps=Steps, tone=ToneOptions, shown=Shown, reach=Reach)
def preview(
    *,
    steps: Steps,
    tone: ToneOptions,
    shown: Shown,
    reach: Reach,
    picture: Annotated[str, typer.Argument(metavar="PICTURE", help="A JPEG, PNG, TIFF or WebP file.")],
    out: Annotated[str, option("--out", "File", "FILE.png", "The picture and its prints, side by side.")],
    force: Annotated[
        bool, typer.Option("--force", help="Even if it is there already.", rich_help_panel="File")
    ] = False,
) -> int:
    """How a picture will print at the target and half a stop to either side; the picture is only read."""
    file = Film(out, force)
    file.check([picture])
    if file.format() != "png":
        raise refusal("--out", out, "the name of a file that ends in .png")
    read = read_pictures([picture])
    item = steps.item()
    body = {"negative": item, "tone": tone.body(), **shown.body()}
    one = {name.removeprefix("negatives.0."): called for name, called in Steps.names(1).items()}
    names = {f"negative.{name}": called for name, called in one.items()}
    names |= tone.names("tone.") | shown.names() | {"picture.1": f"PICTURE {picture}"}
    parts = [("picture", (name, data, "application/octet-stream")) for name, data in read]
    settings = ("settings", (None, json.dumps(body).encode(), "application/json"))

    async def talk(service: Service) -> tuple[bytes, Answer]:
        made, headers = await service.send("/v1/negative/preview", [*parts, settings], "image/png", names)
        return made, _told(headers.get("Noonframe-Answer", ""))

    made, answer = converse(reach.address(), reach.named(), talk)
    file.write(made)

    def draw(console: Any) -> None:
        from noonframe_terminal.negative_tone_show import draw_preview

        draw_preview(console, answer.says, out)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


@takes(tone=ToneOptions, picture=Picture, reach=Reach)
def tone(*, tone: ToneOptions, picture: Picture, reach: Reach) -> int:
    """The correction that makes a coat's tones even with a film printer, as a table."""
    body, names = tone.body(), tone.names()
    paper.complain(*picture.notes())

    async def talk(service: Service) -> tuple[Answer, str | None]:
        answer = await service.post("/v1/negative/tone", body, names)
        if picture.picture is None:
            return answer, None
        return answer, await service.drawing("/v1/negative/tone/picture", body, names)

    answer, drawing = converse(reach.address(), reach.named(), talk)
    if drawing is not None:
        picture.write(drawing)

    def draw(console: Any) -> None:
        from noonframe_terminal.negative_tone_show import draw_tone

        draw_tone(console, answer.says)

    show(reach, answer, lambda: paper.page(draw))
    return ANSWERED


def add_preview(app: typer.Typer) -> None:
    """Put both commands under `negative`."""
    app.command(epilog=examples(*_PREVIEW))(preview)
    app.command(epilog=examples(*_TONE))(tone)


def _told(text: str) -> Answer:
    try:
        says = json.loads(text)
    except ValueError:
        says = None
    if not isinstance(says, dict):
        raise Failed("the service answers in a form this version does not know")
    return Answer(text, says)
