"""Lamps that stand in for the sun: spectrum, readings, geometry, and what warm-up and ageing take away."""

from noonframe.store.documents import DocumentFields, document_shelf
from noonframe.store.tables import LAMP_VERSIONS
from noonframe.store.tables import LAMPS as LAMP_HEADS
from noonframe.store.versioned import Shelf

LAMPS: Shelf[DocumentFields] = document_shelf("lamp", LAMP_HEADS, LAMP_VERSIONS)
"""Every lamp."""
