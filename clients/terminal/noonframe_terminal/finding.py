"""Which run is meant: by its id, by how that begins, or as the last one."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from noonframe_terminal import words
from noonframe_terminal.contract import Service
from noonframe_terminal.trouble import Refused, refusal

SHOWN = 8
_SHORTEST = 4
_MOST = "200"  # as many as the contract lists at once
_WHOLE = 32
_UNDER_WAY = ("running", "covered")
_LIMIT = f"last, or an id of {_SHORTEST} or more of its characters (noonframe run list)"


def short(run_id: str) -> str:
    """An id as it is shown: its beginning."""
    return run_id[:SHOWN]


def title(run: Mapping[str, Any]) -> str:
    """A run by its name and id."""
    return f"{run['name'] or 'The print'} ({short(run['id'])})"


async def find_run(service: Service, wanted: str | None, *, alone: bool = False, kept: bool = False) -> str:
    """The whole id of the run that `wanted` means.

    Without a word for it, the newest under way is meant, else the newest; with `alone` it must be the only
    one under way, because what is told of the wrong one is hard to take back.  With `kept`, runs that were
    thrown away are passed over: their sheets were never judged.
    """
    if wanted is None or wanted.strip().lower() == "last":
        runs = await _runs(service)
        if not runs:
            raise Refused("no run has been started yet: noonframe run start")
        if kept:
            runs = [run for run in runs if run["status"] != "discarded"]
            if not runs:
                raise Refused("every run was discarded; name the one that is meant by its id")
        if wanted is not None:
            return str(runs[0]["id"])
        under_way = [run for run in runs if run["status"] in _UNDER_WAY]
        if alone and not under_way:
            raise Refused("no run is under way; name an ended one by its id, or last", *_lines(runs[:3]))
        if alone and len(under_way) > 1:
            raise Refused(f"{len(under_way)} runs are under way: which one?", *_lines(under_way))
        return str((under_way or runs)[0]["id"])
    begins = re.sub(r"[-\s]", "", wanted).lower()
    if not re.fullmatch(rf"[0-9a-f]{{{_SHORTEST},{_WHOLE}}}", begins, re.ASCII):
        raise refusal("ID", wanted, _LIMIT)
    if len(begins) == _WHOLE:
        return "-".join((begins[:8], begins[8:12], begins[12:16], begins[16:20], begins[20:]))
    found = [run for run in await _runs(service) if run["id"].replace("-", "").startswith(begins)]
    if not found:
        raise Refused(f"no run begins with {wanted}: noonframe run list shows them")
    if len(found) > 1:
        raise Refused(f"{len(found)} runs begin with {wanted}: which one?", *_lines(found, whole=True))
    return str(found[0]["id"])


async def _runs(service: Service) -> Sequence[Mapping[str, Any]]:
    runs: Sequence[Mapping[str, Any]] = (await service.get("/v1/runs", {"limit": _MOST}, {})).says["runs"]
    return runs


def _lines(runs: Sequence[Mapping[str, Any]], *, whole: bool = False) -> list[str]:
    """One line for each run; with `whole` as much of each id as tells them apart."""
    length = SHOWN
    if whole:
        ids = [run["id"] for run in runs]
        while length < len(ids[0]) and len({one[:length] for one in ids}) < len(ids):
            length += 1
    return [
        f"{run['id'][:length]}  {run['name'] or 'no name'}, {run['status']}, {begun(run)}" for run in runs
    ]


def begun(run: Mapping[str, Any]) -> str:
    """When a run of a list was started."""
    when = words.moment(run["created"])
    return f"{words.date(when.date())}, {words.clock(when)}"
