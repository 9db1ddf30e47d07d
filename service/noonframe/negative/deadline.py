"""How long a picture may be worked on."""

import time
from dataclasses import dataclass

from noonframe.errors import OutOfDomain

LONGEST_S = 60.0
"""Ten times what the largest picture that is taken needs on one core of an ordinary machine."""


class TookTooLong(OutOfDomain):
    """A picture or a page that cannot be worked out in the time there is."""


@dataclass(frozen=True)
class Deadline:
    """A moment of the monotonic clock after which work is given up; work is checked between its strips."""

    until_s: float
    allowed_s: float

    @classmethod
    def within(cls, seconds: float = LONGEST_S) -> "Deadline":
        """The deadline that is `seconds` away."""
        return cls(time.monotonic() + seconds, seconds)

    def check(self) -> None:
        """Raise `TookTooLong` once the moment has passed."""
        if time.monotonic() > self.until_s:
            limit = f"small enough, with its page, to be worked out within {self.allowed_s:g} s here"
            raise TookTooLong("picture", None, limit)
