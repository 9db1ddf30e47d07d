"""One line that stays where it is on a terminal, and lines that stay; plain lines in a pipe."""

import os
import shutil
import sys

from noonframe_terminal import paper


class Ticker:
    """Writes to standard output; nothing but plain text where that is no terminal."""

    def __init__(self) -> None:
        self.is_live = sys.stdout.isatty() and os.environ.get("TERM", "") != "dumb"
        self._shown = 0

    def show(self, line: str) -> None:
        """`line` in place of the one shown before; nothing in a pipe."""
        if not self.is_live:
            return
        line = line[: max(shutil.get_terminal_size().columns - 1, 20)]
        # blanks rather than an escape sequence take off the rest: every terminal knows them
        sys.stdout.write(f"\r{line}{' ' * (self._shown - len(line))}")
        self._shown = len(line)
        sys.stdout.flush()

    def keep(self, line: str) -> None:
        """`line` for good, above the one that is shown."""
        if self.is_live and self._shown:
            sys.stdout.write(f"\r{' ' * self._shown}\r")
            self._shown = 0
        paper.write(line)

    def ring(self) -> None:
        """The terminal's bell; a pipe has none."""
        if self.is_live:
            sys.stdout.write("\a")
            sys.stdout.flush()

    def close(self) -> None:
        """Leave the line that is shown where it is."""
        if self.is_live and self._shown:
            sys.stdout.write("\n")
            sys.stdout.flush()
            self._shown = 0
