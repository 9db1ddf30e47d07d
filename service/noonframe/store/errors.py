"""What can go wrong with the store, without a word of HTTP or SQL.

NoonframeError
+-- StoreError
|   +-- StoreUnavailable   cannot be reached, opened, read or written; waiting alone does not help
|   +-- StoreBusy          somebody else held it too long; the same request may succeed in a moment
|   +-- StoreFull          no room left; nothing of the failed request was kept
+-- Conflict               somebody else changed or took it first
"""

from noonframe.errors import NoonframeError


class StoreError(NoonframeError):
    """The records at `where` (a file or an address without its password) cannot be used; `why` says more."""

    def __init__(self, where: str, why: str) -> None:
        super().__init__(f"the records at {where} {why}", field="store", value=where, limit=why)


class StoreUnavailable(StoreError):
    """The store cannot be reached, opened, read or written.

    When the connection broke during the last step of a change, the change may have been kept all the same;
    repeating it with the same key is safe.
    """


class StoreBusy(StoreError):
    """Another user of the store held it for longer than this one waits; nothing was kept."""


class StoreFull(StoreError):
    """There is no room for more; nothing of this change was kept."""


class Conflict(NoonframeError):
    """`field` was given as `value`, but `limit` (plain words, e.g. "is 5 by now")."""

    def __init__(self, field: str, value: object, limit: str) -> None:
        super().__init__(f"{field} was given as {value!r} but {limit}", field=field, value=value, limit=limit)
