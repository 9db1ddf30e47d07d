"""The command line: sees the HTTP contract and nothing behind it."""
