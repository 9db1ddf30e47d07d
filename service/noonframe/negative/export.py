"""A film page as a file at its exact size: PDF, TIFF or PNG, grey, 8 or 16 bits.

The pixels are full ink at 0 and bare film at the largest value, without a colour profile: what a film
printer lays down for each is measured by its step wedge, not by a profile.
"""

import io
import zlib
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.negative.code import CodeArray
from noonframe.negative.deadline import Deadline
from noonframe.negative.pages import MM_PER_INCH, Page

Format = Literal["pdf", "tiff", "png"]
MEDIA_TYPES: dict[Format, str] = {"pdf": "application/pdf", "tiff": "image/tiff", "png": "image/png"}
POINTS_PER_INCH = 72.0
_STRIP_PIXELS = 4_000_000
_PREDICTOR_PNG, _FILTER_SUB = 15, 1  # ISO 32000-1, table 8 and 7.4.4.4; PNG (ISO/IEC 15948), 9.2
_QUICK = 1


def usual_bits(kind: Format) -> int:
    """Bits for each dot unless told otherwise: PDFs go to printer drivers, which take 8."""
    return 8 if kind == "pdf" else 16


@dataclass(frozen=True)
class Print:
    """A finished page (rows, columns) in film code, and its size."""

    film: CodeArray
    page: Page
    dpi: float


def exported(
    finished: Print, kind: Format, bits: int | None = None, deadline: Deadline | None = None
) -> bytes:
    """The file of a finished page."""
    bits = usual_bits(kind) if bits is None else bits
    if bits not in (8, 16):
        raise OutOfDomain("bits", bits, "8 or 16")
    if kind == "pdf":
        return as_pdf(finished, bits, deadline or Deadline.within())
    return _as_picture(finished, kind, bits)


def eight_bits(film: CodeArray) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """Codes to the nearest of 256."""
    # (v * 255 + 32767) // 65535 is the nearest; v - (v >> 8) shares out the same and stays in 16 bits
    return ((film - (film >> 8) + 128) >> 8).astype(np.uint8)


def _as_picture(finished: Print, kind: Format, bits: int) -> bytes:
    from PIL import Image

    film, dpi = finished.film, finished.dpi
    picture = Image.fromarray(np.ascontiguousarray(film) if bits == 16 else eight_bits(film))
    out = io.BytesIO()
    if kind == "png":
        picture.save(out, "PNG", dpi=(dpi, dpi), compress_level=_QUICK)
    else:
        # tag 317: differences between neighbours, which deflate packs better
        picture.save(out, "TIFF", dpi=(dpi, dpi), compression="tiff_adobe_deflate", tiffinfo={317: 2})
    return out.getvalue()


def as_pdf(finished: Print, bits: int, deadline: Deadline) -> bytes:
    """A PDF of one page, exactly `page` large, with the film as one picture without loss."""
    from reportlab.pdfbase import pdfdoc
    from reportlab.pdfgen.canvas import Canvas

    film, page, dpi = finished.film, finished.page, finished.dpi
    rows, columns = film.shape
    width, height = (side / MM_PER_INCH * POINTS_PER_INCH for side in (page.width_mm, page.height_mm))
    out = io.BytesIO()
    # without pageCompression the few commands of the page stay plain; `invariant` keeps dates and ids out
    canvas = Canvas(out, pagesize=(width, height), pageCompression=0, invariant=1, pdfVersion=(1, 5))
    canvas.setTitle("Film negative")
    canvas.setSubject("Print at 100 %, without scaling")
    canvas.setAuthor("noonframe")
    canvas.setCreator("noonframe")
    canvas.setViewerPreference("PrintScaling", "None")
    document: Any = canvas._doc  # type: ignore[attr-defined]
    name = "film"
    stream = pdfdoc.PDFStream(content=packed(film, bits, deadline))
    stream.filters = []  # it is packed already
    entries: dict[str, Any] = {
        "Type": pdfdoc.PDFName("XObject"),
        "Subtype": pdfdoc.PDFName("Image"),
        "Width": columns,
        "Height": rows,
        "BitsPerComponent": bits,
        "ColorSpace": pdfdoc.PDFName("DeviceGray"),
        "Filter": pdfdoc.PDFName("FlateDecode"),
        "DecodeParms": pdfdoc.PDFDictionary(
            {"Predictor": _PREDICTOR_PNG, "Colors": 1, "BitsPerComponent": bits, "Columns": columns}
        ),
        "Interpolate": "false",
    }
    stream.dictionary.dict.update(entries)
    document.Reference(stream, document.getXObjectName(name))
    # dots at their exact pitch, from the upper left corner; the last may reach past the edge by part of one
    across, down = columns / dpi * POINTS_PER_INCH, rows / dpi * POINTS_PER_INCH
    canvas.saveState()
    canvas.transform(across, 0, 0, down, 0, height - down)
    canvas.doForm(name)
    canvas.restoreState()
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def packed(film: CodeArray, bits: int, deadline: Deadline) -> bytes:
    """The rows as differences from the left neighbour (PNG's filter "Sub"), deflated, a strip at a time."""
    rows, columns = film.shape
    wide = bits // 8
    packer = zlib.compressobj(_QUICK)
    parts = []
    step = max(_STRIP_PIXELS // columns, 1)
    for top in range(0, rows, step):
        deadline.check()
        part = film[top : top + step]
        plain = eight_bits(part) if bits == 8 else part.astype(">u2").view(np.uint8)
        lines = np.empty((plain.shape[0], plain.shape[1] + 1), dtype=np.uint8)
        lines[:, 0] = _FILTER_SUB
        lines[:, 1 : 1 + wide] = plain[:, :wide]
        np.subtract(plain[:, wide:], plain[:, :-wide], out=lines[:, 1 + wide :])
        parts.append(packer.compress(lines.data))
    parts.append(packer.flush())
    return b"".join(parts)
