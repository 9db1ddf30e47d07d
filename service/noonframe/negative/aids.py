"""Film pages without a picture: the step wedge by itself, and the mask for a geometric test strip."""

import math

from noonframe.errors import OutOfDomain
from noonframe.negative.export import Print
from noonframe.negative.layout import Margins, Spot
from noonframe.negative.lettering import lettered
from noonframe.negative.pages import MM_PER_INCH, Page
from noonframe.negative.sheet import LABEL_HEIGHT_MM, LABEL_TYPE_MM, STRIP_GAP_MM, PageSettings, Sheet
from noonframe.negative.wedge import StripMask, check_steps, wedge_strip

USUAL_PATCH_MM = (8.0, 20.0)


def wedge_page(settings: PageSettings, steps: int, patch_mm: tuple[float, float] = USUAL_PATCH_MM) -> Print:
    """A page with a wedge alone, steps even in film code from bare film (1) to full ink.

    It goes to the printer without any tone correction: it is there to find out what the printer does.
    """
    check_steps(steps)
    for name, side in zip(("patch_width_mm", "patch_height_mm"), patch_mm, strict=True):
        if not (math.isfinite(side) and 3.0 <= side <= 60.0):
            raise OutOfDomain(name, side, "between 3 and 60 mm")
    width, height = steps * patch_mm[0], patch_mm[1]
    told = f"{steps} steps, even in code value: 1 is bare film, {steps} is full ink"
    sheet, left, top = _begun(settings, "patch_width_mm", (width, height), told)
    sheet.put(wedge_strip(steps, width, height, settings.dpi), left, top)
    return _finished(sheet, settings)


def mask_page(settings: PageSettings, mask: StripMask) -> Print:
    """A page with the mask of a geometric test strip: where to lay the card, and how the doses rise."""
    told = f"cover strip 1 first; each strip has {2.0**mask.step_stops:.3g} times the dose of the one before"
    sheet, left, top = _begun(settings, "strip_width_mm", (mask.width_mm, mask.height_mm), told)
    sheet.put(mask.drawn(settings.dpi), left, top)
    if settings.extras.cutting_marks:
        sheet.mark([Spot(left, top, mask.width_mm, mask.height_mm, turned=False)])
    return _finished(sheet, settings)


def _begun(
    settings: PageSettings, field: str, size_mm: tuple[float, float], told: str
) -> tuple[Sheet, float, float]:
    """A page with a line of text under where the aid will lie, and that place's left and top in mm."""
    margins = settings.margins
    room = margins.room_mm(settings.page)
    foot = LABEL_HEIGHT_MM + 1.5 * STRIP_GAP_MM
    if size_mm[0] > room[0] + 1e-6 or size_mm[1] + foot > room[1] + 1e-6:
        limit = (
            f"small enough for the page: {size_mm[0]:.0f} x {size_mm[1]:.0f} mm do not fit inside"
            f" {room[0]:.0f} x {room[1] - foot:.0f} mm"
        )
        raise OutOfDomain(field, None, limit)
    sheet = Sheet(settings.page, settings.dpi)
    left = top = margins.margin_mm
    text = settings.extras.label or told
    most = round(room[0] / MM_PER_INCH * settings.dpi)
    sheet.put(lettered(text, LABEL_TYPE_MM, settings.dpi, most), left, top + size_mm[1] + 1.5 * STRIP_GAP_MM)
    return sheet, left, top


def _finished(sheet: Sheet, settings: PageSettings) -> Print:
    return Print(sheet.finished(mirror=settings.mirror), settings.page, settings.dpi)


def lying_if_wider(page: Page, width_mm: float, margins: Margins) -> Page:
    """The page, turned by a quarter where only so something this wide fits across."""
    return page.lying() if width_mm > margins.room_mm(page)[0] + 1e-6 else page
