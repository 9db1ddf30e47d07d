"""One module per migration, numbered; a released one is never edited."""
