"""From settings as they are sent to what the room works with, and from its film to an answer."""

import json
from collections.abc import Iterator
from contextlib import contextmanager

from noonframe.api.negative_answers import LookItem, NegativeAnswer, NegativeDone, PageItem
from noonframe.api.negative_bodies import (
    AidQuery,
    LevelsBody,
    MaskQuery,
    NegativeBody,
    NegativeItem,
    OwnPageBody,
    SizeBody,
    WedgeQuery,
)
from noonframe.api.negative_upload import Sent
from noonframe.api.reading import from_json
from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.negative.aids import lying_if_wider, mask_page, wedge_page
from noonframe.negative.build import MOST_NEGATIVES, Done, Film, Wanted, build_page
from noonframe.negative.code import CodeTable
from noonframe.negative.deadline import Deadline
from noonframe.negative.export import Print, usual_bits
from noonframe.negative.geometry import Crop, Framing, PrintSize
from noonframe.negative.kinds import Source
from noonframe.negative.layout import Margins
from noonframe.negative.mixes import GreyMix, find_mix
from noonframe.negative.opened import Look
from noonframe.negative.pages import MM_PER_INCH, Page, find_page
from noonframe.negative.picture import look
from noonframe.negative.recipe import PictureSettings
from noonframe.negative.sheet import MIRROR_REASON, NOT_MIRRORED, Extras, PageSettings
from noonframe.negative.tones import Levels
from noonframe.negative.wedge import StripMask

LONGEST_HEADER_BYTES = 6000
"""An answer told in a header beside the file; more would not pass some proxies."""


def looks_of(sent: Sent) -> list[LookItem]:
    """What the pictures sent are; each is unpacked whole, so that a damaged one is found out."""
    if sent.settings is not None:
        raise OutOfDomain("settings", None, "left out: a look changes nothing")
    deadline = Deadline.within()
    return [
        look_item(source, name, look(source, deadline))
        for source, name in zip(sent.pictures, sent.names, strict=True)
    ]


def look_item(source: Source, name: str, seen: Look) -> LookItem:
    """What one picture is, as it is told."""
    return LookItem(
        name=name,
        bytes=len(source.data),
        kind=seen.kind,
        width_px=seen.width_px,
        height_px=seen.height_px,
        mode=seen.mode,
        bits=seen.bits,
        orientation=seen.orientation,
        profile=seen.profile,
        conversions=list(seen.conversions),
    )


def items_of(body: NegativeBody, sent: Sent) -> list[NegativeItem]:
    """The negatives wanted, copies written out; refuses a picture that was not sent or is not used."""
    count = len(sent.pictures)
    given = body.negatives or [NegativeItem(picture=number + 1) for number in range(count)]
    items: list[NegativeItem] = []
    for index, item in enumerate(given):
        if item.picture > count:
            limit = f"at most {count}, the number of pictures sent"
            raise OutOfDomain(f"negatives.{index}.picture", item.picture, limit)
        if item.copies > 1 and item.at is not None:
            raise OutOfDomain(f"negatives.{index}.copies", item.copies, "1 where a position is given")
        items += [item] * item.copies
    if len(items) > MOST_NEGATIVES:
        raise OutOfDomain("negatives", len(items), f"at most {MOST_NEGATIVES}, copies counted")
    unused = set(range(1, count + 1)) - {item.picture for item in items}
    if unused:
        raise OutOfDomain(f"picture.{min(unused)}", None, "used by one of the negatives, or left out")
    return items


def wanted_of(
    items: list[NegativeItem], sent: Sent, tones: "list[CodeTable | None] | None" = None
) -> list[Wanted]:
    """The negatives as the room takes them; `tones` are the tone corrections, one for each or none at all."""
    wanted = []
    for index, item in enumerate(items):
        called = f"negatives.{index}"
        with fields_under(called):
            settings = picture_settings(item)
        at_mm = None if item.at is None else (item.at.left_mm, item.at.top_mm)
        tone = None if tones is None else tones[index]
        source = sent.pictures[item.picture - 1]
        wanted.append(Wanted(source, settings, at_mm, item.may_turn, tone, called))
    return wanted


def picture_settings(item: NegativeItem) -> PictureSettings:
    """The steps of one negative."""
    crop = None if item.crop is None else Crop(**item.crop.model_dump())
    levels = None if item.levels == "auto" else Levels(**item.levels.model_dump())
    return PictureSettings(
        framing=Framing(item.rotate_deg, item.flip, item.straighten_deg, crop),
        size=None if item.size is None else print_size(item.size),
        grey=find_mix(item.grey) if isinstance(item.grey, str) else GreyMix(**item.grey.model_dump()),
        levels=levels,
        contrast=item.contrast,
        invert=item.invert,
    )


def print_size(size: SizeBody) -> PrintSize:
    """A size in millimetres, whatever it was told in."""
    sides: dict[str, float | None] = {}
    for side in ("width", "height"):
        mm, inches = getattr(size, f"{side}_mm"), getattr(size, f"{side}_in")
        if mm is not None and inches is not None:
            raise OutOfDomain(f"size.{side}_in", inches, f"left out, as size.{side}_mm is given")
        sides[side] = inches * MM_PER_INCH if inches is not None else mm
    return PrintSize(sides["width"], sides["height"], size.fit)


