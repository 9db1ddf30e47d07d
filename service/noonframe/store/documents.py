"""Named documents: records whose content is one JSON object with a shape that only other rooms know.

The store keeps such a document whole, bounded and in all its versions; what its fields mean, and whether they
fit together, is checked where they are used.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from noonframe.store.strict import Reader, bounded_json
from noonframe.store.versioned import Shelf, living_name, name_text

LONGEST_DOCUMENT = 1_000_000


@dataclass(frozen=True)
class DocumentFields:
    """A document and its name; `body` is a JSON object of at most `LONGEST_DOCUMENT` characters."""

    name: str
    body: Mapping[str, Any] = field(repr=False)

    def __post_init__(self) -> None:
        name_text(self.name)
        object.__setattr__(self, "body", bounded_json("body", self.body, LONGEST_DOCUMENT))


def _read(reader: Reader) -> DocumentFields:
    return reader.build(DocumentFields, name=reader.text("name"), body=reader.mapping("body"))


def document_shelf(what: str, heads: sa.Table, versions: sa.Table) -> Shelf[DocumentFields]:
    """The documents of one kind, each name once among the living."""
    return Shelf(what, heads, versions, _read, living_name)
