"""Routes: parse, call, shape."""
