"""The database of one app, opened when it is first needed and closed with the app."""

import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

from noonframe.settings import Settings

if TYPE_CHECKING:
    from noonframe.store.engine import Store


class Records:
    """Opens the store once, brings its tables up to date, and closes it.

    A question about light needs no database, so a command that only asks never touches the disk.
    """

    def __init__(self, settings: Settings, clock: Callable[[], float]) -> None:
        self._settings = settings
        self.clock = clock
        self._store: Store | None = None
        self._lock = threading.Lock()

    def open(self) -> "Store":
        """The store; raises `StoreError` when it cannot be had."""
        with self._lock:
            if self._store is None:
                from noonframe.store.address import store_url
                from noonframe.store.engine import open_store
                from noonframe.store.schema import upgrade

                store = open_store(store_url(self._settings), wait_s=self._settings.database_wait_s)
                try:
                    upgrade(store)
                except BaseException:
                    store.close()
                    raise
                self._store = store
            return self._store

    def close(self) -> None:
        """Close the store if it was opened."""
        with self._lock:
            if self._store is not None:
                self._store.close()
                self._store = None
