"""Printers of film for negatives: what density each of their code values gives, resolution and notes."""

from noonframe.store.documents import DocumentFields, document_shelf
from noonframe.store.tables import FILM_PRINTER_VERSIONS
from noonframe.store.tables import FILM_PRINTERS as FILM_PRINTER_HEADS
from noonframe.store.versioned import Shelf

FILM_PRINTERS: Shelf[DocumentFields] = document_shelf(
    "film_printer", FILM_PRINTER_HEADS, FILM_PRINTER_VERSIONS
)
"""Every film printer."""
