"""The weather cache in the database: shared by all workers, still there after a restart."""

import sqlalchemy as sa

from noonframe.store.engine import Store
from noonframe.store.tables import WEATHER_ANSWERS, WEATHER_LEASES, WEATHER_PAUSES
from noonframe.store.upsert import insert, took_effect
from noonframe.weather.cache import BackOff, StoredAnswer


class SqlWeatherCache:
    """`noonframe.weather.cache.WeatherCache` over a store; each method is one transaction.

    Any of them may raise a `StoreError`.
    """

    def __init__(self, store: Store) -> None:
        self._store = store

    def get(self, key: str) -> StoredAnswer | None:
        """See `WeatherCache`."""
        with self._store.read() as db:
            row = db.execute(_without_key(WEATHER_ANSWERS, key)).one_or_none()
        return None if row is None else StoredAnswer(**row._mapping)

    def put(self, key: str, answer: StoredAnswer) -> None:
        """See `WeatherCache`."""
        self._keep(WEATHER_ANSWERS, key, answer)

    def forget_before(self, fetched_s: float) -> None:
        """See `WeatherCache`; leases that ended before go too."""
        with self._store.write() as db:
            db.execute(WEATHER_ANSWERS.delete().where(WEATHER_ANSWERS.c.fetched_s < fetched_s))
            db.execute(WEATHER_PAUSES.delete().where(WEATHER_PAUSES.c.until_s < fetched_s))
            db.execute(WEATHER_LEASES.delete().where(WEATHER_LEASES.c.until_s < fetched_s))

    def get_back_off(self, scope: str) -> BackOff | None:
        """See `WeatherCache`."""
        with self._store.read() as db:
            row = db.execute(_without_key(WEATHER_PAUSES, scope)).one_or_none()
        return None if row is None else BackOff(**row._mapping)

    def set_back_off(self, scope: str, pause: BackOff | None) -> None:
        """See `WeatherCache`."""
        if pause is not None:
            self._keep(WEATHER_PAUSES, scope, pause)
            return
        with self._store.write() as db:
            db.execute(WEATHER_PAUSES.delete().where(WEATHER_PAUSES.c.scope == scope))

    def take_lease(self, key: str, holder: str, now_s: float, until_s: float) -> bool:
        """See `WeatherCache`."""
        table = WEATHER_LEASES
        with self._store.write() as db:
            ask = insert(db, table).values(key=key, holder=holder, until_s=until_s)
            free = sa.or_(table.c.holder == holder, table.c.until_s <= now_s)
            taken = ask.on_conflict_do_update(
                index_elements=[table.c.key], set_={"holder": holder, "until_s": until_s}, where=free
            )
            return took_effect(db, taken)

    def drop_lease(self, key: str, holder: str) -> None:
        """See `WeatherCache`."""
        table = WEATHER_LEASES
        with self._store.write() as db:
            db.execute(table.delete().where(table.c.key == key, table.c.holder == holder))

    def _keep(self, table: sa.Table, key: str, record: StoredAnswer | BackOff) -> None:
        (key_column,) = table.primary_key.columns
        values = {name: getattr(record, name) for name in record.__dataclass_fields__}
        with self._store.write() as db:
            new = insert(db, table).values({key_column.name: key, **values})
            db.execute(new.on_conflict_do_update(index_elements=[key_column], set_=values))


def _without_key(table: sa.Table, key: str) -> sa.Select[tuple[object, ...]]:
    (key_column,) = table.primary_key.columns
    return sa.select(*(column for column in table.columns if column is not key_column)).where(
        key_column == key
    )
