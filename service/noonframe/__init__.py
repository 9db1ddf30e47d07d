"""noonframe: how long, when and where to expose a sun print."""

__version__ = "0.1.0"
