"""What was put away, found again by name or id; prints too, whose names are not their own."""

import re
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from typing import Any

from noonframe_terminal import words
from noonframe_terminal.contract import Service
from noonframe_terminal.saved import Kind, find_saved
from noonframe_terminal.trouble import Refused, refusal

Find = Callable[[Service, str, str], Awaitable[dict[str, Any]]]
_PAGE = 500  # as many as the contract lists at once
_BEGINS = re.compile(r"[0-9a-f]{4}[0-9a-f-]{0,32}", re.ASCII | re.IGNORECASE)

PRINTS = Kind("print", "/v1/prints", "prints", "noonframe prints")


def living_of(kind: Kind) -> Find:
    """How to find what is listed."""

    async def find(service: Service, wanted: str, called: str) -> dict[str, Any]:
        if kind is PRINTS:
            return await _find(service, kind, wanted, called, retired="no")
        return await find_saved(service, kind, wanted, called)

    return find


def retired_of(kind: Kind) -> Find:
    """How to find what was put away."""

    async def find(service: Service, wanted: str, called: str) -> dict[str, Any]:
        return await _find(service, kind, wanted, called, retired="yes")

    return find


def any_of(kind: Kind) -> Find:
    """How to find what is listed, or else what was put away."""

    async def find(service: Service, wanted: str, called: str) -> dict[str, Any]:
        try:
            return await living_of(kind)(service, wanted, called)
        except Refused as unknown:
            try:
                return await _find(service, kind, wanted, called, retired="yes")
            except Refused as problem:
                raise (problem if len(problem.lines) > 1 else unknown) from None

    return find


async def everything(
    service: Service, kind: Kind, fields: Mapping[str, str]
) -> AsyncIterator[dict[str, Any]]:
    """All records of a kind, newest first, page by page."""
    before: dict[str, str] = {}
    while True:
        asked = {**fields, **before, "limit": str(_PAGE)}
        page = (await service.get(kind.path, asked, {})).says[kind.key]
        for each in page:
            yield each
        if len(page) < _PAGE:
            return
        before = {"before": page[-1]["id"]}


async def _find(service: Service, kind: Kind, wanted: str, called: str, *, retired: str) -> dict[str, Any]:
    typed = wanted.strip()
    all_of_them = [each async for each in everything(service, kind, {"retired": retired})]
    if kind is PRINTS and typed.lower() == "last" and all_of_them:
        return all_of_them[0]
    found = [each for each in all_of_them if each["name"].casefold() == typed.casefold()]
    if not found and _BEGINS.fullmatch(typed):
        found = [each for each in all_of_them if each["id"].startswith(typed.lower())]
    if len(found) == 1:
        return found[0]
    if found:
        lines = [f"{each['id'][:8]}  {each['name']}, {_when(each)}" for each in found]
        raise Refused(f"{called} {wanted}: {len(found)} {kind.word}s are called so: which one?", *lines)
    if retired == "yes":
        raise refusal(
            called, wanted, f"the name or id of a {kind.word} put away ({kind.command} list --retired)"
        )
    raise refusal(called, wanted, f"the name or id of a {kind.word} ({kind.command} list), or last")


def _when(each: Mapping[str, Any]) -> str:
    key = "made" if "made" in each else "saved"
    return f"{key} {here(each[key])}"


def here(moment: str) -> str:
    """Day and time of a moment of the records, by this machine's clock."""
    when = words.moment(moment).astimezone()
    return f"{words.date(when.date())}, {words.clock(when)}"
