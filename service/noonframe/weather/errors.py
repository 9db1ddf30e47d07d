"""How a provider can fail; none of it leaves the weather room but as a line of `WeatherAnswer.why`."""

from enum import StrEnum

from noonframe.errors import NoonframeError


class FailureKind(StrEnum):
    """Why a provider gave no forecast."""

    OFF = "off"  # no provider is configured
    REFUSED = "refused"  # it does not accept the question
    FORBIDDEN = "forbidden"  # it does not accept the caller
    NOT_COVERED = "not_covered"  # it has nothing for this place
    THROTTLED = "throttled"  # it was asked too often
    UNAVAILABLE = "unavailable"  # it is in trouble and says so
    UNREACHABLE = "unreachable"  # no connection, or one that breaks before an answer
    TIMED_OUT = "timed_out"  # no answer in time
    MALFORMED = "malformed"  # an answer that cannot be used
    INTERNAL = "internal"  # a fault on this side


class UpstreamError(NoonframeError):
    """A provider gave no forecast.

    `pause_s` is how long it asks to be left alone, None where it does not say; `place_only` when the pause
    concerns this place and not the provider; `worth_retrying` when the next attempt may well succeed.
    """

    def __init__(
        self,
        kind: FailureKind,
        reason: str,
        *,
        pause_s: float | None = None,
        place_only: bool = False,
        worth_retrying: bool = False,
    ) -> None:
        super().__init__(reason, field="weather", value=kind.value)
        self.kind = kind
        self.reason = reason
        self.pause_s = pause_s
        self.place_only = place_only
        self.worth_retrying = worth_retrying


class UpstreamMalformed(UpstreamError):
    """A provider's answer breaks its documented format; `reason` says where."""

    def __init__(self, reason: str) -> None:
        super().__init__(FailureKind.MALFORMED, reason)
