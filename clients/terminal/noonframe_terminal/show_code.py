"""A QR code in a terminal: two rows of modules to a line."""

from typing import Any

_QUIET = 4  # modules of quiet zone on every side (ISO/IEC 18004)
_HALVES = {(False, False): "█", (False, True): "▀", (True, False): "▄", (True, True): " "}


def code_lines(code: Any, encoding: str) -> list[str]:
    """The lines of a code, drawn in its light modules, as most terminals write light on dark.

    Where the signs for half blocks cannot be written, a module is two signs wide, `#` for a light one.
    """
    size = len(code.matrix)
    light = [[True] * (size + 2 * _QUIET) for _ in range(size + 2 * _QUIET)]
    for row, modules in enumerate(code.matrix):
        for column, module in enumerate(modules):
            light[row + _QUIET][column + _QUIET] = not module
    try:
        "█▀▄".encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return ["".join("##" if one else "  " for one in row).rstrip() for row in light]
    if len(light) % 2:
        light.append([False] * len(light[0]))
    pairs = zip(light[::2], light[1::2], strict=True)
    return [
        "".join(_HALVES[not above, not below] for above, below in zip(*pair, strict=True)).rstrip()
        for pair in pairs
    ]
