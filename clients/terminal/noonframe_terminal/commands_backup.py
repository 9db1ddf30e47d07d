"""`backup` and `restore`: everything that is kept, in one file, and back."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from noonframe_terminal import paper
from noonframe_terminal.trouble import ANSWERED, Failed, Refused

if TYPE_CHECKING:
    from noonframe.api.upkeep import StudioCopied

_Made = TypeVar("_Made")
BACKUP_EXAMPLES = ("noonframe backup prints.noonframe", "noonframe restore --check prints.noonframe")
RESTORE_EXAMPLES = (
    "noonframe restore prints.noonframe",
    "NOONFRAME_DATABASE_URL=postgresql://... noonframe restore prints.noonframe",
)
_File = Annotated[str, typer.Argument(metavar="FILE", help="Such as prints.noonframe.")]


def backup(file: _File) -> int:
    """Copy all records of this machine, of every studio, into a new file; a service may go on running.

    The copy is checked before it is called good.  It holds everything, so keep it as safe as the records.
    Settings and your own material spectra are not in it.
    """
    from noonframe.api.upkeep import back_up
    from noonframe_terminal.serve import settings_or_refuse

    settings = settings_or_refuse()
    copied = _or_trouble(lambda: back_up(settings, Path(file)))
    paper.write(f"Copied to {file} and checked: {_words(copied)}.")
    return ANSWERED


def restore(
    file: _File,
    check: Annotated[
        bool, typer.Option("--check", help="Only look whether the copy is good, and change nothing.")
    ] = False,
) -> int:
    """Put a copy back where the records of this machine belong; refused where there are some already."""
    from noonframe.api.upkeep import check_copy
    from noonframe.api.upkeep import restore as put_back
    from noonframe_terminal.serve import settings_or_refuse

    if check:
        held = _or_trouble(lambda: check_copy(Path(file)))
        paper.write(f"{file} is good: {_words(held)}.")
        return ANSWERED
    settings = settings_or_refuse()
    copied = _or_trouble(lambda: put_back(settings, Path(file)))
    paper.write(f"Restored from {file} and checked: {_words(copied)}.")
    return ANSWERED


def _words(copied: Sequence["StudioCopied"]) -> str:
    rows = sum(one.rows for one in copied)
    return f"{len(copied)} {'studio' if len(copied) == 1 else 'studios'}, {rows} rows"


def _or_trouble(work: Callable[[], _Made]) -> _Made:
    """What the work gives; what it refuses is the user's to mend, what fails is not."""
    try:
        return work()
    except Exception as problem:
        field = getattr(problem, "field", None)
        if field is None:
            raise
        limit = str(getattr(problem, "limit", ""))
        if field in ("file", "records"):
            value = getattr(problem, "value", "")
            raise Refused(f"{'FILE' if field == 'file' else 'the records at'} {value}: {limit}") from None
        raise Failed(str(problem)) from None
