"""Without a network, and with a service that goes away: nothing told is lost, nothing counts twice."""

import re

import pytest
from phone.plan_rig import seconds

COUNT = re.compile(r"\d:\d\d")


def runs(room):
    return room.service.get("v1/runs", limit=50)["runs"]


@pytest.fixture
def keeping(room):
    """A phone that has kept the page and the light."""
    made = room.phone(workers=True).open()
    made.place()
    made.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    return made


def test_the_page_opens_without_a_network_and_answers_from_the_kept_light(keeping, room):
    phone = keeping
    answered = phone.text(".answer")
    phone.offline(True)
    phone.wait(600, 60)
    phone.reload()
    phone.until(".aged", "Read from the light kept 10 minutes ago")
    assert phone.text(".answer") != "…"
    assert phone.text(".answer")[:2] == answered[:2]  # ten minutes on at midsummer noon
    rows = phone.page.locator(".ifs dd").all_inner_texts()
    sheet = {"sensitizer": "citrate-classic", "stack": "float-glass-4mm,polyester-film"}
    place = {"latitude_deg": 41.1485, "longitude_deg": -8.611}
    expected = room.service.post("v1/exposure", {**place, **sheet})
    assert rows[1] == f"{round(expected['if_cloud_covers_s'] / 60)} min"
    phone.shot("offline-now")
    phone.axe()


def test_saved_spots_and_recipes_can_be_changed_to_without_a_network(keeping, room):
    phone = keeping
    recipe = {"name": "kelp on cotton rag", "sensitizer": "citrate-classic", "stack": ["float-glass-4mm"]}
    room.service.post("v1/recipes", recipe)
    yard = {"kind": "open", "tilt_deg": 30, "aim_azimuth_deg": 180}
    room.service.post("v1/spots", {"name": "quayside yard", "place": "Porto", "spot": yard})
    with phone.page.expect_response(
        lambda one: "/v1/outlook" in one.url and "recipe" in (one.request.post_data or ""), timeout=20000
    ):  # a few seconds after the first answer
        phone.wait(10, 1)
    phone.page.wait_for_timeout(500)
    phone.offline(True)
    phone.tap("#pick-spot")
    phone.tap("dialog >> text=quayside yard")
    phone.until("#pick-spot", "quayside yard")
    phone.until(".aged", "Read from the light kept")
    spot = room.service.get("v1/spots")["spots"][0]["id"]
    sheet = {"sensitizer": "citrate-classic", "stack": "float-glass-4mm,polyester-film"}
    expected = room.service.post("v1/exposure", {**sheet, "saved_spot": spot})
    assert seconds(phone.text(".answer")) == pytest.approx(expected["length_s"], abs=12)  # to ten seconds
    phone.tap("#pick-spot")
    phone.tap("dialog >> text=Flat, open ground")
    phone.tap("#pick-recipe")
    phone.tap("dialog >> text=kelp on cotton rag")
    phone.until("#pick-recipe", "kelp on cotton rag")
    phone.until(".aged", "Read from the light kept")
    place = {"latitude_deg": 41.1485, "longitude_deg": -8.611}
    expected = room.service.post("v1/exposure", {**place, "recipe": "kelp on cotton rag"})
    assert seconds(phone.text(".answer")) == pytest.approx(expected["length_s"], abs=12)  # to ten seconds
    phone.start()
    phone.until(".aged", "Worked out on this phone")
    assert phone.left_s() == pytest.approx(expected["length_s"], rel=0.02)


def test_an_exposure_is_begun_followed_and_ended_without_a_network_and_told_later_once(keeping, room):
    phone = keeping
    phone.offline(True)
    phone.start()
    phone.until(".aged", "Worked out on this phone")
    phone.until(".aged", "still to be told")
    phone.wait(60, 10)
    phone.tap("[data-sky=covered]")
    phone.wait(120, 10)
    covered = phone.left_s()
    phone.reload()  # also a phone that is restarted in the yard
    phone.until(".count-big", COUNT)
    assert phone.left_s() == pytest.approx(covered, abs=2)
    phone.shot("offline-frame")
    phone.axe()
    phone.tap("[data-sky=sun-out]")
    phone.wait(60, 10)
    phone.tap("#finish")
    phone.until(".count-big", "Taken in")
    assert runs(room) == []
    share = int(re.search(r"\d+", phone.text(".share"))[0])
    phone.offline(False)
    phone.page.wait_for_timeout(800)
    phone.settled()
    (run,) = runs(room)
    assert run["status"] == "finished"
    events = room.service.get(f"v1/runs/{run['id']}/events")["events"]
    assert [(event["kind"], event["payload"].get("sky")) for event in events] == [
        ("started", None), ("sky", "covered"), ("sky", "sun-out"), ("finished", None),
    ]  # fmt: skip
    assert events[1]["at"][11:16] == "13:41"
    state = room.service.get(f"v1/runs/{run['id']}")
    assert share == pytest.approx(100 * state["dose_share"], abs=1.0)
    phone.go("#/page")
    phone.until(".screen", "The service knows everything.")
    phone.reload()
    phone.settled()
    assert len(runs(room)) == 1


