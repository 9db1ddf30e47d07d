"""A disk is full, or may not be written: nothing acknowledged is lost, the service goes on by itself."""

import contextlib
import os
import resource
import subprocess
import sys

import pytest
from faults.fault_rig import PROBLEM, Writers, check_kept, check_refusals, running, save_place, saved_names

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="mounts and limits as Linux has them")
QUESTION = {"latitude_deg": 41.15, "longitude_deg": -8.61, "target_j_m2": 24000}


def mounted(*arguments):
    return subprocess.run(["mount", *arguments], check=False, capture_output=True).returncode == 0


@pytest.fixture
def small_disk(tmp_path):
    """A disk of a few megabytes."""
    folder = tmp_path / "disk"
    folder.mkdir()
    if os.geteuid() != 0 or not mounted("-t", "tmpfs", "-o", "size=8m", "tmpfs", str(folder)):
        pytest.skip("may not mount a small disk here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=False)


def fill(file):
    """Take all the room that is left."""
    with file.open("ab", buffering=0) as ballast, contextlib.suppress(OSError):
        while True:
            ballast.write(b"x" * 4096)


def test_a_full_disk_refuses_what_it_cannot_keep_and_takes_it_once_there_is_room(small_disk):
    with (
        running(state_dir=str(small_disk / "state"), database_wait_s=3.0) as service,
        Writers(service.url, save_place) as writers,
    ):
        writers.more(20)
        for _ in range(2):
            fill(small_disk / "ballast")
            refused = len(writers.refused)
            writers.until(lambda now, before=refused: len(now.refused) > before + 5)
            assert service.client.get("/v1/exposure", params=QUESTION).status_code == 200
            assert set(saved_names(service.client)) >= set(list(writers.acknowledged)[:20])
            (small_disk / "ballast").unlink()
            writers.more(20)
        writers.stop()
        check_refusals(writers.refused, 507, 503)
        assert any(response.status_code == 507 for response in writers.refused)
        check_kept(service.client, writers)


def test_a_file_that_may_not_grow_refuses_what_it_cannot_keep_and_loses_nothing(tmp_path):
    """The same without a right to mount: the process itself may not write files longer than so much."""

    def limit():
        resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, resource.RLIM_INFINITY))

    state = {"state_dir": str(tmp_path / "state"), "database_wait_s": 3.0}
    with running(limits=limit, **state) as service:
        with Writers(service.url, save_place) as writers:
            writers.more(10)
            writers.until(lambda now: len(now.refused) > 5)
            assert service.client.get("/v1/exposure", params=QUESTION).status_code == 200
            writers.stop()
        check_refusals(writers.refused, 507, 503)
        assert set(writers.acknowledged) <= set(saved_names(service.client))
    with running(**state) as service:
        check_kept(service.client, writers)


def test_records_on_a_disk_that_may_only_be_read_are_refused_until_it_may_be_written(small_disk):
    state = {"state_dir": str(small_disk / "state"), "database_wait_s": 3.0}
    with running(**state) as service:
        assert save_place(service.client, "before").status_code == 201
        service.stop()
    assert mounted("-o", "remount,ro", str(small_disk))
    with running(**state) as service:
        assert service.client.get("/v1/exposure", params=QUESTION).status_code == 200
        assert service.client.get("/healthz").status_code == 200
        check_refusals([save_place(service.client, "during")], 503)
        listed = service.client.get("/v1/saved-places")  # either it can be read, or that is a problem
        assert listed.status_code in (200, 503)
        assert listed.status_code == 200 or listed.headers["content-type"] == PROBLEM
        assert mounted("-o", "remount,rw", str(small_disk))
        assert save_place(service.client, "during").status_code == 201
        assert sorted(saved_names(service.client)) == ["before", "during"]
