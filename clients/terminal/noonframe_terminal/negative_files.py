"""Files of the negative: pictures that are only ever read, and a film file that never takes one's place."""

import dataclasses
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from noonframe_terminal.options import option
from noonframe_terminal.trouble import Refused, refusal

MOST_BYTES = 64 * 1024 * 1024
FORMATS = {".pdf": "pdf", ".tif": "tiff", ".tiff": "tiff", ".png": "png"}
MEDIA_TYPES = {"pdf": "application/pdf", "tiff": "image/tiff", "png": "image/png"}


def read_pictures(paths: Sequence[str]) -> list[tuple[str, bytes]]:
    """Name and bytes of each picture; refuses what is no file, and more than the service would take."""
    pictures = []
    left = MOST_BYTES
    for path in paths:
        try:
            if "\0" in path or not os.path.isfile(path):
                raise refusal("PICTURE", path.replace("\0", ""), "a file that is there")
            left -= os.path.getsize(path)
            if left < 0:
                raise refusal("PICTURE", path, f"at most {MOST_BYTES} bytes, all together")
            pictures.append((Path(path).name, Path(path).read_bytes()))
        except OSError as problem:
            raise Refused(f"PICTURE {path}: cannot be read ({problem.strerror or problem})") from None
    return pictures


@dataclasses.dataclass(frozen=True)
class Film:
    """Where the film page goes."""

    out: Annotated[
        str, option("--out", "File", "FILE", "The film page: .pdf at its exact size, or .tif or .png.")
    ]
    force: Annotated[
        bool, typer.Option("--force", help="Even if it is there already.", rich_help_panel="File")
    ] = False

    def format(self) -> str:
        """The format that the file's name ends in."""
        found = FORMATS.get(Path(self.out).suffix.lower())
        if found is None or "\0" in self.out:
            limit = f"the name of a file that ends in {', '.join(FORMATS)}"
            raise refusal("--out", self.out.replace("\0", ""), limit)
        return found

    def check(self, sources: Sequence[str] = ()) -> None:
        """Refuse a file that could not be written, or that is one of the sources under any name."""
        self.format()
        if os.path.isdir(self.out):
            raise refusal("--out", self.out, "the name of a file; this is a folder")
        if os.path.lexists(self.out):
            for source in sources:
                if os.path.exists(self.out) and os.path.samefile(self.out, source):
                    raise refusal("--out", self.out, "another file than the picture, which is never changed")
            if not self.force:
                raise self._is_there()
        if not Path(self.out).parent.is_dir():
            raise refusal("--out", self.out, "in a folder that exists")

    def write(self, film: bytes) -> None:
        """Write the page; without `--force` only where nothing is yet."""
        try:
            with open(self.out, "wb" if self.force else "xb") as file:
                file.write(film)
        except FileExistsError:
            raise self._is_there() from None
        except OSError as problem:
            raise Refused(f"--out {self.out}: cannot be written ({problem.strerror or problem})") from None

    def _is_there(self) -> Refused:
        return Refused(f"--out {self.out}: is there already; --force writes over it")
