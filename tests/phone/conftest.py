"""The page in a real browser, against the real service with a stub provider and one clock for all."""

import asyncio
import json
import os
import re
import shutil
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, TimeoutError, sync_playwright
from weather_rig import NOON_S, Rig, rigged

from noonframe.api.app import create_app

PORTO = {"latitude_deg": 41.1485, "longitude_deg": -8.611}
STRANGE_HOST = "printroom.example"
"""A name of this machine that is no secure address."""

NEEDED = (
    "the phone page is tested in a real browser: install Chromium (apt-get install chromium, or"
    " python -m playwright install chromium), or name one in PHONE_BROWSER"
)
_ARGS = [
    *("--headless", "--disable-gpu", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required"),
    f"--host-resolver-rules=MAP {STRANGE_HOST} 127.0.0.1",
]
_NAMED = {
    *("button", "link", "textbox", "searchbox", "combobox", "checkbox", "radio", "slider", "spinbutton"),
    *("switch", "tab", "dialog", "image", "img", "heading", "navigation", "InputTime", "Date", "table"),
}
_KNOWN_NOISE = re.compile(r"Failed to load resource: (net::ERR_|the server responded with a status of 4)")
_MOMENT_MS = 60
_AHEAD_S = 10.0
_WAITING = """() => new Promise((tell) => {
  const open = indexedDB.open("noonframe");
  open.onerror = () => tell(0);
  open.onsuccess = () => {
    const count = open.result.transaction("outbox").objectStore("outbox").count();
    count.onsuccess = () => { open.result.close(); tell(count.result); };
  };
})"""


def browser_path() -> str:
    """A browser on this machine; a test run without one fails, and says what to do."""
    given = os.environ.get("PHONE_BROWSER")
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
    found = [given] if given else [path for path in map(shutil.which, names) if path]
    if found:
        return found[0]
    with sync_playwright() as playwright:
        own = playwright.chromium.executable_path
    if not Path(own).exists():
        pytest.fail(NEEDED, pytrace=False)
    return own


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    # For a module only: while it is open it keeps an event loop in this thread, which other tests need free.
    path = browser_path()
    root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=[*_ARGS, *root])
        yield opened
        opened.close()


