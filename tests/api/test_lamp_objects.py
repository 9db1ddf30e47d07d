"""The negative's clearest part in the stack, and what lies on the sheet."""

import pytest

YARD = {
    "latitude_deg": 41.15,
    "longitude_deg": -8.61,
    "start": "2026-06-21T12:00:00+01:00",
    "target_j_m2": 6000,
    "stack": "float-glass-4mm,polyester-film",
    "sky": "clear",
}


def fields_of(response):
    assert response.status_code == 422, response.text
    return {each["field"] for each in response.json()["errors"]}


def test_a_third_of_density_takes_a_stop_more(caller):
    plain = caller.answer("/v1/exposure", YARD)
    dense = caller.answer("/v1/exposure", {**YARD, "negative_density": 0.301})  # log10 of 2
    assert dense["length_s"] / plain["length_s"] == pytest.approx(2.0, rel=0.01)  # the sun moves a little
    assert dense["basis"]["stack"][-1] == "negative-0.301"


def test_an_unsure_density_widens_the_range(caller):
    def width(**more):
        answer = caller.answer("/v1/exposure", {**YARD, "negative_density": 0.3, **more})
        return answer["length_high_s"] / answer["length_low_s"]

    assert width(negative_density_spread=0.0) < width() < width(negative_density_spread=0.15)


def test_a_base_counts_once(caller):
    twice = {**YARD, "negative_density": 0.2, "negative_includes_base": "true"}
    assert fields_of(caller.get("/v1/exposure", twice)) == {"negative_includes_base"}
    once = caller.answer("/v1/exposure", {**twice, "stack": "float-glass-4mm"})
    assert once["basis"]["stack"] == ["float-glass-4mm", "negative-0.2-with-base"]


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"negative_density": -0.1}, "negative_density"),
        ({"negative_density": "nan"}, "negative_density"),
        ({"negative_density_spread": 0.1}, "negative_density_spread"),
        ({"negative_includes_base": "true"}, "negative_includes_base"),
        ({"objects": "leaves"}, "objects"),
        ({"objects": "leaf,,lace"}, "objects"),
        ({"objects": ",".join(["leaf"] * 9)}, "objects"),
        ({"stack": "opaque"}, "stack"),
    ],
)
def test_what_cannot_be_is_refused(caller, more, field):
    assert fields_of(caller.get("/v1/exposure", {**YARD, **more})) == {field}


def test_an_object_changes_nothing_but_what_is_said(caller):
    plain = caller.answer("/v1/exposure", YARD)
    under = caller.answer("/v1/exposure", {**YARD, "objects": "leaf,opaque"})
    assert under["length_s"] == plain["length_s"]
    leaf, opaque = under["objects"]
    assert (leaf["stops_less_low"], leaf["stops_less_high"]) == (3.06, 5.06)  # common practice, no source
    assert opaque["stops_less"] is None
    assert "about 3 to 5 stops less: it prints pale" in under["summary"]
    assert plain["objects"] is None


def test_an_object_in_the_stack_is_exposed_through_with_its_spread(caller):
    stack = f"{YARD['stack']},tracing-paper"
    plain = caller.answer("/v1/exposure", YARD)
    through = caller.answer("/v1/exposure", {**YARD, "stack": stack})
    assert through["length_s"] > 2.5 * plain["length_s"]
    assert through["length_high_s"] / through["length_low_s"] > plain["length_high_s"] / plain["length_low_s"]


@pytest.mark.parametrize("path", ["/v1/strip", "/v1/moves", "/v1/runs", "/v1/outlook"])
def test_objects_are_refused_where_nothing_would_tell_of_them(caller_with, tmp_path, path):
    body = {**YARD, "objects": "leaf"}
    assert "objects" in fields_of(caller_with(state_dir=tmp_path).post(path, body))
