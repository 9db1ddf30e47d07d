"""The databases of one app, each opened when it is first needed and closed with the app."""

import threading
from collections import OrderedDict
from collections.abc import Callable
from contextvars import ContextVar
from typing import TYPE_CHECKING

from noonframe.settings import Settings
from noonframe.store.actors import FILE_NAME, Studio, current_studio
from noonframe.store.errors import StoreError

if TYPE_CHECKING:
    from noonframe.store.engine import Store

kept_from: ContextVar[StoreError | None] = ContextVar("noonframe_kept_from", default=None)
"""Why this request may touch no records: it could not be found out whose it is."""

MOST_OPEN = 32
"""How many studios' records stay open besides the house's; the others are opened again when asked for."""


class Records:
    """Opens each store once, brings its tables up to date, and closes it.

    A question about light needs no database, so a command that only asks never touches the disk.  The house's
    records hold what is the installation's own: studios, keys, forecasts, counts of requests.
    """

    def __init__(self, settings: Settings, clock: Callable[[], float]) -> None:
        self._settings = settings
        self.clock = clock
        self._house: Store | None = None
        self._studios: OrderedDict[Studio, Store] = OrderedDict()
        self._opening: dict[Studio, threading.Lock] = {}
        self._lock = threading.Lock()
        self._house_lock = threading.Lock()

    def open(self) -> "Store":
        """The store of the studio that this request is for; raises `StoreError` when it cannot be had."""
        trouble = kept_from.get()
        if trouble is not None:
            raise trouble
        studio = current_studio.get()
        return self.house() if studio is None else self.of(studio)

    def house(self) -> "Store":
        """The store that every installation has; raises `StoreError` when it cannot be had."""
        if self._house is None:
            with self._house_lock:
                if self._house is None:
                    self._house = self._open_house()
        return self._house

    def of(self, studio: Studio) -> "Store":
        """The store of a studio; raises `StoreError` when it cannot be had."""
        known = self._known(studio)
        if known is not None:
            return known
        house = self.house()
        with self._lock:
            turn = self._opening.setdefault(studio, threading.Lock())
        with turn:  # only those who want this very studio wait for it to be opened
            known = self._known(studio)
            if known is None:
                known = _brought_up(house.of_studio(studio))
                self._keep(studio, known)
            return known

    @property
    def studios_open(self) -> int:
        """How many studios' records are open besides the house's."""
        return len(self._studios)

    def own_feed(self, token_hash: str) -> None:
        """Note, before it is made, which studio a calendar's token belongs to; the house's need no note."""
        studio = current_studio.get()
        if studio is None:
            return
        from noonframe.store import studios

        with self.house().write() as db:
            studios.own_feed(db, token_hash, studio)

    def there(self) -> bool:
        """Whether there can be any records yet: a file that was never made holds none."""
        if self._house is not None or self._settings.database_url is not None:
            return True
        return (self._settings.state_dir / FILE_NAME).exists()

    def close(self) -> None:
        """Close what was opened."""
        with self._house_lock, self._lock:
            for store in self._studios.values():
                store.close()
            self._studios.clear()
            if self._house is not None:
                self._house.close()
                self._house = None

    def _known(self, studio: Studio) -> "Store | None":
        with self._lock:
            store = self._studios.get(studio)
            if store is not None:
                self._studios.move_to_end(studio)
            return store

    def _keep(self, studio: Studio, store: "Store") -> None:
        with self._lock:
            self._studios[studio] = store
            self._opening.pop(studio, None)
            while len(self._studios) > MOST_OPEN:
                _, idle = self._studios.popitem(last=False)
                idle.close()  # whoever is at it keeps its connection to the end

    def _open_house(self) -> "Store":
        from noonframe.store.address import store_url
        from noonframe.store.engine import open_store

        return _brought_up(open_store(store_url(self._settings), wait_s=self._settings.database_wait_s))


def _brought_up(store: "Store") -> "Store":
    from noonframe.store.schema import upgrade

    try:
        upgrade(store)
    except BaseException:
        store.close()
        raise
    return store