def test_an_answer_lost_on_the_way_is_asked_for_again_and_counts_once(phone, room):
    lost = []

    def lose(route):
        if lost:
            return route.continue_()
        lost.append(route.fetch())  # it arrived; its answer does not
        return route.abort()

    phone.page.route(
        re.compile("/v1/runs$"),
        lambda route: lose(route) if route.request.method == "POST" else route.continue_(),
    )
    phone.start()
    phone.settled()
    assert len(lost) == 1
    assert len(runs(room)) == 1
    phone.wait(20, 5)
    phone.settled()
    phone.wait(16, 4)
    phone.settled()
    assert len(runs(room)) == 1
    assert "still to be told" not in phone.text(".screen")
    phone.tap("[data-sky=covered]")
    phone.settled()
    assert len(room.service.get(f"v1/runs/{runs(room)[0]['id']}/events")["events"]) == 2


def test_a_service_that_is_started_anew_finds_the_frame_again(phone, room):
    phone.start()
    phone.wait(60)
    phone.settled()
    left = phone.left_s()
    room.service.stop()
    phone.tap("[data-sky=covered]")
    phone.wait(30, 5)
    phone.until(".aged", "still to be told")
    assert phone.left_s() > left
    room.service.start()
    phone.wait(30, 5)
    phone.look_again()
    phone.settled()
    (run,) = runs(room)
    events = room.service.get(f"v1/runs/{run['id']}/events")["events"]
    assert [event["kind"] for event in events] == ["started", "sky"]
    assert events[1]["at"] < events[1]["received"]
    state = room.service.get(f"v1/runs/{run['id']}")
    phone.look_again()
    assert phone.left_s() == pytest.approx(state["remaining_s"], abs=3)


def test_what_does_not_fit_is_shown_and_not_dropped(phone, room):
    phone.start()
    phone.settled()
    (run,) = runs(room)
    phone.offline(True)
    phone.wait(60, 10)
    phone.tap("#cover")
    phone.until("#cover", "Uncover it")
    room.rig.clock.now_s -= 600.0  # the phone's clock was ten minutes fast, and the service knows better
    phone.offline(False)
    phone.page.wait_for_timeout(800)
    phone.page.clock.run_for(100)
    events = room.service.get(f"v1/runs/{run['id']}/events")["events"]
    assert [event["kind"] for event in events] == ["started"]
    phone.until(".troubles", "was not taken by the service")
    phone.shot("trouble")
    phone.axe()
    phone.reload()
    phone.until(".troubles", "was not taken by the service")
    room.rig.clock.now_s += 600.0
    phone.tap(".troubles >> text=Tell it again")
    phone.settled()
    events = room.service.get(f"v1/runs/{run['id']}/events")["events"]
    assert [event["kind"] for event in events] == ["started", "covered"]
    phone.page.wait_for_selector(".troubles", state="hidden")


def test_a_refused_word_can_be_left_out_and_stays_in_the_list(phone, room):
    phone.start()
    phone.settled()
    refusal = {
        "status": 422,
        "json": {"type": "urn:noonframe:problem:invalid-input", "detail": "at must be earlier"},
    }
    phone.page.route(re.compile("/events$"), lambda route: route.fulfill(**refusal))
    phone.tap("[data-sky=covered]")
    phone.until(".troubles", "at must be earlier")
    phone.tap(".troubles >> text=Leave it out")
    phone.page.wait_for_selector(".troubles", state="hidden")
    phone.reload()
    phone.until(".count-big", COUNT)
    phone.tap(".why summary")
    phone.until(".told-list", "not taken")


def test_a_frame_that_the_service_has_forgotten_can_be_told_anew(phone, room):
    phone.start()
    phone.wait(60)
    phone.tap("[data-sky=covered]")
    phone.settled()
    room.service.stop()
    for record in room.rig.folder.glob("*.sqlite*"):
        record.unlink()
    for record in room.rig.folder.glob("*.db*"):
        record.unlink()
    room.service.start()
    assert runs(room) == []
    phone.look_again()
    phone.wait(31, 10)
    phone.until(".troubles", "does not know this frame any more")
    phone.tap(".troubles >> text=Tell it all anew")
    phone.page.wait_for_timeout(800)
    phone.settled()
    (run,) = runs(room)
    events = room.service.get(f"v1/runs/{run['id']}/events")["events"]
    assert [event["kind"] for event in events] == ["started", "sky"]
    assert events[0]["at"].startswith("2026-06-21T13:40:00")
    phone.until(".count-big", COUNT)


def test_a_service_that_asks_for_a_key_is_given_it_and_loses_nothing(phone, room):
    phone.start()
    phone.settled()
    key = room.service.make_key()
    opened = []
    phone.page.on(
        "response", lambda answer: opened.append(answer.status) if "?ticket=" in answer.url else None
    )
    phone.page.wait_for_timeout(1200)  # for a second the service believes that there is no key yet
    phone.look_again()
    phone.until("#bar a.bar-away", "key?")
    phone.tap("[data-sky=covered]")
    phone.until(".aged", "still to be told")
    assert phone.page.locator(".troubles").is_hidden()
    phone.tap("#bar a.bar-away")
    phone.until(".screen", "This service asks for a key")
    phone.axe()
    phone.page.fill("#key", key)
    phone.tap("#take-key")
    phone.until(".screen", "The service knows everything.")
    phone.go("#/frames")
    phone.until(".count-big", COUNT)
    phone.settled()
    assert phone.page.get_attribute("[data-sky=covered]", "aria-pressed") == "true"
    assert phone.page.locator("#bar a.bar-away").is_hidden()
    assert opened == [200]
