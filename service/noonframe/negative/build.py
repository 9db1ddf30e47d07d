"""A whole film page from pictures and settings: sizes first, then the layout, then one picture at a time.

What cannot be laid out is refused before any picture is unpacked; only one picture is unpacked at a time.
Memory, measured as a process's largest: 0.4 GB for 24 megapixels to A4 at 720 dots to the inch, and 1.2 GB at
most: 64 megapixels of 16-bit colour, straightened, to the largest page (130 million dots).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from noonframe.errors import OutOfDomain
from noonframe.negative.code import CodeTable
from noonframe.negative.deadline import Deadline
from noonframe.negative.develop import Tones, develop, extent_for
from noonframe.negative.export import Print
from noonframe.negative.geometry import Extent, cut_for
from noonframe.negative.kinds import Source
from noonframe.negative.layout import Piece, Spot, cell_mm, lay_out
from noonframe.negative.opened import Look, open_picture
from noonframe.negative.pages import MOST_PAGE_PIXELS
from noonframe.negative.recipe import PictureSettings
from noonframe.negative.sheet import PageSettings, Sheet, room_above

MOST_NEGATIVES = 24


@dataclass(frozen=True)
class Wanted:
    """One negative of a page: its picture, what is done to it, where it lies, and its tone correction.

    `tone` leads from positive code to film code; None inverts and changes nothing else.
    """

    source: Source
    settings: PictureSettings = field(default_factory=PictureSettings)
    at_mm: tuple[float, float] | None = None
    may_turn: bool = True
    tone: CodeTable | None = None
    called: str = "negatives.0"


@dataclass(frozen=True)
class Done:
    """How one negative came out."""

    look: Look
    extent: Extent
    spot: Spot
    tones: Tones


@dataclass(frozen=True)
class Film:
    """A finished page and its negatives in the order they were wanted."""

    finished: Print
    negatives: tuple[Done, ...]


def build_page(wanted: Sequence[Wanted], settings: PageSettings, deadline: Deadline | None = None) -> Film:
    """The film page with all the negatives wanted.

    Beside one picture's own need (`develop`) it holds 2 bytes for each dot of the page and of one negative.
    """
    if not 1 <= len(wanted) <= MOST_NEGATIVES:
        raise OutOfDomain("negatives", len(wanted), f"between 1 and {MOST_NEGATIVES}")
    deadline = deadline or Deadline.within()
    extents = sizes(wanted, settings)
    room = room_above(settings.page, settings.extras)
    pieces = [
        Piece(extent.width_mm, extent.height_mm, one.called, one.at_mm, one.may_turn)
        for one, extent in zip(wanted, extents, strict=True)
    ]
    spots = lay_out(pieces, room, settings.margins)
    sheet = Sheet(settings.page, settings.dpi)
    done = []
    for one, extent, spot in zip(wanted, extents, spots, strict=True):
        negative = develop(one.source, one.settings, extent, tone=one.tone, deadline=deadline)
        sheet.place(negative.film, spot)
        done.append(Done(negative.look, extent, spot, negative.tones))
        del negative  # before the next one is made
    if settings.extras.cutting_marks:
        sheet.mark(spots)
    sheet.foot(settings.extras, settings.margins)
    film = sheet.finished(mirror=settings.mirror)
    return Film(Print(film, settings.page, settings.dpi), tuple(done))


def sizes(wanted: Sequence[Wanted], settings: PageSettings) -> list[Extent]:
    """How large each negative becomes; those without a size share the page in an even grid."""
    looks = [open_picture(one.source).look for one in wanted]
    room = settings.margins.room_mm(room_above(settings.page, settings.extras))
    free = [index for index, one in enumerate(wanted) if one.settings.size is None]
    if free:
        may_turn = all(_may_turn(wanted[index]) for index in free)
        # where some have a size they share the grid too, so that the others leave them room
        proportions = []
        for index in range(len(wanted)):
            cut = cut_for(looks[index].width_px, looks[index].height_px, wanted[index].settings.framing)
            across, down = cut.size_px
            proportions.append(across / down)
        room = cell_mm(proportions, room, settings.margins.gap_mm, may_turn=may_turn)
    extents = []
    for one, look in zip(wanted, looks, strict=True):
        extent = extent_for(look, one.settings, settings.dpi, room, may_turn=_may_turn(one))
        if extent.columns * extent.rows > MOST_PAGE_PIXELS:
            size = f"{extent.width_mm:.0f} x {extent.height_mm:.0f} mm"
            raise OutOfDomain(one.called, size, "small enough for the page")
        extents.append(extent)
    return extents


def _may_turn(one: Wanted) -> bool:
    return one.may_turn and one.at_mm is None
