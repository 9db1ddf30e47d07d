"""Who is asking: keys, tickets, and whether anybody has to show one.

A key that was found good is believed for five seconds before the records are asked again, so that is how
long a revocation takes at most to reach another worker.  Keys that open nothing are looked up a limited
number of times for each address, so that guessing costs the guesser and not the records.
"""

import datetime as dt
import hashlib
import time
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool

from noonframe.api.access import ANYBODY, NOBODY, OPERATOR, Principal, Scope
from noonframe.api.access_errors import key_needed, key_refused, quota_exceeded
from noonframe.api.records import Records
from noonframe.errors import NoonframeError
from noonframe.settings import Settings, is_loopback
from noonframe.store.errors import StoreError, StoreUnavailable

if TYPE_CHECKING:
    from noonframe.store.actors import Studio
    from noonframe.store.keys import ApiKey

BELIEVED_S = 5.0
LOOKED_AGAIN_S = 1.0
_MOST_BELIEVED = 4096
_MOST_TRIES, _TRIES_S, _MOST_TRIERS = 30, 60.0, 4096
_WHY_REFUSED = "It is unknown, expired or revoked"


class Door:
    """Says who a caller is; for one app and loop."""

    def __init__(
        self, settings: Settings, records: Records, clock: Callable[[], float], *, operator: bool
    ) -> None:
        self._records = records
        self._clock = clock
        pepper = settings.key_pepper
        self._pepper = None if pepper is None else pepper.get_secret_value()
        self._operator = operator
        self._always = settings.access == "always" or (
            settings.access == "when-made" and not is_loopback(settings.host)
        )
        self._never = settings.access == "open"
        self._made = False
        self._made_until_s = float("-inf")
        self._looking = self._known = False
        self._believed: OrderedDict[bytes, tuple[Principal, float]] = OrderedDict()
        self._tries: OrderedDict[str, tuple[float, int]] = OrderedDict()
        self._generation = 0

    @property
    def is_for_operator(self) -> bool:
        """Whether the app is used in its own process by whoever owns the records."""
        return self._operator

    @property
    def asks_for_keys(self) -> bool:
        """Whether a caller without a key is turned away, as far as is known."""
        return not (self._operator or self._never) and (self._always or self._made)

    def unasked(self) -> Principal | None:
        """Whoever comes without a key; None when that has to be looked up first."""
        if self._operator:
            return OPERATOR
        if self._never:
            return ANYBODY
        if self._always or self._made:
            return NOBODY
        return ANYBODY if time.monotonic() < self._made_until_s else None

    async def look_whether_keys_were_made(self) -> tuple[Principal, StoreError | None]:
        """The same after a look into the records.

        While they cannot be read nobody can have anything from them, so questions are answered on; the error
        is given so that no record is touched with this answer.
        """
        if self._looking and self._known:  # one look at a time; meanwhile what was known holds
            return ANYBODY, None
        self._looking = True
        try:
            made = await run_in_threadpool(self._any_made)
        except StoreError as error:
            return ANYBODY, error
        except NoonframeError as error:  # settings that lead to no records at all
            return ANYBODY, StoreUnavailable(str(error.value), error.limit)
        finally:
            self._looking = False
        self._known, self._made = True, self._made or made
        self._made_until_s = time.monotonic() + LOOKED_AGAIN_S
        return (NOBODY if self._made else ANYBODY), None

    def believed(self, authorization: bytes) -> Principal | None:
        """The owner of a key that was looked up a moment ago."""
        found = self._believed.get(hashlib.sha256(authorization).digest())
        if found is None or time.monotonic() >= found[1]:
            return None
        principal = found[0]
        if principal.expires_s is not None and self._clock() >= principal.expires_s:
            return None
        return principal

    async def look_up(self, authorization: bytes, address: str) -> Principal:
        """The owner of the key in an Authorization header; raises `Refusal` when it opens nothing."""
        scheme, _, text = authorization.decode("latin-1").strip().partition(" ")
        if scheme.lower() != "bearer":
            raise key_refused("The Authorization header must be Bearer and a key")
        self._check_tries(address)
        generation = self._generation
        key = await run_in_threadpool(self._find, text.strip())
        if key is None or not key.good_at(self._clock()):
            self._note_try(address)
            raise key_refused(_WHY_REFUSED)
        principal = owner_of(key)
        if generation == self._generation:
            self._believed[hashlib.sha256(authorization).digest()] = (
                principal,
                time.monotonic() + BELIEVED_S,
            )
            while len(self._believed) > _MOST_BELIEVED:
                self._believed.popitem(last=False)
        return principal

    async def take_ticket(self, text: str, address: str) -> Principal:
        """Whoever made a ticket, which is used up by this; raises `Refusal` when it is no good."""
        self._check_tries(address)
        good, key = await run_in_threadpool(self._take_ticket, text)
        if not good or (key is not None and not key.good_at(self._clock())):
            self._note_try(address)
            raise key_refused("The ticket is unknown, used or too old; make another one")
        if key is None:
            someone = self.unasked() or (await self.look_whether_keys_were_made())[0]
            if someone is NOBODY:
                raise key_needed()
            return someone
        return owner_of(key)

    async def still_good(self, principal: Principal) -> bool:
        """Whether a stream that was opened with this key may go on; it may while that cannot be known."""
        if principal.key_id is None:
            return True
        try:
            return await run_in_threadpool(self._is_good, principal.key_id)
        except StoreError:
            return True

    async def owner_of_feed(self, token: str) -> "Studio | None":
        """The studio that a calendar's address belongs to; None for the house, or for nobody."""
        return await run_in_threadpool(self._owner_of_feed, token)

    def forget(self) -> None:
        """Keys were changed through this very app: look everything up again."""
        self._generation += 1
        self._believed.clear()
        self._made_until_s = float("-inf")

    def _any_made(self) -> bool:
        from noonframe.store import keys

        if not self._records.there():
            return False
        with self._records.house().read() as db:
            return keys.any_made(db)

    def _find(self, text: str) -> "ApiKey | None":
        from noonframe.store import keys

        if not keys.KEY.fullmatch(text) or not self._records.there():
            return None
        store = self._records.house()
        with store.read() as db:
            key = keys.find(db, text, pepper=self._pepper)
        now_s = self._clock()
        if key is not None and key.good_at(now_s):
            day = dt.datetime.fromtimestamp(now_s, dt.UTC).date()
            if key.last_used_day is None or key.last_used_day < day:
                with suppress(NoonframeError), store.write() as db:  # to be let in matters more
                    keys.mark_used(db, key.id, day)
        return key

    def _take_ticket(self, text: str) -> "tuple[bool, ApiKey | None]":
        from noonframe.store import keys

        if not text.isascii() or not self._records.there():
            return False, None
        with self._records.house().write() as db:
            return keys.take_ticket(db, text, now_s=self._clock())

    def _is_good(self, key_id: str) -> bool:
        from noonframe.store import keys

        with self._records.house().read() as db:
            return keys.get(db, key_id).good_at(self._clock())

    def _owner_of_feed(self, token: str) -> "Studio | None":
        from noonframe.store import studios

        if not self._records.there():
            return None
        with self._records.house().read() as db:
            return studios.owner_of_feed(db, hashlib.sha256(token.encode()).hexdigest())

    def _check_tries(self, address: str) -> None:
        began_s, tries = self._tries.get(address, (0.0, 0))
        left_s = began_s + _TRIES_S - time.monotonic()
        if tries >= _MOST_TRIES and left_s > 0.0:
            detail = f"Too many keys that open nothing were sent from here; again in {int(left_s) + 1} s"
            raise quota_exceeded("keys-refused", int(left_s) + 1, detail, {})

    def _note_try(self, address: str) -> None:
        now_s = time.monotonic()
        began_s, tries = self._tries.pop(address, (now_s, 0))
        if now_s - began_s >= _TRIES_S:
            began_s, tries = now_s, 0
        self._tries[address] = (began_s, tries + 1)
        while len(self._tries) > _MOST_TRIERS:
            self._tries.popitem(last=False)


def owner_of(key: "ApiKey") -> Principal:
    """The one a key stands for."""
    scope = Scope[key.scope.upper()]
    return Principal(
        scope,
        key.name,
        key.studio,
        key.id,
        key.expires_s,
        operates=key.studio is None and scope is Scope.MANAGE,
    )