class _Server(uvicorn.Server):
    """Tells when it listens, and lets streams go before it waits for them."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.ready = threading.Event()

    async def startup(self, sockets: Any = None) -> None:
        await super().startup(sockets)
        self.ready.set()

    async def shutdown(self, sockets: Any = None) -> None:
        await self.config.app.state.watcher.stop()
        await super().shutdown(sockets)


class Service:
    """The service on a port of its own, that can be stopped and started anew."""

    def __init__(self, rig: Rig, **settings: Any) -> None:
        self.rig, self.settings = rig, {"hosts": (STRANGE_HOST,), **settings}
        self.port = 0
        self.start()

    def start(self) -> None:
        """Serve, on the same port as before when there was one."""
        app = create_app(self.rig.settings("open-meteo", **self.settings), clock=self.rig.clock)
        config = uvicorn.Config(
            app,
            host="127.0.0.1",
            port=self.port,
            log_level="error",
            access_log=False,
            ws="none",
            timeout_graceful_shutdown=3,
        )
        self._server = _Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()
        assert self._server.ready.wait(30), "the service did not start"
        self.port = self._server.servers[0].sockets[0].getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        for path in ("exposure", "outlook"):  # the first forecast is worked out before anybody waits for it
            self.post(f"v1/{path}", PORTO)

    def stop(self) -> None:
        """End every stream and close the records."""
        self._server.should_exit = True
        self._thread.join(30)

    def make_key(self) -> str:
        """A key, as whoever owns the records makes one; from then on everybody needs one."""
        settings = self.rig.settings("open-meteo", **self.settings)
        owner = create_app(settings, clock=self.rig.clock, operator=True)

        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(app=owner)
            async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
                return await client.post("/v1/keys", json={"name": "yard phone"})

        with ThreadPoolExecutor(1) as pool:  # this thread's loop is the browser's
            answer = pool.submit(asyncio.run, ask()).result()
        owner.state.records.close()
        assert answer.status_code == 201, answer.text
        key: str = answer.json()["key"]
        return key

    def get(self, path: str, **fields: Any) -> Any:
        """The JSON of a GET."""
        answer = httpx.get(f"{self.url}/{path}", params=fields, timeout=60, trust_env=False)
        answer.raise_for_status()
        return answer.json()

    def post(self, path: str, body: Any) -> Any:
        """The JSON of a POST."""
        answer = httpx.post(f"{self.url}/{path}", json=body, timeout=60, trust_env=False)
        answer.raise_for_status()
        return answer.json()


class Phone:
    """One phone: a page with its own memory, and a thumb whose taps are counted."""

    def __init__(self, room: "Room", context: Any, page: Page, shots: Path) -> None:
        self.room, self.context, self.page, self.shots = room, context, page, shots
        self.taps = 0
        self.noise: list[str] = []
        self._expected: list[str] = []
        page.set_default_timeout(15000)
        page.on("pageerror", lambda error: self.noise.append(f"error: {error}"))
        page.on("console", self._heard)

    def _heard(self, message: Any) -> None:
        if message.type in ("error", "warning") and not _KNOWN_NOISE.match(message.text):
            self.noise.append(f"{message.type}: {message.text}")

    def expect_noise(self, *parts: str) -> None:
        """Complaints of the browser that a test means to cause."""
        self._expected += parts

    def check_quiet(self) -> None:
        """Nothing was complained of."""
        left = [one for one in self.noise if not any(part in one for part in self._expected)]
        assert not left, "\n".join(left)

    def open(self, address: str = "", host: str | None = None) -> "Phone":
        """Open the page, and wait until it can be used."""
        base = self.room.service.url if host is None else f"http://{host}:{self.room.service.port}"
        clock = self.room.rig.clock
        # a browser's clock runs from when it is installed, and can be stopped only ahead
        self.page.clock.install(time=clock.now_s - _AHEAD_S)
        self.page.clock.pause_at(clock.now_s)
        self.page.goto(f"{base}/{address}")
        self.usable()
        return self

    def usable(self) -> None:
        """Wait for the first screen."""
        try:
            self.page.wait_for_selector("main h1")
        except TimeoutError as late:
            raise AssertionError("\n".join(["the page did not come up", *self.noise])) from late
        self.wait(_MOMENT_MS / 1000)

    def reload(self) -> None:
        """Load the page again."""
        self.page.reload()
        self.usable()

    def go(self, address: str) -> None:
        """Follow an address within the page, such as `#/frames`."""
        self.page.evaluate("address => { location.hash = address; }", address)
        self.page.wait_for_selector(f"main[data-screen={address.removeprefix('#/').split('/')[0]}] h1")

    def place(self, words: str = "Porto") -> None:
        """Give the place by typing."""
        self.page.fill("#place-name", words)
        self.page.press("#place-name", "Enter")
        self.page.click(".found .choice >> nth=0")
        self.page.wait_for_selector(".chart")
        self.taps = 0

    def tap(self, selector: str) -> None:
        """One tap of the thumb."""
        self.taps += 1
        self.page.click(selector)

    def wait(self, seconds: float, step_s: float = 1000.0) -> None:
        """Let time pass, for the service and the page alike; timers run as they would."""
        while seconds > 0:
            now = min(step_s, seconds)
            self.room.rig.clock.now_s += now
            self.page.clock.run_for(round(now * 1000))
            seconds -= now

    def live(self, seconds: float, step_s: float = 5.0) -> None:
        """The same, with a moment in each step for answers to come."""
        while seconds > 0:
            self.wait(step_s)
            self.page.wait_for_timeout(_MOMENT_MS)
            seconds -= step_s

    def jump(self, seconds: float) -> None:
        """Time passes while the phone sleeps: each timer that is due fires once."""
        self.room.rig.clock.now_s += seconds
        self.page.clock.fast_forward(round(seconds * 1000))

    def text(self, selector: str) -> str:
        """What an element says."""
        return self.page.inner_text(selector)

    def until(self, selector: str, text: str | re.Pattern[str]) -> None:
        """Wait until an element says something."""
        found = self.page.locator(selector)
        matches = text if isinstance(text, re.Pattern) else re.compile(re.escape(text))
        for _ in range(300):
            if found.count() and matches.search(found.first.inner_text()):
                return
            self.page.wait_for_timeout(50)
        said = found.first.inner_text() if found.count() else "(not there)"
        raise AssertionError(f"{selector} says {said!r}, not {matches.pattern!r}")

    def settled(self) -> None:
        """Wait until everything is told to the service, or its silence is known."""
        self.page.wait_for_timeout(300)
        for _ in range(40):
            if not self.page.evaluate(_WAITING):
                break
            self.page.wait_for_timeout(50)
        self.wait(_MOMENT_MS / 1000)

    def look_again(self) -> None:
        """Put the phone away and take it out: the page asks how things stand."""
        self.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        self.settled()

    def offline(self, yes: bool) -> None:
        """Take the network away, or give it back."""
        silent = re.compile("/v1/")  # a page that is just loading may slip past the browser's own switch
        if yes:
            self.context.route(silent, lambda route: route.abort())
        else:
            self.context.unroute(silent)
        self.context.set_offline(yes)

    def start(self) -> None:
        """Put a frame into the light."""
        self.tap("#start")
        self.page.wait_for_selector("main[data-screen=frames] .count-big")
        self.until(".count-big", re.compile(r"\d:\d\d|Not today|In the light"))

    def left_s(self) -> int:
        """The countdown, in seconds."""
        parts = [int(part) for part in self.text(".count-big").split(":")]
        return sum(part * 60**power for power, part in enumerate(reversed(parts)))

    def axe(self) -> None:
        """No fault by the axe rules for WCAG 2.2 AA and their best practices."""
        self.page.clock.resume()  # it waits on timers of the page
        options = {"resultTypes": ["violations"]}
        found = Axe().run(self.page, options=options).response["violations"]
        now_ms = self.page.evaluate("Date.now()") + 1000
        self.page.clock.pause_at(now_ms / 1000)
        self.room.rig.clock.now_s = now_ms / 1000
        told = [
            f"{one['id']}: {one['help']} {json.dumps([n['target'] for n in one['nodes']][:4])}"
            for one in found
        ]
        assert not told, "\n".join(told)

    def nameless(self) -> list[str]:
        """What a screen reader can stop at and has no name for, and pictures without words."""
        session = self.context.new_cdp_session(self.page)
        nodes = session.send("Accessibility.getFullAXTree")["nodes"]
        session.detach()
        told = [
            (node["role"]["value"], node.get("name", {}).get("value", "").strip())
            for node in nodes
            if not node["ignored"] and node.get("role", {}).get("value") in _NAMED
        ]
        assert told, "nothing on this screen can be reached"
        return [role for role, name in told if not name]

    def small_targets(self) -> list[str]:
        """Controls below 44 pixels on either side."""
        return self.page.evaluate(
            """() => [...document.querySelectorAll("button, a[href], input, select, summary")]
              .filter((one) => one.offsetParent !== null && !one.matches(".skip"))
              .map((one) => [one, one.getBoundingClientRect()])
              .filter(([, box]) => box.width > 0 && (box.width < 43.5 || box.height < 43.5))
              .map(([one, box]) =>
                `${one.tagName} ${one.className} ${Math.round(box.width)}x${Math.round(box.height)}`)"""
        )

    def overflow(self) -> int:
        """How many pixels the page is wider than the screen."""
        return self.page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )

    def shot(self, name: str, *, whole: bool = False) -> None:
        """Keep a picture of the screen."""
        self.page.screenshot(path=self.shots / f"{name}.png", full_page=whole)


class Room:
    """A print room: one service, any number of phones."""

    def __init__(self, browser: Browser, rig: Rig, shots: Path, **settings: Any) -> None:
        self.browser, self.rig, self.shots = browser, rig, shots
        self.service = Service(rig, **settings)
        self.phones: list[Phone] = []

    def phone(self, *, width: int = 390, height: int = 844, workers: bool = False, **how: Any) -> Phone:
        """A phone that has not seen the page before; `workers` lets it keep the page for later."""
        context = self.browser.new_context(
            **{
                "viewport": {"width": width, "height": height},
                "locale": "en-GB",
                "timezone_id": "Europe/Lisbon",
                "has_touch": True,
                "reduced_motion": "reduce",
                "service_workers": "allow" if workers else "block",
                **how,
            }
        )
        if not workers:
            context.add_init_script("delete Navigator.prototype.serviceWorker")
        made = Phone(self, context, context.new_page(), self.shots)
        self.phones.append(made)
        return made

    def close(self) -> None:
        """Put the phones away and stop the service."""
        for phone in self.phones:
            phone.context.set_offline(False)
            phone.context.close()
        self.service.stop()

    def check_quiet(self) -> None:
        """No phone complained of anything."""
        for phone in self.phones:
            phone.check_quiet()


@pytest.fixture
def shots(tmp_path: Path) -> Path:
    """Where pictures are kept: PHONE_SHOTS, or the test's own folder."""
    folder = Path(os.environ.get("PHONE_SHOTS") or tmp_path / "shots")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@contextmanager
def opened_room(browser: Browser, folder: Path, shots: Path, **how: Any) -> Iterator[Room]:
    """A room whose service stops when the block is left."""
    with rigged(folder, **how) as rig:
        room = Room(browser, rig, shots)
        try:
            yield room
        finally:
            room.close()


@pytest.fixture
def room(browser: Browser, tmp_path: Path, shots: Path) -> Iterator[Room]:
    """A print room in Porto at midsummer noon, under a clear sky."""
    with opened_room(browser, tmp_path, shots, now_s=NOON_S) as made:
        yield made
        made.check_quiet()


@pytest.fixture
def rooms(browser: Browser, tmp_path: Path, shots: Path) -> Iterator[Callable[..., Room]]:
    """Makes print rooms at other times, or under other skies."""
    with ExitStack() as stack:
        made: list[Room] = []

        def make(**how: Any) -> Room:
            made.append(stack.enter_context(opened_room(browser, tmp_path / str(len(made)), shots, **how)))
            return made[-1]

        yield make
        for one in made:
            one.check_quiet()


@pytest.fixture
def phone(room: Room) -> Phone:
    """A phone with the page open and the place given."""
    made = room.phone().open()
    made.place()
    return made
