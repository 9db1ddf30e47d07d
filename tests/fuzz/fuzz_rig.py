"""What the fuzzing shares: the service in process, cases drawn from its own document, and what is wrong.

Cases come from the OpenAPI document by schemathesis.  Drawn freely, few of them get past the first check, so
most are grafted: some fields of a drawn request on the request that the document shows as an example.  Ids in
paths and fields are now and then those of records that were made before, with the version they are at, so
that a run of cases has a history.
"""

import asyncio
import gzip
import io
import json
import time
import warnings
from collections import Counter, defaultdict, deque
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any
from urllib.parse import unquote_to_bytes, urlsplit

import requests
import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import run_state_machine_as_test
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.transport import Response
from schemathesis.generation.stateful.state_machine import StepOutput
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from noonframe.api.app import create_app
from noonframe.settings import Settings

NOON_S = 1_782_046_800.0  # 2026-06-21, 13:00 UTC
PROBLEM = "application/problem+json"
LIMITS = {"max_light_steps": 400, "max_span_days": 40}  # so that a long run ends
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
COSTLY = (
    "/v1/session",
    "/v1/moves",
    "/v1/say/next-move",
    "/v1/year",
    "/v1/month",
    "/v1/sessions/{session_id}/",
)
STREAM = "/v1/runs/{run_id}/stream"
SHELVES = {
    # what a path or a field calls the id -> the address where such records are made
    **{"run_id": "/v1/runs", "run": "/v1/runs", "print_id": "/v1/prints"},
    **{"recipe_id": "/v1/recipes", "recipe": "/v1/recipes", "feed_id": "/v1/feeds", "key_id": "/v1/keys"},
    **{"lamp_id": "/v1/lamps", "lamp": "/v1/lamps", "spot_id": "/v1/spots", "saved_spot": "/v1/spots"},
    **{"place_id": "/v1/saved-places", "saved_place": "/v1/saved-places"},
    **{"session_id": "/v1/sessions", "session": "/v1/sessions"},
    **{"film_printer_id": "/v1/film-printers", "film_printer": "/v1/film-printers", "token": "/v1/feeds"},
    "evidence_id": "/v1/recipes/{recipe_id}/evidence",
}


@dataclass
class Findings:
    """What was asked, what came back, and each different thing that was wrong with one example of it."""

    cases: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    answered: Counter[str] = field(default_factory=Counter)
    wrong: dict[tuple[str, str], str] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    slowest: dict[str, tuple[float, str]] = field(default_factory=dict)

    def report(self) -> str:
        """All of it in lines."""
        lines = [f"{self.cases} cases", "statuses " + str(dict(sorted(self.statuses.items())))]
        never = sorted(name for name in self.seconds if not self.answered[name])
        lines.append(f"never answered with success: {', '.join(never) or 'none'}")
        for (where, kind), what in sorted(self.wrong.items()):
            lines.append(f"--- {where}: {kind}\n{what}")
        return "\n".join(lines)


