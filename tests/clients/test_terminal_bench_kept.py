"""What was saved, changed, put away and taken back; prints in full; coating by the clock."""

import datetime as dt
import json
import re

import pytest
from clients.runs_rig import SteadyClock

from noonframe.api.app import create_app
from noonframe.settings import Settings
from noonframe_terminal import commands_shelf, contract, moments
from noonframe_terminal.contract import converse_with
from noonframe_terminal.saved import find_saved

KELP = "kelp on cotton"
YARD = ("--place", "quayside-yard")


def flowing(text):
    return " ".join(text.split())


def read_json(said):
    assert said.code == 0, said.err
    return json.loads(said.out)


@pytest.fixture
def clock():
    return SteadyClock()


@pytest.fixture
def make_app(clock, tmp_path):
    """A new application on the same records every time."""
    return lambda: create_app(Settings(state_dir=tmp_path / "records"), clock)


@pytest.fixture
def bench(call, make_app, monkeypatch):
    """The command line at noon, on records of its own, with a recipe, a spot and a place."""
    monkeypatch.delenv("NOONFRAME_PLACE", raising=False)
    monkeypatch.setattr(contract, "_application", make_app)
    monkeypatch.setattr(moments, "today_at", lambda zone: dt.date(2026, 6, 21))
    assert call("recipe", "add", KELP).code == 0
    assert call("spot", "add", "yard bench", *YARD, "--skyline", "90:35,225:3").code == 0
    assert call("saved-place", "add", "yard", *YARD).code == 0
    return call


@pytest.fixture
def ask(make_app):
    return lambda path, **fields: (
        converse_with(make_app(), lambda service: service.get(path, fields, {})).says
    )


@pytest.mark.parametrize(
    ("group", "name", "key"),
    [
        ("recipe", KELP, "recipes"),
        ("spot", "yard bench", "spots"),
        ("saved-place", "yard", "places"),
    ],
)
def test_what_was_put_away_comes_back_as_it_was(bench, group, name, key):
    before = read_json(bench(group, "list", "--json"))[key][0]
    gone = bench(group, "retire", name)
    assert (gone.code, gone.err) == (0, "")
    assert read_json(bench(group, "list", "--json"))[key] == []
    assert f"{before['id'][:8]}  {name}, retired" in bench(group, "list", "--retired").out
    again = bench(group, "retire", name)
    assert again.code == 2
    assert bench(group, "restore", name.upper()).out == f"{name} is back, as version 3.\n"
    after = read_json(bench(group, "list", "--json"))[key][0]
    assert after == {**before, "version": 3, "saved": after["saved"]}
    history = [each["retired"] for each in read_json(bench(group, "history", name, "--json"))[key]]
    assert history == [False, True, False]
    assert re.search(r"2 +.*: retired\.\n3 +.*: taken back\.", bench(group, "history", name).out)
    missing = bench(group, "restore", name)
    assert missing.code == 2
    assert f"{group} list --retired" in missing.err


def test_a_name_that_is_taken_keeps_the_retired_one_away(bench):
    bench("recipe", "retire", KELP)
    bench("recipe", "add", KELP, "--paper", "another")
    said = bench("recipe", "restore", KELP)
    assert (said.code, said.out) == (2, "")
    assert f"another recipe is called {KELP} now" in said.err
    assert bench("recipe", "change", KELP, "--rename", "kelp, new paper").code == 0
    assert bench("recipe", "restore", KELP).code == 0


def test_of_two_retired_by_one_name_the_id_tells_which(bench, clock):
    bench("saved-place", "retire", "yard")
    clock.now_s += 60.0
    bench("saved-place", "add", "yard", "--latitude", "41.2", "--longitude=-8.6", "--elevation", "10")
    bench("saved-place", "retire", "yard")
    said = bench("saved-place", "restore", "yard")
    assert said.code == 2
    ids = re.findall(r"^noonframe: ([0-9a-f]{8})  yard, saved", said.err, re.MULTILINE)
    assert len(ids) == 2
    assert bench("saved-place", "restore", ids[0]).code == 0  # newest first
    assert read_json(bench("saved-place", "list", "--json"))["places"][0]["latitude_deg"] == 41.2