@contextmanager
def fields_under(opening: str) -> Iterator[None]:
    """Let what goes wrong inside name its field from the outside."""
    try:
        yield
    except UnknownName as problem:
        raise UnknownName(f"{opening}.{problem.field}", problem.value, problem.limit) from None
    except (OutOfDomain, Malformed) as problem:
        raise type(problem)(f"{opening}.{problem.field}", problem.value, problem.limit) from None


def page_settings(body: NegativeBody) -> PageSettings:
    """The page and what stands on it."""
    if isinstance(body.page, OwnPageBody):
        page = Page(body.page.width_mm, body.page.height_mm)
    else:
        page = find_page(body.page)
    if body.lying:
        page = page.lying()
    extras = Extras(body.cutting_marks, body.wedge_steps, body.label)
    return PageSettings(page, body.dpi, Margins(body.margin_mm, body.gap_mm), extras, body.mirror)


def settings_from(sent: Sent) -> NegativeBody:
    """The settings sent beside the pictures."""
    return from_json(NegativeBody, b"{}" if sent.settings is None else sent.settings)


def make(
    body: NegativeBody, sent: Sent, tones: "list[CodeTable | None] | None" = None
) -> tuple[Film, NegativeAnswer]:
    """The film page, and what is told of it."""
    items = items_of(body, sent)
    settings = page_settings(body)
    film = build_page(wanted_of(items, sent, tones), settings)
    return film, answer_of(body, items, sent, film)


def answer_of(body: NegativeBody, items: list[NegativeItem], sent: Sent, film: Film) -> NegativeAnswer:
    """What is told of a page."""
    rows, columns = film.finished.film.shape
    page = film.finished.page
    done = [_done(item, one, sent) for item, one in zip(items, film.negatives, strict=True)]
    count = len(done)
    sides = f"{done[0].width_mm:.0f} x {done[0].height_mm:.0f} mm"
    held = f"a negative of {sides}" if count == 1 else f"{count} negatives"
    warned = sum(bool(one.warnings) for one in done)
    summary = (
        f"{page.name.upper() if len(page.name) < 4 else page.name} at {body.dpi:g} dpi with {held},"
        f" {'mirrored' if body.mirror else 'not mirrored'}; print it at 100 %, without scaling."
    )
    if warned:
        summary += " One is enlarged." if warned == 1 else f" {warned} are enlarged."
    notes = []
    if body.tone is None:
        notes.append("without a tone correction: light and dark tones come out as film and coat have them")
    if body.format == "pdf" and body.bits != 16:
        notes.append("the PDF holds 8 of the 16 bits, as printer drivers take")
    return NegativeAnswer(
        summary=summary,
        page=PageItem(
            name=page.name,
            width_mm=page.width_mm,
            height_mm=page.height_mm,
            columns=columns,
            rows=rows,
            dpi=body.dpi,
        ),
        format=body.format,
        bits=body.bits or usual_bits(body.format),
        mirrored=body.mirror,
        mirror_reason=MIRROR_REASON if body.mirror else NOT_MIRRORED,
        layout="given" if items[0].at is not None else "shelves",
        negatives=done,
        notes=notes,
    )


def _done(item: NegativeItem, one: Done, sent: Sent) -> NegativeDone:
    number = item.picture - 1
    levels = one.tones.levels
    return NegativeDone(
        picture=item.picture,
        look=look_item(sent.pictures[number], sent.names[number], one.look),
        left_mm=round(one.spot.left_mm, 3),
        top_mm=round(one.spot.top_mm, 3),
        width_mm=round(one.spot.width_mm, 3),
        height_mm=round(one.spot.height_mm, 3),
        turned=one.spot.turned,
        grey=item.grey if isinstance(item.grey, str) else "own weights",
        levels=LevelsBody(
            black_share=levels.black_share,
            white_share=levels.white_share,
            middle_gamma=levels.middle_gamma,
        ),
        contrast=item.contrast,
        inverted=item.invert,
        all_dark_share=round(one.tones.all_dark_share, 5),
        all_light_share=round(one.tones.all_light_share, 5),
        effective_ppi=round(one.extent.effective_ppi, 1),
        enlarged=round(one.extent.enlarged, 3),
        warnings=list(one.extent.warnings),
    )


def header_of(answer: NegativeAnswer) -> str:
    """The answer as one line of ASCII; of a page with many negatives only what is told of the page."""
    whole = json.dumps(answer.model_dump(mode="json"), separators=(",", ":"))
    if len(whole) <= LONGEST_HEADER_BYTES:
        return whole
    told = answer.model_dump(mode="json", exclude={"negatives"})
    told["notes"] = [*answer.notes, "ask with Accept: application/json to be told of each negative"]
    return json.dumps(told, separators=(",", ":"))


def wedge_print(query: WedgeQuery) -> Print:
    """The page with a wedge."""
    settings = _aid_settings(query, query.steps * query.patch_width_mm)
    return wedge_page(settings, query.steps, (query.patch_width_mm, query.patch_height_mm))


def mask_print(query: MaskQuery) -> Print:
    """The page with a mask."""
    mask = StripMask(query.strip_count, query.step_stops, query.strip_width_mm, query.strip_height_mm)
    return mask_page(_aid_settings(query, mask.width_mm), mask)


def _aid_settings(query: AidQuery, width_mm: float) -> PageSettings:
    margins = Margins(query.margin_mm)
    page = lying_if_wider(find_page(query.page), width_mm, margins)
    return PageSettings(page, query.dpi, margins, Extras(), query.mirror)