class Service:
    """The app in process, in one loop for all requests."""

    def __init__(self, folder: Path, **more: Any) -> None:
        self.app = create_app(
            Settings(state_dir=folder, **{**LIMITS, **more}), clock=lambda: NOON_S, operator=True
        )
        self.loop = asyncio.Runner()
        self.file = folder / "noonframe.db"
        self._empty: bytes | None = None

    def send(self, prepared: requests.PreparedRequest) -> Response:
        """The answer; of an answer that goes on, the first part."""
        return self.loop.run(self._send(prepared))

    async def _send(self, prepared: requests.PreparedRequest) -> Response:
        body = prepared.body or b""
        if isinstance(body, str):
            body = body.encode()
        url = urlsplit(str(prepared.url))
        headers = [(b"host", b"localhost")]
        headers += [(_bytes(name).lower(), _bytes(value)) for name, value in prepared.headers.items()]
        scope = {
            **{"type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "scheme": "http"},
            **{"method": prepared.method, "path": _unquoted(url.path), "raw_path": url.path.encode()},
            **{"query_string": url.query.encode(), "root_path": "", "headers": headers},
            **{"client": ("127.0.0.1", 50000), "server": ("127.0.0.1", 80)},
        }
        sent: list[Any] = []
        gone = asyncio.Event()
        unread = [{"type": "http.request", "body": body, "more_body": False}]

        async def receive() -> Any:
            if unread:
                return unread.pop()
            await gone.wait()
            return {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            sent.append(message)
            if message["type"] == "http.response.body" and message.get("more_body") and _goes_on(sent[0]):
                gone.set()

        began = time.perf_counter()
        try:
            await self.app(scope, receive, send)  # type: ignore[arg-type]
        except Exception:
            if not sent:
                raise
        told: dict[str, list[str]] = defaultdict(list)
        for name, value in sent[0].get("headers", ()):
            told[name.decode("latin-1")].append(value.decode("latin-1"))
        content = b"".join(message.get("body", b"") for message in sent[1:])
        took = time.perf_counter() - began
        if told.get("content-encoding") == ["gzip"]:
            content = gzip.decompress(content)
        return Response(sent[0]["status"], told, content, prepared, took, verify=False, encoding="utf-8")

    def forget(self) -> None:
        """Begin again with empty records."""
        if self._empty is None:
            self.app.state.records.house()
            self.app.state.records.close()
            self._empty = self.file.read_bytes()
        self.app.state.records.close()
        for left in self.file.parent.glob(self.file.name + "*"):
            left.unlink()
        self.file.write_bytes(self._empty)

    def close(self) -> None:
        """Let go of the records."""
        self.app.state.records.close()
        self.loop.close()


def _goes_on(start: Mapping[str, Any]) -> bool:
    return any(name == b"content-type" and b"event-stream" in value for name, value in start["headers"])


def _bytes(text: str | bytes) -> bytes:
    return text if isinstance(text, bytes) else text.encode("latin-1", "replace")


def _unquoted(path: str) -> str:
    return unquote_to_bytes(path).decode("utf-8", "replace")


@contextmanager
def serving(folder: Path, **more: Any) -> Iterator[Service]:
    """The service until the block is left."""
    service = Service(folder, **more)
    try:
        yield service
    finally:
        service.close()


class Fuzzer:
    """Draws cases for every operation of a service, sends them and collects what is wrong."""

    def __init__(self, service: Service) -> None:
        self.service = service
        self.document = with_links(json.loads(json.dumps(service.app.openapi())))
        self.schema = schemathesis.openapi.from_dict(self.document)
        self.findings = Findings()
        self.made: dict[str, deque[str]] = defaultdict(lambda: deque(maxlen=8))
        self.versions: dict[str, str] = {}
        self.exported = b""
        self.operations = [result.ok() for result in self.schema.get_all_operations()]

    def run(self, cases: int, first_seed: int, costly_share: float = 1.0) -> Findings:
        """Send about so many cases, what makes records first; costly operations get a share of theirs."""
        turns = sorted(self.operations, key=lambda one: (one.method != "post", one.path.count("/")))
        each = max(2, cases // len(turns))
        rounds = max(1, min(6, each // 4))  # what was made in one round is changed and retired in the next
        for turn in range(rounds):
            for number, operation in enumerate(turns):
                count = max(1, each // rounds)
                if operation.path.startswith(COSTLY):
                    count = max(1, round(count * costly_share))
                self._drive(operation, count, first_seed + 1000 * turn + number)
        return self.findings

    def _drive(self, operation: Any, count: int, seeded: int) -> None:
        positive = operation.as_strategy(GenerationMode.POSITIVE)
        try:
            negative = operation.as_strategy(GenerationMode.NEGATIVE)
            negative.validate()
        except Exception:  # nothing of this operation could be drawn wrong
            negative = positive

        @seed(seeded)
        @settings(
            max_examples=count,
            database=None,
            deadline=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(
            st.integers(0, 9).flatmap(lambda n: st.tuples(st.just(n), negative if n >= 8 else positive)),
            st.randoms(use_true_random=False),
        )
        def drive(drawn: tuple[int, Any], dice: Random) -> None:
            turn, case = drawn
            self.one(case, graft=turn not in (7, 9), wrong=turn >= 8, dice=Random(dice.getrandbits(64)))

        drive()

    def run_histories(self, histories: int, steps: int, seeded: int) -> Findings:
        """Chains of requests along the links of the document: made, changed, put away, asked for again."""
        fuzzer = self
        machine = self.schema.as_state_machine()

        class Histories(machine):  # type: ignore[misc, valid-type]
            def setup(self) -> None:
                fuzzer.service.forget()  # a history is the same whenever it is drawn again
                fuzzer.versions.clear()
                self.steps = 0

            def step(self, input: Any) -> StepOutput:
                case = input.case
                self.steps += 1
                dice = Random(f"{seeded} {self.steps} {case.operation.label}")
                answer = fuzzer.one(case, graft=True, wrong=False, dice=dice, records=False)
                if answer is None:
                    answer = fuzzer.service.send(
                        requests.Request("GET", "http://localhost/healthz").prepare()
                    )
                return StepOutput(answer, case)

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of steps that lead nowhere
            run_state_machine_as_test(
                seed(seeded)(Histories),
                settings=settings(
                    max_examples=histories,
                    stateful_step_count=steps,
                    database=None,
                    deadline=None,
                    phases=[Phase.generate],
                    suppress_health_check=list(HealthCheck),
                ),
            )
        return self.findings

    def one(
        self, case: Any, *, graft: bool, wrong: bool, dice: Random, records: bool = True
    ) -> Response | None:
        """Send one case and judge the answer."""
        path, where = case.operation.path, f"{case.method.upper()} {case.operation.path}"
        if graft:
            self._graft(case, dice)
        if records:
            self._use_records(case, dice)
        if dice.random() < 0.15:
            name, values = dice.choice(list(ODD_HEADERS.items()))
            case.headers = {**dict(case.headers or {}), name: dice.choice(values)}
        if path == "/v1/import" and self.exported and dice.random() < 0.8:
            case.body = some_of(json.loads(self.exported), case.body, dice, 1)
        try:
            prepared = self._prepare(case, dice, graft)
        except (UnicodeError, ValueError, requests.RequestException):
            return None  # what no client could send
        answer = self.service.send(prepared)
        findings = self.findings
        findings.cases += 1
        findings.statuses[answer.status_code] += 1
        findings.answered[where] += answer.status_code < 400
        findings.seconds[where] += answer.elapsed
        told = f"{prepared.method} {prepared.url} {dict(prepared.headers)} {prepared.body!r:.3000}"
        if answer.elapsed > findings.slowest.get(where, (0.0, ""))[0]:
            findings.slowest[where] = (answer.elapsed, told)
        checks = (
            [*CHECKS, negative_data_rejection] if wrong and not graft and answer.status_code < 400 else CHECKS
        )
        for check in checks:
            try:
                case.validate_response(answer, checks=[check])
            except AssertionError as failure:
                self._note(where, check.__name__, told, answer, str(failure))
            except BaseExceptionGroup as failures:
                self._note(where, check.__name__, told, answer, str(failures.exceptions[0]))
        why = not_a_problem(answer)
        if why:
            self._note(where, "problem document", told, answer, why)
        self._remember(path, case, answer)
        if path == "/v1/export" and answer.status_code == 200:
            self.exported = answer.content
        return answer

    def _note(self, where: str, kind: str, told: str, answer: Response, why: str) -> None:
        text = f"{why[:900]}\n  asked: {told[:3000]}\n  answer {answer.status_code}: {answer.content[:600]!r}"
        self.findings.wrong.setdefault((where, f"{kind} {answer.status_code}"), text)

    def _graft(self, case: Any, dice: Random) -> None:
        shown = self.document["paths"][case.operation.path][case.operation.method]
        example = {p["name"]: p["example"] for p in shown.get("parameters", ()) if "example" in p}
        inside = {p["name"] for p in shown.get("parameters", ()) if p["in"] == "query"}
        query = {name: value for name, value in example.items() if name in inside}
        if inside or query:
            case.query = some_of(query, dict(case.query or {}), dice)
        content = shown.get("requestBody", {}).get("content", {})
        json_example = content.get("application/json", {}).get("example")
        if json_example is not None and isinstance(case.body, dict):
            case.body = some_of(json_example, case.body, dice)

    def _use_records(self, case: Any, dice: Random) -> None:
        for container in (case.path_parameters, case.query, case.body):
            if not isinstance(container, dict):
                continue
            needed = container is case.path_parameters
            for name in list(container):
                made = self.made.get(SHELVES.get(name, ""))
                if name == "token":
                    made = self.made.get("token")
                if made and dice.random() < (0.85 if needed else 0.5):
                    container[name] = dice.choice(list(made))
        for name in list(case.path_parameters or ()):
            known = self.versions.get(str(case.path_parameters[name]))
            if known is not None and dice.random() < 0.8:
                case.headers = {**dict(case.headers or {}), "If-Match": known}

    def _prepare(self, case: Any, dice: Random, graft: bool) -> requests.PreparedRequest:
        if graft and case.operation.path.startswith("/v1/negative") and case.method.upper() == "POST":
            body = case.body if isinstance(case.body, dict) else {}
            if "multipart/form-data" in self._media(case):
                preview = case.operation.path.endswith("preview")
                example: dict[str, Any] = {"longest_px": 100} if preview else {"page": "a4", "dpi": 36}
                given = body.get("settings")
                chosen = some_of(example, given, dice) if isinstance(given, dict) else example
                files: list[Any] = [("picture", ("sheet", picture(dice), "image/png"))]
                if dice.random() < (0.1 if case.operation.path.endswith("look") else 0.9):
                    files.append(("settings", (None, json.dumps(chosen), "application/json")))
                headers = dict(case.headers or {})
                if dice.random() < 0.5:
                    kind = dice.choice(self._answers(case))
                    headers["Accept"] = kind
                url = "http://localhost" + case.operation.path
                return requests.Request("POST", url, headers=headers, files=files).prepare()
        keywords = case.as_transport_kwargs(base_url="http://localhost")
        return requests.Request(**{k: v for k, v in keywords.items() if k in REQUEST_FIELDS}).prepare()

    def _media(self, case: Any) -> list[str]:
        shown = self.document["paths"][case.operation.path][case.operation.method]
        return list(shown.get("requestBody", {}).get("content", {}))

    def _answers(self, case: Any) -> list[str]:
        shown = self.document["paths"][case.operation.path][case.operation.method]
        return list(shown["responses"]["200"].get("content", {}))

    def _remember(self, path: str, case: Any, answer: Response) -> None:
        if answer.status_code >= 300 or answer.headers.get("content-type", [""])[0] != "application/json":
            return
        body = json.loads(answer.content)
        if not isinstance(body, dict):
            return
        tag = answer.headers.get("etag")
        one = body.get("id")
        if isinstance(one, str):
            if tag:
                self.versions[one] = tag[0]
            if answer.status_code == 201:
                self.made[path].append(one)
        if answer.status_code == 201:
            for name in ("evidence", "event"):
                if isinstance(body.get(name), dict) and isinstance(body[name].get("id"), str):
                    self.made[path].append(body[name]["id"])
            if path == "/v1/feeds":
                self.made["token"].append(body["path"].rpartition("/")[2].removesuffix(".ics"))


ODD_HEADERS = {
    "Accept": ["application/json", "text/plain", "text/event-stream", "image/png", "*/*;q=0", "nonsense", ""],
    "Idempotency-Key": ['"one"', "one", '"two"', "", "x" * 300],
    "Last-Event-ID": ["0", "1", "999999", "-1", "x"],
    "If-Match": ['"1"', '"2"', "*", "1", 'W/"1"', "", '"' + "9" * 40 + '"'],
    "If-None-Match": ["*", '"x"', "x"],
    "Content-Type": ["text/plain", "application/json", "application/json; charset=utf-16", ""],
    "Content-Encoding": ["gzip"],
    "Origin": ["http://localhost", "null", "https://elsewhere.example"],
    "X-Request-ID": ["abc", "a b", "x" * 200],
}

REQUEST_FIELDS = {"method", "url", "headers", "files", "data", "params", "auth", "cookies", "json"}


def some_of(example: Any, drawn: Any, dice: Random, most: int = 3) -> Any:
    """The example with up to so many fields of what was drawn; deeper fields in turn."""
    if not isinstance(example, dict) or not isinstance(drawn, dict):
        return drawn
    grafted = dict(example)
    names = list(drawn)
    dice.shuffle(names)
    for name in names[: dice.randint(0, most)]:
        mine, new = grafted.get(name), drawn[name]
        if isinstance(mine, dict) and isinstance(new, dict) and dice.random() < 0.6:
            grafted[name] = some_of(mine, new, dice, most)
        elif isinstance(mine, list) and isinstance(new, list) and mine and new and dice.random() < 0.6:
            grafted[name] = [some_of(mine[0], new[0], dice, most), *mine[1:]]
        else:
            grafted[name] = new
    if grafted and dice.random() < 0.1:
        del grafted[dice.choice(list(grafted))]
    return grafted


def with_links(document: dict[str, Any]) -> dict[str, Any]:
    """The document with links (OpenAPI 3.1, 4.8.20) from where a record is made to what is done with it."""
    for path, methods in document["paths"].items():
        made = methods.get("post", {}).get("responses", {}).get("201")
        if made is None:
            continue
        links = made.setdefault("links", {})
        for other, operations in document["paths"].items():
            if not other.startswith(path + "/{") and other != "/v1/calendars/{token}.ics":
                continue
            for operation in operations.values():
                named = {p["name"] for p in operation.get("parameters", ()) if p["in"] == "path"}
                if len(named) != 1 or ("token" in named) != (path == "/v1/feeds" and "{token}" in other):
                    continue
                parameters = {f"path.{name}": "$response.body#/id" for name in named if name != "token"}
                if any(p["name"] == "If-Match" for p in operation["parameters"]):
                    parameters["header.If-Match"] = "$response.header.ETag"
                if parameters:
                    links[operation["operationId"]] = {
                        "operationId": operation["operationId"],
                        "parameters": parameters,
                    }
    return document


def picture(dice: Random) -> bytes:
    """A small picture of some kind, whole or not quite."""
    from PIL import Image

    kind = dice.choice(("PNG", "JPEG", "TIFF", "WEBP"))
    mode = dice.choice(("L", "RGB") if kind in ("JPEG", "WEBP") else ("L", "RGB", "RGBA", "I;16", "1", "P"))
    if kind == "TIFF" and mode == "P":
        mode = "L"
    image = Image.new(mode, (dice.randint(1, 40), dice.randint(1, 40)), dice.randint(0, 1))
    held = io.BytesIO()
    image.save(held, kind)
    data = bytearray(held.getvalue())
    spoilt = dice.random()
    if spoilt < 0.15:
        del data[dice.randrange(len(data)) :]
    elif spoilt < 0.4:
        for _ in range(dice.randint(1, 6)):
            data[dice.randrange(len(data))] = dice.randrange(256)
    return bytes(data)


def not_a_problem(answer: Response) -> str | None:
    """What an error lacks of a problem document (RFC 9457); None when it is one, or no error."""
    if answer.status_code < 400:
        return None
    if answer.headers.get("content-type") != [PROBLEM]:
        return f"content type {answer.headers.get('content-type')}"
    body = json.loads(answer.content)
    if body["status"] != answer.status_code or not body["type"] or not body["title"] or not body["detail"]:
        return "type, title, status or detail is missing"
    named = body["errors"] or answer.status_code not in (422, 404, 409, 412, 415)
    if not named or any(not error["limit"] for error in body["errors"]):
        return "no error is named, or not with its limit"
    return "too long" if len(answer.content) > 20_000 else None
