"""An address as a QR code (ISO/IEC 18004) to be held before a phone, with the address in letters under it."""

from noonframe.api.pictures.drawing import Drawing, note_lines
from noonframe.api.say_address import OwnAddress

_MODULE = 8.0
_QUIET_ZONE = 4  # modules that the standard asks for on every side
_LEAST_WIDTH = 620.0
_LINE = 20.0


def draw_address(own: OwnAddress) -> str:
    """The code as SVG: dark on light whatever the reader's theme, because cameras read it so."""
    import segno

    code = segno.make(own.base, error="m", micro=False)
    across = (code.symbol_size(scale=1, border=0)[0] + 2 * _QUIET_ZONE) * _MODULE
    width = max(_LEAST_WIDTH, across)
    height = across + _LINE * (2 + note_lines([own.summary]))
    drawing = Drawing(width, height, f"QR code of {own.base}", own.summary)
    left, edge = (width - across) / 2.0, _QUIET_ZONE * _MODULE
    drawing.box((left, 0.0), (across, across), fill="#ffffff", stroke="none")
    for row, modules in enumerate(code.matrix):
        for column, length in _runs(modules):
            corner = (left + edge + _MODULE * column, edge + _MODULE * row)
            drawing.box(corner, (_MODULE * length, _MODULE), fill="#000000", stroke="none")
    drawing.text((24.0, across + _LINE), own.base, 15.0, font_weight="600")
    drawing.note((24.0, across + 2 * _LINE), own.summary)
    return drawing.to_svg()


def _runs(modules: "bytes | bytearray") -> list[tuple[int, int]]:
    """Where dark modules begin in a row, and how many stand together: fewer boxes, and no seams between."""
    runs: list[tuple[int, int]] = []
    for column, module in enumerate(modules):
        if not module:
            continue
        if runs and sum(runs[-1]) == column:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((column, 1))
    return runs