def test_a_spot_keeps_what_is_not_typed(bench, ask):
    def saved():
        return ask("/v1/spots", name="yard bench")["spots"][0]

    said = bench("spot", "change", "yard bench", "--tilt", "30", "--facing", "sw")
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith("Saved as version 2: yard bench, open ground, tilted 30°")
    spot = saved()
    assert (spot["spot"]["tilt_deg"], spot["spot"]["aim_azimuth_deg"]) == (30, 225)
    assert spot["spot"]["skyline"] == [[90, 35], [225, 3]]
    assert spot["place"] == "quayside-yard"
    assert "Nothing new" in bench("spot", "change", "yard bench", "--tilt", "30").out
    window = ("--window-facing", "e", "--window-width", "1.2", "--sill", "0.1", "--head", "1.5")
    assert bench("spot", "change", "yard bench", "--distance", "0.6").code == 2  # in the open there is none
    assert bench("spot", "change", "yard bench", *window, "--distance", "0.6").code == 0
    changed = bench("spot", "change", "yard bench", "--distance", "0.8", "--tilt", "10")
    assert changed.code == 0, changed.err
    spot = saved()["spot"]
    assert (spot["kind"], spot["frame"]["distance_m"], spot["frame"]["tilt_deg"]) == ("window", 0.8, 10)
    assert bench("spot", "change", "yard bench", "--tilt", "20").code == 0
    assert saved()["spot"]["window"] == spot["window"]
    assert saved()["spot"]["frame"] == {**spot["frame"], "tilt_deg": 20}
    shown = flowing(bench("spot", "history", "yard bench").out)
    assert "spot: open ground, tilted 30°" in shown
    assert "(was: open ground, level, with a skyline)" in shown


def test_a_saved_place_is_changed(bench):
    said = bench("saved-place", "change", "yard", "--elevation", "85", "--rename", "the yard")
    assert said.out == "Saved as version 2: the yard, 41.15, -8.61, 85 m, clock of Europe/Lisbon.\n"
    shown = flowing(bench("saved-place", "history", "the yard").out)
    assert "name: the yard (was yard); elevation in m: 85 (was 80)" in shown


def test_a_clash_is_told_and_both_changes_survive(bench, ask, monkeypatch):
    async def overtaken(service, kind, words, called):
        found = await find_saved(service, kind, words, called)
        path = f"{kind.path}/{found['id']}"
        await service.change(path, {"elevation_m": 99}, {}, method="PATCH", version=found["version"])
        return found

    monkeypatch.setattr(commands_shelf, "find_saved", overtaken)
    said = bench("saved-place", "change", "yard", "--rename", "the yard")
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith("noonframe: somebody else changed it in the meantime")
    monkeypatch.setattr(commands_shelf, "find_saved", find_saved)
    assert bench("saved-place", "change", "yard", "--rename", "the yard").code == 0
    place = ask("/v1/saved-places", name="the yard")["places"][0]
    assert (place["elevation_m"], place["version"]) == (99, 3)


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        (("spot", "change", "yard bench"), "nothing to change"),
        (("spot", "change", "yard bench", "--tilt", "x"), "--tilt x: must be"),
        (("spot", "change", "yard bank", "--tilt", "3"), "NAME yard bank: must be the name of a spot"),
        (("saved-place", "change", "yard"), "nothing to change"),
        (("saved-place", "change", "yard", "--elevation", "9999"), "--elevation 9999.0: must be between"),
        (("saved-place", "change", "yard", "--time-zone", "x"), "--time-zone x: must be"),
        (("prints", "show", "none"), "NAME none: must be the name or id of a print"),
        (("prints", "list", "--from", "noon"), "--from noon: must be a day"),
        (("prints", "list", "--until", "2026-06-31"), "--until 2026-06-31: must be a day"),
        (("coat", "203x254", *YARD), "--place quayside-yard: must be given with --at"),
        (("coat", "203x254", "--at", "9:00"), "--at, --wash-at: must be given with a place"),
        (("coat", "203x254", "--at", "noon", *YARD), "--at noon: must be HH:MM"),
        (("coat", "203x254", "--at", "9:00", "--time-zone", "Mars"), "--time-zone Mars: must be an IANA"),
        (("coat", "203x254", "--wash-at", "2026-03-29 01:30", *YARD), "--wash-at 2026-03-29 01:30: must be"),
    ],
)
def test_what_cannot_be_changed_or_shown_names_the_option(bench, typed, line):
    said = bench(*typed)
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith(f"noonframe: {line}")


