"""`demo`: what it writes, and whether its numbers hold."""

import re

import pytest

WITHIN_PERCENT = 2.0


@pytest.fixture(scope="module")
def played():
    return {}


@pytest.fixture
def demo(call, played):
    """What the demo writes to a pipe of 80 columns; played once."""
    if not played:
        played["said"] = call("demo")
    return played["said"]


def off(text, what):
    """By how many per cent the true dose misses the target, as its line says; under is negative."""
    found = re.search(rf"{what}\s+(\d+) min (\d\d) s\s+(\d+\.\d) % (over|under)", text)
    assert found, text
    return float(found[3]) * (1.0 if found[4] == "over" else -1.0)


def test_it_is_a_page_of_plain_text(demo):
    lines = demo.out.splitlines()
    assert (demo.code, demo.err) == (0, "")
    assert 25 <= len(lines) <= 45
    assert max(len(line) for line in lines) <= 80
    assert not re.search(r"[\x00-\x09\x0b-\x1f]", demo.out)


def test_it_tells_the_whole_flow_in_the_order_of_the_clock(demo):
    text = " ".join(demo.out.split())
    steps = ("When to print today", "How long now?", "The frame goes out", "Sky told: sun out",
             "Sky told: cloud before the sun", "The bell rings", "Finished with 100 per cent")  # fmt: skip
    places = [text.index(step) for step in steps]
    assert places == sorted(places)
    times = re.findall(r"^(\d\d:\d\d:\d\d)  ", demo.out, re.MULTILINE)
    assert times == sorted(times)
    assert len(re.findall(r"The end moves", text)) >= 4


def test_followed_it_ends_within_two_per_cent_of_the_true_dose_and_a_timer_does_not(demo):
    text = demo.out
    assert abs(off(text, "Followed, the sky told within a minute")) < WITHIN_PERCENT
    assert off(text, "A plain timer, set by the forecast at the start") < -WITHIN_PERCENT
    assert off(text, "A plain timer, set by the sun at the start") < -5.0
    told = re.search(r"truly got\s+(\d+)\s+J/m².*?reckoned\s+(\d+),\s+and\s+(\d+)\s+were", text, re.DOTALL)
    true, reckoned, wanted = (float(told[i]) for i in (1, 2, 3))
    assert true == pytest.approx(wanted, rel=WITHIN_PERCENT / 100.0)
    assert reckoned == pytest.approx(wanted, rel=0.002)
    assert 100.0 * (true / wanted - 1.0) == pytest.approx(
        off(text, "Followed, the sky told within a minute"), abs=0.06
    )


def test_everything_is_told_within_a_minute(demo):
    late = [int(seconds) for seconds in re.findall(r"told\s+(\d+)\s+s\s+after\s+the\s+change", demo.out)]
    assert len(late) >= 3
    assert max(late) < 60


def test_it_is_the_same_every_time(demo, call):
    assert call("demo").out == demo.out


def test_what_is_set_up_for_real_use_is_left_alone(demo, call, monkeypatch, tmp_path):
    monkeypatch.setenv("NOONFRAME_STATE_DIR", str(tmp_path / "mine"))
    monkeypatch.setenv("NOONFRAME_DATABASE_URL", f"sqlite:///{tmp_path / 'mine.db'}")
    monkeypatch.setenv("NOONFRAME_WEATHER_PROVIDERS", "open-meteo-ensemble")
    assert call("demo").out == demo.out
    assert list(tmp_path.glob("mine*")) == []
