"""A drawing as a file; what is there already is kept unless told otherwise."""

import os
from pathlib import Path

from noonframe_terminal.trouble import Refused, refusal

ENDING = ".svg"


def check_picture(path: str, *, over: bool, option: str) -> None:
    """Refuse a file that could not be written, before the work of an answer is done."""
    if "\0" in path or Path(path).suffix.lower() != ENDING:
        raise refusal(option, path.replace("\0", ""), f"the name of a file that ends in {ENDING}")
    if os.path.isdir(path):
        raise refusal(option, path, "the name of a file; this is a folder")
    if os.path.lexists(path) and not over:
        raise _is_there(path, option)
    if not Path(path).parent.is_dir():
        raise refusal(option, path, "in a folder that exists")


def write_picture(path: str, drawing: str, *, over: bool, option: str) -> None:
    """Write `drawing`; without `over` only where nothing is yet."""
    try:
        with open(path, "w" if over else "x", encoding="utf-8") as file:
            file.write(drawing)
    except FileExistsError:
        raise _is_there(path, option) from None
    except OSError as problem:
        raise Refused(f"{option} {path}: cannot be written ({problem.strerror or problem})") from None


def _is_there(path: str, option: str) -> Refused:
    return Refused(f"{option} {path}: is there already; --force writes over it")