@pytest.fixture
def prints(bench):
    """Two prints of one name, made on two days, the later one judged right."""
    fronds = ("--name", "kelp fronds")
    assert bench("judge", KELP, "-0.5", "--dose", "15500", *fronds, "--made", "2026-06-01 12:00").code == 0
    assert bench("judge", KELP, "right", "--dose", "18500", *fronds, "--made", "2026-06-20 12:00").code == 0
    return bench


def test_a_print_is_shown_with_all_that_is_known(prints):
    which = prints("prints", "show", "kelp fronds")
    assert which.code == 2
    ids = re.findall(r"^noonframe: ([0-9a-f]{8})  kelp fronds, made", which.err, re.MULTILINE)
    assert len(ids) == 2
    changed = prints(
        *("prints", "change", ids[0], "--judgement", "a little dark", "--wash", "two changes"),
        *("--tags", "kelp,large", "--coat-age", "20"),
    )
    assert (changed.code, changed.err) == (0, "")
    shown = flowing(prints("prints", "show", "last").out)
    for part in (
        f"kelp fronds ({ids[0]}), version 2",
        "Judged: a little dark.",
        f"by {KELP}, version 1.",
        "Dose: 18.5 kJ/m².",
        "Wash: two changes",
        "Tags: kelp, large.",
        "coat 20 h old",
    ):
        assert part in shown
    assert "judgement: a little dark (was right)" in flowing(prints("prints", "history", "last").out)
    assert "Nothing new" in prints("prints", "change", "last", "--wash", "two changes").out


def test_prints_are_listed_by_the_days_they_were_made_on(prints):
    def doses(*typed):
        return [each["dose_j_m2"] for each in read_json(prints("prints", "list", *typed, "--json"))["prints"]]

    assert doses("--from", "2026-06-02") == [18500]
    assert doses("--until", "2026-06-01") == [15500]  # the day is taken whole
    assert doses("--until", "2026-06-01 12:00") == []
    assert doses("--from", "2026-06-01", "--until", "2026-06-20") == [18500, 15500]
    assert doses("--from", "2026-06-02", "--until", "2026-06-19") == []
    assert "15500" in prints("prints", "search", "kelp", "--until", "2026-06-10").out


def test_a_print_put_away_counts_no_more_until_it_is_back(prints):
    before = prints("recipe", "target", KELP).out
    assert prints("prints", "retire", "last").code == 0
    assert "from 1 print" in prints("recipe", "target", KELP).out
    assert "kelp fronds, retired" in prints("prints", "list", "--retired").out
    assert prints("prints", "restore", "kelp fronds").code == 0
    assert prints("recipe", "target", KELP).out == before


def test_steps_of_coating_have_clock_times_of_the_place(bench):
    typed = ("coat", "203x254x6", "--at", "9:00", "--wash-at", "2026-06-21 23:30", *YARD)
    truth = read_json(bench(*typed, "--json"))
    assert truth["coating"][0]["earliest_start"] == "2026-06-21T09:00:00+01:00"
    said = bench(*typed)
    assert "Coating, on 21 June 2026 by the clock of Europe/Lisbon:" in flowing(said.out)
    for step in truth["coating"]:
        first, last = (step[key][11:16] for key in ("earliest_start", "latest_start"))
        mark = first if first == last else f"{first}–{last}"
        assert re.search(rf"^  {mark} +{step['text'][:20]}", said.out, re.MULTILINE)
    assert "+1 is the day after." in said.out
    assert max(len(line) for line in said.out.splitlines()) <= 80


def test_a_change_of_the_clocks_between_two_steps_is_kept(bench):
    said = bench("coat", "203x254", "--wash-at", "2026-03-29 00:30", *YARD)
    # an hour is left out at 01:00: 35 minutes after 00:30 the clock says 02:05
    assert re.search(r"00:40–02:05", said.out)
