"""What is asked and told of keys, studios, tickets and changes."""

import datetime as dt
from typing import Any, Literal

from pydantic import AwareDatetime, BaseModel, Field

from noonframe.api.inputs import Saved
from noonframe.api.inputs_spot import STRICT
from noonframe.store.actors import HOUSE

ScopeWord = Literal["read", "run", "manage"]
_SCOPE = (
    "read: every question and every record; run: also start exposures and save; manage: also retire, import,"
    " feeds and keys"
)


class KeyBody(BaseModel):
    """A key for one phone, person or program."""

    model_config = STRICT

    name: Saved = Field(description="whose it is", examples=["yard phone"])
    scope: ScopeWord = Field("run", description=_SCOPE)
    studio: Saved | None = Field(None, description="whose records it opens; else those of whoever makes it")
    expires: AwareDatetime | None = Field(None, description="when it ends by itself; else never")


class StudioBody(BaseModel):
    """A studio with records of its own."""

    model_config = STRICT

    name: Saved = Field(description="small letters, digits and hyphens", examples=["evening-class"])


class TicketBody(BaseModel):
    """Nothing has to be said for a ticket."""

    model_config = STRICT


class KeysQuery(BaseModel):
    """Keys, newest first."""

    model_config = STRICT

    studio: Saved | None = Field(None, description="of this studio alone")
    limit: int = Field(100, ge=1, le=500)


class AuditQuery(BaseModel):
    """A page of changes, newest first."""

    model_config = STRICT

    before: int | None = Field(None, ge=1, le=2**53, description="number of the last one of the page before")
    limit: int = Field(100, ge=1, le=500)


class KeyItem(BaseModel):
    """A key, without its secret part."""

    id: str = Field(description="the first part of the key, which is no secret")
    name: str
    studio: str
    scope: ScopeWord
    created: str
    expires: str | None
    revoked: str | None = Field(description="since when it opens nothing any more")
    last_used_day: str | None = Field(description="day (UTC) on which it was last used, kept no finer")


class KeyMadeAnswer(KeyItem):
    """A key in full, which is told this once and kept nowhere."""

    key: str = Field(description="to be sent as Authorization: Bearer KEY")
    summary: str


class KeysAnswer(BaseModel):
    """Keys, newest first."""

    keys: list[KeyItem]


class StudioItem(BaseModel):
    """A studio."""

    name: str
    created: str | None = Field(description="none for the house, which is there from the beginning")


class StudiosAnswer(BaseModel):
    """Studios, the house first."""

    studios: list[StudioItem]


class AuditItem(BaseModel):
    """One change."""

    number: int
    at: str
    key_id: str | None = Field(description="the key it came with; none where nobody was asked for one")
    who: str
    method: str
    route: str = Field(description="the address, with names in braces where ids stand")
    record: str | None = Field(description="id or name of what was changed or made")
    request_id: str


class AuditAnswer(BaseModel):
    """Changes, newest first."""

    changes: list[AuditItem]


class AccessAnswer(BaseModel):
    """Who the caller is to this service."""

    studio: str
    scope: ScopeWord
    key_id: str | None
    key_name: str | None
    expires: str | None
    keys_asked_for: bool = Field(description="whether somebody without a key is turned away")


class TicketAnswer(BaseModel):
    """What opens one stream, once."""

    ticket: str = Field(description="to be put at the end of the address of a stream, ?ticket=...")
    expires: str


KEYS_MODELS = (KeyBody, StudioBody, TicketBody)
KEY: dict[str, object] = {"name": "yard phone", "scope": "run"}
STUDIO: dict[str, object] = {"name": "evening-class"}
_KEY_ID = "a2b3c4d5e6"


def utc(at_s: float) -> str:
    """A moment as RFC 3339 in UTC, to the second."""
    return dt.datetime.fromtimestamp(at_s, dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def keys_examples(now_s: float) -> dict[tuple[str, str], dict[str, Any]]:
    """An answer to the example request of each operation; no key in it opens anything."""
    now = utc(now_s)
    key = KeyItem(
        id=_KEY_ID,
        name="yard phone",
        studio=HOUSE,
        scope="run",
        created=now,
        expires=None,
        revoked=None,
        last_used_day=None,
    )
    made = KeyMadeAnswer(
        **key.model_dump(), key=f"nf_{_KEY_ID}_{'-' * 43}", summary="Keep the key now: it is not shown again."
    )
    studio = StudioItem(name="evening-class", created=now)
    change = AuditItem(
        number=1,
        at=now,
        key_id=_KEY_ID,
        who="yard phone",
        method="POST",
        route="/v1/prints",
        record="00000000-0000-0000-0000-000000000001",
        request_id="8f0c2b1d-2a",
    )
    access = AccessAnswer(
        studio=HOUSE, scope="run", key_id=_KEY_ID, key_name="yard phone", expires=None, keys_asked_for=True
    )
    ticket = TicketAnswer(ticket="-" * 43, expires=utc(now_s + 60.0))
    answers: dict[tuple[str, str], BaseModel] = {
        ("post", "/v1/keys"): made,
        ("get", "/v1/keys"): KeysAnswer(keys=[key]),
        ("post", "/v1/keys/{key_id}/revoke"): key.model_copy(update={"revoked": now}),
        ("post", "/v1/studios"): studio,
        ("get", "/v1/studios"): StudiosAnswer(studios=[StudioItem(name=HOUSE, created=None), studio]),
        ("get", "/v1/audit"): AuditAnswer(changes=[change]),
        ("get", "/v1/access"): access,
        ("post", "/v1/tickets"): ticket,
    }
    return {where: {"application/json": answer.model_dump(mode="json")} for where, answer in answers.items()}
