"""How the page looks, and that everybody can use it: sizes, themes, rules, zones and addresses."""

import datetime as dt
import re

import pytest
from phone.looks import looked_at

AUTUMN_S = dt.datetime(
    2026, 10, 25, 0, 30, tzinfo=dt.UTC
).timestamp()  # half past one, for the first time, in Porto


def test_every_screen_keeps_the_rules_at_every_size_in_both_lights(room):
    phone = room.phone().open()
    looked_at(phone, "place")
    phone.place()
    looked_at(phone, "now")
    for picker in ("sky", "spot", "recipe"):
        phone.tap(f"#pick-{picker}")
        phone.page.wait_for_selector("dialog .choices button")
        looked_at(phone, picker)
        phone.page.keyboard.press("Escape")
    phone.go("#/frames")
    looked_at(phone, "frames-none")
    phone.go("#/now")
    phone.page.wait_for_selector(".chart")
    phone.start()
    phone.settled()
    looked_at(phone, "frame")
    phone.wait(240, 60)
    phone.tap("[data-sky=broken]")
    phone.settled()
    looked_at(phone, "frame-later", whole=True)
    phone.go("#/page")
    looked_at(phone, "page")


def test_the_colours_of_the_paper_can_be_read_at_every_share_of_the_dose(phone):
    phone.start()
    for step in range(21):
        phone.page.evaluate("step => { document.querySelector('.paper').dataset.tone = step; }", str(step))
        colours = phone.page.evaluate(
            """() => { const style = getComputedStyle(document.querySelector(".paper"));
            return [style.backgroundColor, style.color].map((one) => one.match(/\\d+/g).map(Number)); }"""
        )
        assert contrast(*colours) >= 4.5, step  # WCAG 2.2, 1.4.3


