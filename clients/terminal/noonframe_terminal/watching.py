"""A run as it goes on: by a stream where there is one, else by asking time and again."""

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator, Mapping
from dataclasses import dataclass
from typing import Any

from noonframe_terminal.contract import Service
from noonframe_terminal.trouble import Failed

ENDED = ("finished", "discarded")
_ASK_EVERY_S = 2.0
_LONGEST_WAIT_S = 10.0


@dataclass(frozen=True)
class State:
    """The run now, as it came and as it says."""

    text: str
    says: Mapping[str, Any]


@dataclass(frozen=True)
class Event:
    """Something was told of the run."""

    says: Mapping[str, Any]


@dataclass(frozen=True)
class Away:
    """The service cannot be reached; it is tried again."""

    why: str


Update = State | Event | Away


async def follow(service: Service, run_id: str) -> AsyncGenerator[Update, None]:
    """Everything told of a run and its states, until it has ended.

    Raises `Failed` when the service is away at once; once it was there it is waited for, and what was told
    meanwhile is made up for.
    """
    known, tries, was_there = "", 0, False
    while True:
        source = (_stream if service.streams else _ask)(service, run_id, known)
        try:
            async for update, last_id in source:
                was_there, tries, known = True, 0, last_id
                yield update
                if isinstance(update, State) and update.says["status"] in ENDED:
                    return
            why = "the service ended the stream"
        except Failed as trouble:
            if not was_there:
                raise
            why = trouble.lines[0]
        yield Away(why)
        await asyncio.sleep(min(2.0**tries, _LONGEST_WAIT_S))
        tries += 1


async def _stream(service: Service, run_id: str, known: str) -> AsyncIterator[tuple[Update, str]]:
    async for message in service.stream(f"/v1/runs/{run_id}/stream", known):
        if message.kind == "told":
            yield Event(message.says), message.id
        elif message.kind == "state":
            yield State(message.text, message.says), message.id


async def _ask(service: Service, run_id: str, known: str) -> AsyncIterator[tuple[Update, str]]:
    path = f"/v1/runs/{run_id}"
    while True:
        state = await service.get(path, {}, {})
        if state.says["last_sequence"] > int(known or 0):
            told = await service.get(f"{path}/events", {"after": known or "0"}, {})
            for event in told.says["events"]:
                known = str(event["sequence"])
                yield Event(event), known
        yield State(state.text, state.says), known
        await asyncio.sleep(_ASK_EVERY_S)
