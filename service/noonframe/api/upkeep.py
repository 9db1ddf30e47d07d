"""What whoever owns the records does with them as a whole: copying them, and putting a copy back."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from noonframe.settings import Settings


@dataclass(frozen=True)
class StudioCopied:
    """What was copied of one studio."""

    studio: str
    rows: int


def back_up(settings: Settings, file: Path) -> Sequence[StudioCopied]:
    """Copy all records into a new file and check the copy; raises `NoonframeError`."""
    from noonframe.store.address import store_url
    from noonframe.store.backup import write_backup
    from noonframe.store.engine import open_store
    from noonframe.store.schema import upgrade

    house = open_store(store_url(settings), wait_s=settings.database_wait_s)
    try:
        upgrade(house)
        return [StudioCopied(one.studio, one.total_rows) for one in write_backup(house, file)]
    finally:
        house.close()


def check_copy(file: Path) -> Sequence[StudioCopied]:
    """What a copy holds, once it was found good; raises `NoonframeError`."""
    from noonframe.store.backup import opened_backup

    with opened_backup(file) as (copied, _):
        return [StudioCopied(one.studio, one.total_rows) for one in copied]


def restore(settings: Settings, file: Path) -> Sequence[StudioCopied]:
    """Put a copy where the settings say the records are, if there are none yet; raises `NoonframeError`."""
    from noonframe.store.address import store_url
    from noonframe.store.backup import restore_backup

    copied = restore_backup(file, store_url(settings), wait_s=settings.database_wait_s)
    return [StudioCopied(one.studio, one.total_rows) for one in copied]
