"""What is kept: exposures and their events, answers already given, and the weather already fetched.

SQLite in a file unless a PostgreSQL address is given.  Nothing here is imported before a store is opened.
"""
