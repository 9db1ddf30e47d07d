"""The first view is light and soon of use, by the browser's own account on a processor slowed four times."""

import json

import pytest

FIRST_VIEW_BYTES = 100 * 1024
USABLE_MS = 1000.0
SLOWED = 4
BLOCKED_MS, MOST_SHIFT = 200.0, 0.1  # "good", web.dev: Total Blocking Time; Cumulative Layout Shift


@pytest.fixture
def measured(room):
    """A first visit with everything on the wire counted."""
    context = room.browser.new_context(
        viewport={"width": 390, "height": 844}, service_workers="block", locale="en-GB"
    )
    context.add_init_script("delete Navigator.prototype.serviceWorker")
    context.add_init_script(_WATCH)
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    session.send("Performance.enable")
    arrived, kinds = {}, {}
    session.on(
        "Network.responseReceived", lambda event: kinds.update({event["requestId"]: event["response"]["url"]})
    )
    session.on(
        "Network.loadingFinished",
        lambda event: arrived.update({event["requestId"]: event["encodedDataLength"]}),
    )
    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
    page.goto(f"{room.service.url}/")
    page.wait_for_selector("#place-name")
    page.wait_for_function("performance.getEntriesByName('usable').length > 0")
    yield page, session, {kinds[one]: size for one, size in arrived.items() if one in kinds}
    context.close()


def test_a_first_view_comes_in_under_a_hundred_kilobytes(measured):
    _, _, sizes = measured
    total = sum(size for url, size in sizes.items() if "/v1/" not in url)
    assert 10_000 < total < FIRST_VIEW_BYTES, json.dumps(sizes, indent=1)


_WATCH = """
  window.seen = { shift: 0, largest: 0, long: [] };
  const watch = (type, note) => {
    new PerformanceObserver((list) => list.getEntries().forEach(note)).observe({ type, buffered: true });
  };
  watch("layout-shift", (one) => { if (!one.hadRecentInput) window.seen.shift += one.value; });
  watch("largest-contentful-paint", (one) => { window.seen.largest = one.startTime; });
  watch("longtask", (one) => window.seen.long.push([one.startTime, one.duration]));
"""


def blocked_ms(tasks, from_ms):
    """What tasks after the first paint take beyond 50 ms each, as total blocking time is counted."""
    return sum(length - 50.0 for begin, length in tasks if begin + length > from_ms)


@pytest.mark.bench
def test_a_first_view_is_of_use_within_a_second_on_a_slow_phone(measured, record_property):
    page, session, sizes = measured
    page.wait_for_timeout(500)
    usable = page.evaluate("performance.getEntriesByName('usable')[0].startTime")
    paint = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    seen = page.evaluate("window.seen")
    spent = {one["name"]: one["value"] for one in session.send("Performance.getMetrics")["metrics"]}
    blocked = blocked_ms(seen["long"], paint)
    record_property("usable_ms", usable)
    print(f"\nusable {usable:.0f} ms, first paint {paint:.0f} ms, largest paint {seen['largest']:.0f} ms,")
    print(
        f"blocked {blocked:.0f} ms, shift {seen['shift']:.3f},"
        f" {sum(sizes.values())} bytes in {len(sizes)} files,"
    )
    print(f"script {1000 * spent['ScriptDuration']:.0f} ms, layout {1000 * spent['LayoutDuration']:.0f} ms")
    assert usable < USABLE_MS
    assert seen["largest"] < USABLE_MS
    assert blocked < BLOCKED_MS
    assert seen["shift"] < MOST_SHIFT
