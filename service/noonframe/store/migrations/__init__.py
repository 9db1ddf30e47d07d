"""How the tables came to be what they are; run by `noonframe.store.schema`."""
