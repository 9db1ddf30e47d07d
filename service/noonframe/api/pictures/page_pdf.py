"""The PDF of a page: fonts embedded, and no letter left out without a word."""

import io
import unicodedata
from functools import cache
from typing import Any

from noonframe.api.pictures.page import A4_MM, Area, SheetPage, Words

_PT_PER_MM = 72.0 / 25.4
_REGULAR, _BOLD = "noonframe-page", "noonframe-page-bold"
_SPELT = " (in Latin letters)"


@cache
def _letters() -> frozenset[int]:
    """Register the fonts with the library; the code points that they have."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    # Bitstream Vera comes with the library, under a licence that lets it be embedded.
    faces = [TTFont(_REGULAR, "Vera.ttf"), TTFont(_BOLD, "VeraBd.ttf")]
    for face in faces:
        pdfmetrics.registerFont(face)
    return frozenset.intersection(*(frozenset(face.face.charToGlyph) for face in faces))


def printable(text: str) -> str:
    """`text` in letters that the page's fonts have: spelt in Latin ones, and said so, where they have not.

    Single signs that have a plain counterpart (a curly apostrophe, a long vowel's bar) pass without a word.
    """
    text = unicodedata.normalize("NFC", text)
    known = _letters()
    if all(ord(letter) in known for letter in text):
        return text
    from anyascii import anyascii

    # Of another script the fonts may have a letter or two: a name half in each would be worse than none.
    foreign = [letter.isalpha() and not unicodedata.name(letter, "").startswith("LATIN") for letter in text]
    spelt = "".join(
        letter if ord(letter) in known and not other else anyascii(letter) or "?"
        for letter, other in zip(text, foreign, strict=True)
    )
    return f"{spelt}{_SPELT}" if any(foreign) else spelt


def page_pdf(page: SheetPage) -> bytes:
    """The page as a PDF of one A4 sheet; the same page gives the same bytes."""
    from reportlab.lib.colors import HexColor
    from reportlab.pdfgen.canvas import Canvas

    _letters()
    width, height = (side * _PT_PER_MM for side in A4_MM)
    file = io.BytesIO()
    canvas: Any = Canvas(file, pagesize=(width, height), pageCompression=1, invariant=1, lang="en")
    canvas.setTitle(page.title)
    canvas.setSubject(page.says)
    canvas.setCreator("noonframe")
    for mark in page.marks:
        if isinstance(mark, Words):
            x, y = mark.at[0] * _PT_PER_MM, height - mark.at[1] * _PT_PER_MM
            canvas.setFillColor(HexColor(mark.colour))
            canvas.setFont(_BOLD if mark.bold else _REGULAR, mark.size_pt)
            put = {"start": canvas.drawString, "middle": canvas.drawCentredString}
            put.get(mark.anchor, canvas.drawRightString)(x, y, printable(mark.text))
            continue
        outline = canvas.beginPath()
        first, *rest = [(x * _PT_PER_MM, height - y * _PT_PER_MM) for x, y in mark.points]
        outline.moveTo(*first)
        for point in rest:
            outline.lineTo(*point)
        fill = mark.fill if isinstance(mark, Area) else None
        if isinstance(mark, Area):
            outline.close()
        if fill is not None:
            canvas.setFillColor(HexColor(fill))
        if mark.stroke is not None:
            canvas.setStrokeColor(HexColor(mark.stroke))
            canvas.setLineWidth(mark.stroke_mm * _PT_PER_MM)
        canvas.drawPath(outline, stroke=int(mark.stroke is not None), fill=int(fill is not None))
    canvas.showPage()
    canvas.save()
    return file.getvalue()
