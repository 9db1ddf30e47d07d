"""What answers are written on: a terminal, or a pipe that gets no colour and no control codes."""

import os
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from noonframe_terminal.trouble import ReaderGone

if TYPE_CHECKING:
    from rich.console import Console

WIDEST = 100  # longer lines of prose are hard to follow


def write(text: str) -> None:
    """`text`, as it is, to standard output."""
    try:
        # line by line: one large write to a pipe whose reader leaves midway counts as done when unbuffered
        sys.stdout.writelines((text if text.endswith("\n") else f"{text}\n").splitlines(keepends=True))
        sys.stdout.flush()
    except BrokenPipeError:
        # what is still buffered has nowhere to go, and must not complain at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise ReaderGone from None


def page(draw: Callable[["Console"], None]) -> None:
    """Write what `draw` puts on the console, all at once."""
    from rich.console import Console

    console = Console(
        highlight=False,
        markup=False,
        emoji=False,
        color_system=None if os.environ.get("NO_COLOR") else "auto",
    )
    console.width = min(console.width, WIDEST)
    with console.capture() as capture:
        draw(console)
    # rich pads table rows to their full width, which only gets in the way of a pipe
    write("\n".join(line.rstrip() for line in capture.get().splitlines()))


def complain(*lines: str) -> None:
    """One line each to standard error."""
    for line in lines:
        sys.stderr.write(f"noonframe: {line}\n")
    sys.stderr.flush()
