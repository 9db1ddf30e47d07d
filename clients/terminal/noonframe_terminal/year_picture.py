"""A page for the wall as a file, SVG or PDF by the file's ending; what is there already is kept."""

import dataclasses
import os
from pathlib import Path
from typing import Annotated

import typer

from noonframe_terminal.options import Text, option
from noonframe_terminal.trouble import Refused, refusal

KINDS = {".svg": "image/svg+xml", ".pdf": "application/pdf"}
"""Media types by ending."""


@dataclasses.dataclass(frozen=True)
class WallPicture:
    """Where the page goes, if one is wanted."""

    picture: Annotated[
        Text,
        option("--picture", "Picture", "FILE", "Also draw one page of A4: FILE ends in .svg or .pdf."),
    ] = None
    force: Annotated[
        bool, typer.Option("--force", help="Even if it is there already.", rich_help_panel="Picture")
    ] = False

    def kind(self) -> str:
        """The media type that the file's ending names."""
        assert self.picture is not None
        return KINDS[self.ending()]

    def ending(self) -> str:
        """The file's ending, with its dot."""
        assert self.picture is not None
        return Path(self.picture).suffix.lower()

    def check(self) -> None:
        """Refuse a file that could not be written, before the work of an answer is done."""
        path = self.picture
        if path is None:
            return
        if "\0" in path or Path(path).suffix.lower() not in KINDS:
            raise refusal("--picture", path.replace("\0", ""), "the name of a file that ends in .svg or .pdf")
        if os.path.isdir(path):
            raise refusal("--picture", path, "the name of a file; this is a folder")
        if os.path.lexists(path) and not self.force:
            raise self._is_there()
        if not Path(path).parent.is_dir():
            raise refusal("--picture", path, "in a folder that exists")

    def write(self, page: bytes) -> None:
        """Write the page; without `--force` only where nothing is yet."""
        assert self.picture is not None
        try:
            with open(self.picture, "wb" if self.force else "xb") as file:
                file.write(page)
        except FileExistsError:
            raise self._is_there() from None
        except OSError as problem:
            reason = problem.strerror or problem
            raise Refused(f"--picture {self.picture}: cannot be written ({reason})") from None

    def notes(self) -> list[str]:
        """What was typed to no effect."""
        return ["--force does nothing without --picture"] if self.force and self.picture is None else []

    def _is_there(self) -> Refused:
        return Refused(f"--picture {self.picture}: is there already; --force writes over it")
