"""Kinds of which the store keeps a name and a JSON document, in the shape that their request model gives it.

What a request does not name takes the model's own value, and a change with null goes back to it.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Annotated, Any, TypeVar
from uuid import UUID

from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field, ValidationError, create_model

from noonframe.api.bench_answers import SavedItem
from noonframe.api.bench_shelf import Visit, saved_head
from noonframe.api.shelf_routes import Kind, Said, shelf_examples

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.documents import DocumentFields
    from noonframe.store.versioned import Saved, Shelf

B = TypeVar("B", bound=BaseModel)
_EXAMPLE = UUID(int=20)
_KEPT = ("description", "discriminator", "json_schema_extra")


def change_of(body: type[BaseModel]) -> type[BaseModel]:
    """The model of a change: the fields of `body`, each of which may be left out, or be null."""
    fields: dict[str, Any] = {}
    for name, info in body.model_fields.items():
        given = info.asdict()
        kind: Any = given["annotation"]
        for more in given["metadata"]:
            kind = Annotated[kind, more]
        kept = {each: given["attributes"][each] for each in _KEPT if given["attributes"].get(each)}
        fields[name] = (Annotated[kind | None, Field(**kept)], None)
    name = f"{body.__name__.removesuffix('Body')}Change"
    what = "What is to change; what is left out stays, null goes back to what it is when not given."
    return create_model(name, __config__=body.model_config, __doc__=what, **fields)


def document_kind(
    what: str,
    path: str,
    shelf: "Callable[[], Shelf[DocumentFields]]",
    *,
    body: type[B],
    body_example: Mapping[str, object],
    change_example: Mapping[str, object],
    answer: type[SavedItem],
    many: type[BaseModel],
    check: Callable[[Visit, B], None] = lambda _visit, _body: None,
    told: Callable[[Mapping[str, Any]], Mapping[str, Any]] = lambda _document: {},
    says: Mapping[str, Said] | None = None,
) -> "Kind[DocumentFields, B, BaseModel]":
    """A kind whose document is `body` without its `name`, ready for `add_shelf`.

    `check` refuses what no model can, for a whole document, also as it will be after a change; it runs before
    a new one's transaction and inside that of a change.  `answer` has the fields of `body` besides those of
    `SavedItem`, and what `told` works out of a stored document; a field that `body` gains later needs a
    default in both, for what was stored before.  The one field of `many` is the list of answers.
    """
    (listed,) = many.model_fields

    def fields_of(whole: B) -> "DocumentFields":
        from noonframe.store.documents import DocumentFields

        document = whole.model_dump(mode="json")
        return DocumentFields(document.pop("name"), document)

    def make(visit: Visit, given: B) -> "Callable[[Connection], DocumentFields]":
        check(visit, given)
        fields = fields_of(given)
        return lambda _db: fields

    def alter(
        visit: Visit, given: BaseModel
    ) -> "Callable[[Connection, Saved[DocumentFields]], DocumentFields]":
        news = given.model_dump(mode="json", exclude_unset=True)

        def altered(_db: "Connection", now: "Saved[DocumentFields]") -> "DocumentFields":
            whole = _whole(body, {"name": now.fields.name, **now.fields.body, **news})
            check(visit, whole)
            return fields_of(whole)

        return altered

    def shape(saved: "Saved[DocumentFields]") -> BaseModel:
        document = saved.fields.body
        return answer(**{**document, **told(document), **saved_head(saved)})

    return Kind(
        what=what,
        path=path,
        shelf=shelf,
        body=body,
        change=change_of(body),
        body_example=body_example,
        change_example=change_example,
        answer=answer,
        many=many,
        gather=lambda items: many(**{listed: items}),
        make=make,
        alter=alter,
        shape=shape,
        says=says or {},
    )


def _whole(body: type[B], document: Mapping[str, Any]) -> B:
    """A document with changes laid over it, as its model; null stands for what is not given."""
    import json

    given = {name: value for name, value in document.items() if value is not None}
    try:
        return body.model_validate_json(json.dumps(given), strict=True)
    except ValidationError as problem:
        details = problem.errors(include_url=False)
        raise RequestValidationError([{**each, "loc": ("body", *each["loc"])} for each in details]) from None


def document_examples(
    kind: "Kind[DocumentFields, B, BaseModel]", now_s: float
) -> dict[tuple[str, str], dict[str, Any]]:
    """The answers to show in the OpenAPI document, by method and path, to the example of a kind."""
    from noonframe.store.documents import DocumentFields
    from noonframe.store.versioned import Saved

    document = kind.body.model_validate(dict(kind.body_example)).model_dump(mode="json")
    fields = DocumentFields(document.pop("name"), document)
    return shelf_examples(kind, Saved(_EXAMPLE, 1, now_s, now_s, False, fields))
