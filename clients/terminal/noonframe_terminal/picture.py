"""A drawing as a file; what is there already is kept unless told otherwise."""

import dataclasses
import os
from pathlib import Path
from typing import Annotated

import typer

from noonframe_terminal.options import Text, option
from noonframe_terminal.trouble import Refused, refusal

ENDING = ".svg"


@dataclasses.dataclass(frozen=True)
class Picture:
    """Where a drawing goes, if one is wanted."""

    picture: Annotated[Text, option("--picture", "Picture", "FILE.svg", "Draw the plan into this file.")] = (
        None
    )
    force: Annotated[
        bool, typer.Option("--force", help="Even if it is there already.", rich_help_panel="Picture")
    ] = False

    def check(self) -> None:
        """Refuse a file that could not be written, before the work of an answer is done."""
        path = self.picture
        if path is None:
            return
        if "\0" in path or Path(path).suffix.lower() != ENDING:
            raise refusal("--picture", path.replace("\0", ""), f"the name of a file that ends in {ENDING}")
        if os.path.isdir(path):
            raise refusal("--picture", path, "the name of a file; this is a folder")
        if os.path.lexists(path) and not self.force:
            raise self._is_there()
        if not Path(path).parent.is_dir():
            raise refusal("--picture", path, "in a folder that exists")

    def write(self, drawing: str) -> None:
        """Write `drawing`; without `--force` only where nothing is yet."""
        assert self.picture is not None
        try:
            with open(self.picture, "w" if self.force else "x", encoding="utf-8") as file:
                file.write(drawing)
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
