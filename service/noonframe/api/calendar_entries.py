"""What a calendar shows, before it is written: entries with an identity, a revision and alarms."""

from dataclasses import dataclass
from enum import StrEnum
from uuid import NAMESPACE_URL, UUID, uuid5

from noonframe.errors import OutOfDomain

REVISIONS_SINCE_S = 1_767_225_600.0
"""2026-01-01T00:00:00Z.  Revisions are counted in whole seconds from here: SEQUENCE is an INTEGER of RFC 5545
and ends at 2147483647, which is in 2094."""

_NAMES = uuid5(NAMESPACE_URL, "urn:noonframe:calendar")


class Status(StrEnum):
    """How sure an entry is (RFC 5545, 3.8.1.11)."""

    TENTATIVE = "TENTATIVE"
    CONFIRMED = "CONFIRMED"
    CANCELLED = "CANCELLED"


@dataclass(frozen=True)
class Alarm:
    """A reminder so many seconds after the start of its entry (before it, where negative), or after its end.

    It is told relative to the entry, so that it goes along when somebody moves that in their own calendar.
    """

    after_s: float
    says: str
    from_end: bool = False


@dataclass(frozen=True)
class Entry:
    """One thing in a calendar.

    `identity` says what it is, in words that stay when its times change; `revised_s` (unix seconds) is when
    what it says was last settled, and gives its revision.  `busy` is whether it takes the time of whoever
    reads the calendar.  Times in unix seconds, written as whole ones.
    """

    identity: str
    start_s: float
    end_s: float
    title: str
    text: str
    status: Status
    revised_s: float
    busy: bool = False
    where: str | None = None
    position: tuple[float, float] | None = None
    alarms: tuple[Alarm, ...] = ()
    categories: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.end_s >= self.start_s:
            raise OutOfDomain("end_s", self.end_s, "not before start_s")
        if not self.revised_s >= 0.0:
            raise OutOfDomain("revised_s", self.revised_s, "a moment since 1970")

    @property
    def uid(self) -> UUID:
        """The same for the same thing, whenever it is written and by whichever service."""
        return uid_of(self.identity)

    @property
    def sequence(self) -> int:
        """Rises whenever the entry was settled anew (RFC 5545, 3.8.7.4)."""
        return revision_number(self.revised_s)


@dataclass(frozen=True)
class CalendarSheet:
    """A calendar: entries under a name.

    `identity` as in `Entry`; `source` is the address it can be fetched from again, with `refresh_s` between
    fetches; both are left out of a file that is downloaded once.
    """

    identity: str
    name: str
    text: str
    revised_s: float
    entries: tuple[Entry, ...]
    source: str | None = None
    refresh_s: int | None = None

    @property
    def uid(self) -> UUID:
        """Of the calendar itself (RFC 7986, 5.3)."""
        return uid_of(self.identity)


def uid_of(identity: str) -> UUID:
    """A UUID of version 5 (RFC 9562): the same words give the same one."""
    return uuid5(_NAMES, identity)


def revision_number(revised_s: float) -> int:
    """The moment of a revision as a whole number that rises with it; 0 for anything before 2026."""
    return max(int(revised_s - REVISIONS_SINCE_S), 0)
