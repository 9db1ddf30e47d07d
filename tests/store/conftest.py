"""The store on every kind of database."""

from databases import database_url, store

__all__ = ["database_url", "store"]