def contrast(one, other):
    """Contrast of two colours by WCAG 2.2's relative luminance."""

    def luminance(rgb):
        shares = [value / 255 for value in rgb]
        red, green, blue = (s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_dim_room_shows_nothing_but_red(phone):
    phone.tap("#bar button.round")
    phone.start()
    phone.settled()
    colours = phone.page.evaluate(
        """() => [...document.querySelectorAll("body *")].flatMap((one) => {
          const style = getComputedStyle(one);
          return [style.color, style.backgroundColor, style.borderTopColor, style.stroke]
            .filter((text) => text.startsWith("rgb"));
        })"""
    )
    others = {text for text in colours if any(int(part) > 0 for part in re.findall(r"[\d.]+", text)[1:3])}
    assert others == set()


def test_a_screen_reader_hears_whole_minutes_and_no_second_hand(phone):
    phone.start()
    phone.settled()
    phone.page.evaluate(
        """() => { window.heard = []; const node = document.getElementById("heard");
        new MutationObserver(() => window.heard.push(node.textContent))
          .observe(node, { childList: true, characterData: true, subtree: true }); }"""
    )
    phone.wait(130, 1)
    heard = phone.page.evaluate("window.heard")
    assert 2 <= len(heard) <= 3
    assert all(re.fullmatch(r"Frame 1: \d+ minutes left\.", one) for one in heard)
    live = phone.page.evaluate(
        """() => [...document.querySelectorAll("[aria-live], [role=timer], [role=status]")]
          .filter((one) => one.contains(document.querySelector(".count-big"))).length"""
    )
    assert live == 0


def test_times_are_those_of_the_place_and_not_of_the_phone(room):
    phone = room.phone(timezone_id="America/Los_Angeles", locale="en-US").open()
    phone.place("Porto")
    phone.until("#bar .bar-clock", "01:40 PM")
    phone.until(".until", "PM")
    phone.tap(".why summary")
    phone.until(".why", "Times of Europe/Lisbon (GMT+1)")


def test_a_clock_change_in_the_night_moves_nothing_but_the_clock(rooms):
    room = rooms(now_s=AUTUMN_S)
    phone = room.phone().open()
    phone.place("Porto")
    phone.until("#bar .bar-clock", "01:30")
    phone.until(".answer", "Not now")
    first = phone.text(".until")
    phone.wait(3600, 1200)
    phone.until("#bar .bar-clock", "01:30")  # for the second time
    phone.look_again()
    sheet = {"sensitizer": "citrate-classic", "stack": "float-glass-4mm,polyester-film"}
    answer = room.service.post("v1/exposure", {"latitude_deg": 41.1485, "longitude_deg": -8.611, **sheet})
    start = dt.datetime.fromisoformat(answer["next_start"])
    assert start.utcoffset() == dt.timedelta(0)  # winter time
    phone.until(".until", f"Next chance: {start + dt.timedelta(seconds=30):%H:%M}")
    assert phone.text(".until") == first


def test_a_frame_runs_across_a_clock_change(rooms):
    # Where clocks change it is night; so the frame lies in a southern afternoon, by the printer's own clock.
    change_s = dt.datetime(2026, 10, 25, 1, 0, tzinfo=dt.UTC).timestamp()
    room = rooms(now_s=change_s - 240.0)
    phone = room.phone().open()
    phone.place("-45.87,170.5")
    zone = {"time_zone": "Europe/Lisbon"}  # the printer's own clock, kept on a journey
    phone.page.evaluate(
        """() => new Promise((done) => {
          const open = indexedDB.open("noonframe");
          open.onsuccess = () => {
            const shelf = open.result.transaction("things", "readwrite").objectStore("things");
            const get = shelf.get("setup");
            get.onsuccess = () => {
              get.result.place.time_zone = "Europe/Lisbon";
              shelf.put(get.result, "setup").onsuccess = done;
            };
          };
        })"""
    )
    phone.reload()
    phone.page.wait_for_selector(".chart")
    phone.until("#bar .bar-clock", "01:56")
    phone.start()
    phone.settled()
    phone.wait(360, 60)
    phone.look_again()
    phone.until("#bar .bar-clock", "01:02")
    run = room.service.get("v1/runs")["runs"][0]
    state = room.service.get(f"v1/runs/{run['id']}")
    assert state["basis"]["time_zone"] == zone["time_zone"]
    assert phone.left_s() == pytest.approx(state["remaining_s"], abs=2)
    assert phone.text(".paper .until") == f"done at {state['end'][11:19]}"
    assert state["end"].endswith("+00:00")


def test_an_address_that_is_not_secure_says_what_is_missing_and_works(room):
    phone = room.phone().open(host="printroom.example")
    assert phone.page.evaluate("window.isSecureContext") is False
    assert phone.page.locator("#locate").count() == 0
    phone.until(".note", "not secure")
    phone.place()
    phone.start()
    phone.settled()
    assert re.match(r"\d+:\d\d", phone.text(".count-big"))
    assert len(room.service.get("v1/runs")["runs"]) == 1
    phone.reload()
    phone.until(".count-big", re.compile(r"\d+:\d\d"))
    phone.go("#/page")
    phone.until("#insecure", "Reach the service over https")
    phone.until(".able", "No: opening the page without a network")
    phone.axe()
    phone.shot("not-secure")


def test_a_browser_that_keeps_nothing_is_told_of_and_works(room):
    phone = room.phone()
    phone.page.add_init_script("IDBFactory.prototype.open = () => { throw new Error('none'); };")
    phone.open()
    phone.place()
    phone.start()
    phone.until(".aged", "keeps nothing")
    assert re.match(r"\d+:\d\d", phone.text(".count-big"))


def test_a_window_frame_is_shown_its_next_move_with_a_picture(room):
    spot = {
        "kind": "window",
        "window": {
            "outward_azimuth_deg": 135,
            "width_m": 0.4,
            "sill_m": 0.1,
            "head_m": 0.9,
            "reveal_depth_m": 0.2,
            "pane": "none",
        },
        "frame": {"distance_m": 0.3, "offset_m": 0.5, "width_m": 0.2, "height_m": 0.25},
    }
    room.rig.clock.now_s = dt.datetime(2026, 6, 21, 8, 0, tzinfo=dt.UTC).timestamp()
    room.service.post("v1/spots", {"name": "south-east window", "place": "Porto", "spot": spot})
    phone = room.phone().open()
    phone.place()
    phone.tap("#pick-spot")
    phone.tap("dialog >> text=south-east window")
    phone.until("#pick-spot", "south-east window")
    phone.start()
    phone.page.wait_for_selector(".picture img", timeout=30000)
    assert phone.page.evaluate("document.querySelector('.picture img').naturalWidth") > 0
    phone.until(".move", re.compile(r"At \d\d:\d\d: to \d+ cm from the wall, \d+ cm to the (left|right)"))
    phone.axe()
    phone.shot("move", whole=True)
    phone.tap(".move >> text=I moved it")
    phone.settled()
    run = room.service.get("v1/runs")["runs"][0]
    events = room.service.get(f"v1/runs/{run['id']}/events")["events"]
    assert events[-1]["kind"] == "moved"
    assert events[-1]["payload"]["spot"]["frame"]["distance_m"] != spot["frame"]["distance_m"]


def test_distances_are_told_in_the_printers_own_unit(room):
    phone = room.phone(locale="en-US").open()
    told = """async (units) => {
      const main = document.querySelector("script[type=module]").src;
      return (await import(main.replace("main.js", "moments.js"))).distance(0.3, units);
    }"""
    assert phone.page.evaluate(told, "metric") == "30 cm"
    assert phone.page.evaluate(told, "inch") == "11.8 in"
    phone.place()
    phone.go("#/page")
    assert phone.page.get_attribute("button:has-text('Inches')", "aria-pressed") == "true"  # by the region
    phone.tap("text=Metres and centimetres")
    phone.page.wait_for_selector("button[aria-pressed=true]:has-text('Metres')")
    phone.reload()
    assert phone.page.get_attribute("button:has-text('Inches')", "aria-pressed") == "false"
