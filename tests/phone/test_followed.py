"""Without the service a frame comes out as the service would have it, whatever was told of the sky."""

import re

import pytest
from phone.conftest import PORTO
from weather_rig import NOON_S

from noonframe.weather.rehearsal_sky import ScriptedSky, Spell

FORECASTS = {
    "clear": ScriptedSky((Spell(NOON_S),), elevation_m=80.0),
    "half": ScriptedSky((Spell(NOON_S, clear_sky_index=0.6, cloud_low=0.7),), elevation_m=80.0),
    "grey": ScriptedSky((Spell(NOON_S, clear_sky_index=0.3, cloud_low=1.0),), elevation_m=80.0),
}
SHEET = {**PORTO, "sensitizer": "citrate-classic", "stack": "float-glass-4mm,polyester-film"}
CASES = [(None, 24000.0), ("sun-out", 60000.0), ("covered", 24000.0), ("broken", 60000.0), ("fog", 24000.0)]
TOLD_S = 120.0
DOSE_SHARE = 1e-3
END_SHARE, MEAN_SHARE, END_S = 0.09, 0.035, 20.0
"""The service samples 300 skies, whose median is itself a few per cent from the true one; the page reads one
sky that changes once.  Found over the cases below: 8 % at most, 1 to 3 % on average."""

READ = """async ([outlook, startMs, target, sky, events, nowMs]) => {
  const main = document.querySelector("script[type=module]").src;
  const from = (name) => import(main.replace("main.js", name));
  const { Light } = await from("light.js"), { endAhead, followed } = await from("followed.js");
  const light = new Light(outlook, startMs), lightAt = () => light;
  lightAt.marks = [startMs];
  const frame = { startMs, target, body: sky ? { sky } : {} };
  const now = followed(frame, lightAt, events, nowMs);
  return [now.dose, (endAhead(light, now, nowMs, target - now.dose) - nowMs) / 1000, now.reachedMs];
}"""


class Follower:
    """A run at the service and the same read by the page from its outlook."""

    def __init__(self, phone, sky=None, **fields):
        self.phone, self.room, self.sky = phone, phone.room, sky
        body = {**SHEET, **fields}
        self.outlook = self.room.service.post("v1/outlook", body)
        self.run = self.room.service.post("v1/runs", {**body, **({"sky": sky} if sky else {})})
        self.start_s, self.events = self.room.rig.clock.now_s, []

    def tell(self, sky, **more):
        self.room.service.post(f"v1/runs/{self.run['id']}/events", {"kind": "sky", "sky": sky, **more})
        event = {"kind": "sky", "sky": sky, "atMs": self.room.rig.clock.now_s * 1000}
        self.events.append({**event, **({"vouchedS": more["vouched_s"]} if more else {})})

    def pass_time(self, seconds):
        self.room.rig.clock.now_s += seconds

    def both(self):
        now_ms = self.room.rig.clock.now_s * 1000
        target = self.run["target_j_m2"]
        dose, left_s, _ = self.phone.page.evaluate(
            READ, [self.outlook, self.start_s * 1000, target, self.sky, self.events, now_ms]
        )
        return self.room.service.get(f"v1/runs/{self.run['id']}"), dose, left_s

    def check(self, told):
        state, dose, left_s = self.both()
        assert dose == pytest.approx(state["dose_j_m2"], rel=DOSE_SHARE, abs=5.0), told
        assert left_s == pytest.approx(state["remaining_s"], rel=END_SHARE, abs=END_S), told
        return abs(left_s / state["remaining_s"] - 1.0)


@pytest.mark.parametrize("forecast", FORECASTS)
def test_a_sky_that_was_told_fades_as_the_service_lets_it(rooms, forecast):
    room = rooms(sky=FORECASTS[forecast])
    phone = room.phone().open()
    apart = []
    for word, target in CASES:
        room.rig.clock.now_s = NOON_S
        one = Follower(phone, target_j_m2=target)
        one.pass_time(TOLD_S)
        if word:
            one.tell(word)
        for wait_s in (0.0, 240.0):
            one.pass_time(wait_s)
            apart.append(one.check((forecast, word, target, wait_s)))
    mean = sum(apart) / len(apart)
    print(f"\n{forecast}: ends at most {max(apart):.1%} apart, {mean:.1%} on average")
    assert mean < MEAN_SHARE


def test_a_sky_nobody_vouches_for_any_more_goes_over_to_the_forecast(rooms):
    room = rooms(sky=FORECASTS["half"])
    phone = room.phone().open()
    one = Follower(phone, target_j_m2=90000.0)
    one.tell("overcast")  # the first of two holds until the next
    one.pass_time(2400.0)
    one.tell("covered", vouched_s=0)
    for _ in range(6):
        one.pass_time(170.0)
        one.check("fading")
    one.tell("overcast")
    one.pass_time(2300.0)  # half an hour vouched for, and 500 s on
    one.check("faded")


def test_a_sky_the_exposure_began_with_is_the_base_that_a_word_fades_into(rooms):
    room = rooms(sky=FORECASTS["clear"])
    phone = room.phone().open()
    one = Follower(phone, sky="broken", target_j_m2=60000.0)
    one.pass_time(300.0)
    one.check("as begun")
    one.tell("covered", vouched_s=60)
    one.pass_time(600.0)
    one.check("faded into broken")


def test_a_running_frame_takes_newer_light_when_the_forecast_changes(rooms):
    room = rooms()
    phone = room.phone().open()
    phone.place()
    asked = []
    phone.page.on("request", lambda one: asked.append(one.post_data) if "/v1/outlook" in one.url else None)
    phone.start()
    phone.settled()
    phone.wait(480, 48)
    phone.look_again()
    phone.wait(100, 50)
    phone.look_again()
    phone.live(60)
    assert 1 <= len(asked) <= 6  # every ten minutes, and not every second; more where an answer was lost
    kept = phone.page.evaluate(
        """() => new Promise((tell) => {
          const open = indexedDB.open("noonframe");
          open.onsuccess = () => {
            const all = open.result.transaction("things").objectStore("things");
            const keys = all.getAllKeys();
            keys.onsuccess = () => {
              const get = all.get(keys.result.find((key) => String(key).startsWith("light of")));
              get.onsuccess = () => tell(get.result.map((one) => one.fromMs));
            };
          };
        })"""
    )
    assert len(kept) == 2
    assert 400_000 < kept[1] - kept[0] < 900_000
    phone.offline(True)
    phone.live(150, 30)  # the service's last word speaks for 90 s
    phone.until(".aged", re.compile(r"Worked out on this phone, from light kept \d+ minutes ago"))
    began = len(asked)
    phone.offline(False)
    phone.page.evaluate("dispatchEvent(new Event('online'))")
    phone.live(15)
    assert len(asked) > began
