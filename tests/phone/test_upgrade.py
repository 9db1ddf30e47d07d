"""A page left open while the service is upgraded: parts of its version are gone, and nothing is lost."""

import re
import shutil

import pytest

from noonframe.api.phone import page_folder


@pytest.fixture
def upgraded(room, tmp_path):
    """Starts the service anew with a page of another version."""
    copy = shutil.copytree(page_folder(None), tmp_path / "newer")
    with (copy / "js" / "moments.js").open("a", encoding="utf-8") as file:
        file.write("\n// newer\n")

    def upgrade():
        room.service.stop()
        room.service.settings["page_dir"] = copy
        room.service.start()

    return upgrade


def version(phone):
    return phone.page.get_attribute("meta[name=page-version]", "content")


@pytest.mark.parametrize("address", ["#/plan", "#/bench"])
def test_a_part_that_is_gone_is_said_to_be_and_the_newer_page_has_everything(phone, room, upgraded, address):
    phone.start()
    phone.settled()
    phone.offline(True)
    phone.tap("[data-sky=covered]")
    before = version(phone)
    upgraded()
    phone.offline(False)
    phone.expect_noise("dynamically imported module")
    phone.go(address)
    phone.until("main h1", "There is a newer page.")
    if address == "#/plan":
        phone.axe()
        phone.shot("renewed")
    phone.tap("#renewed button")
    phone.usable()
    assert version(phone) != before
    assert phone.page.locator("#renewed").count() == 0
    phone.go("#/frames")
    phone.until(".count-big", re.compile(r"\d:\d\d"))
    phone.settled()
    (run,) = room.service.get("v1/runs")["runs"]
    events = room.service.get(f"v1/runs/{run['id']}/events")["events"]
    assert [event["kind"] for event in events] == ["started", "sky"]


def test_a_part_that_did_not_load_for_another_reason_is_not_called_old(phone):
    phone.page.route(re.compile(r"/screens/plan\.js$"), lambda route: route.abort())
    phone.expect_noise("dynamically imported module")
    phone.go("#/plan")
    phone.until("main h1", "This part of the page did not load.")


def test_a_frame_goes_on_over_an_upgrade_without_a_reload(phone, room, upgraded):
    phone.start()
    phone.settled()
    upgraded()
    phone.wait(31, 5)
    phone.tap("[data-sky=covered]")
    phone.settled()
    phone.wait(20, 5)
    phone.settled()
    (run,) = room.service.get("v1/runs")["runs"]
    state = room.service.get(f"v1/runs/{run['id']}")
    assert state["sky"]["seen"] == "covered"
    phone.look_again()
    assert phone.left_s() == pytest.approx(state["remaining_s"], abs=3)
