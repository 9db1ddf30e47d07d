"""What was acknowledged is still there after the writer was killed, and nothing half-done is."""

import random
import subprocess
import sys
import time
import uuid
from pathlib import Path

import sqlalchemy as sa

from noonframe.store import exposures
from noonframe.store.engine import open_store
from noonframe.store.tables import IDEMPOTENCY_RECORDS

WRITER = Path(__file__).parent / "killed_writer.py"
ROUNDS = 10
WRITERS = 2  # at once, so 20 kills on each database


def start(url, exposure_id):
    command = [sys.executable, str(WRITER), url, str(exposure_id)]
    return [subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) for _ in range(WRITERS)]


def kill(writer):
    """The ids that a writer acknowledged until it was killed."""
    writer.kill()
    said = writer.communicate()[0]
    # after the last line end there may be an id that was cut off, and so not acknowledged
    return [uuid.UUID(line) for line in said.decode().split("\n")[:-1]]


def test_no_acknowledged_event_is_lost_when_writers_are_killed(store, database_url):
    exposure_id = uuid.uuid4()
    with store.write() as db:
        exposures.create(
            db, exposure_id=exposure_id, created_s=0.0, name="kelp", scene={}, target_j_m2=20_000.0
        )
    acknowledged = []
    dice = random.Random(20)
    waiting = start(database_url, exposure_id)
    for round_number in range(ROUNDS):
        writers = waiting
        # the next ones load their libraries meanwhile
        waiting = start(database_url, exposure_id) if round_number + 1 < ROUNDS else []
        for writer in writers:
            assert writer.stdout.readline() == b"ready\n"
        for writer in writers:
            writer.stdin.write(b"go\n")
            writer.stdin.flush()
        for writer in writers:
            time.sleep(dice.uniform(0.0, 0.08))
            acknowledged += kill(writer)
    store.close()

    reopened = open_store(database_url)
    try:
        with reopened.read() as db:
            events = exposures.events_after(db, exposure_id)
            now = exposures.get(db, exposure_id)
            key, status_code = IDEMPOTENCY_RECORDS.c.key, IDEMPOTENCY_RECORDS.c.status_code
            finished = db.execute(sa.select(key, status_code)).all()
            if reopened.is_sqlite:
                assert db.exec_driver_sql("PRAGMA integrity_check").scalars().all() == ["ok"]
                assert db.exec_driver_sql("PRAGMA foreign_key_check").all() == []
    finally:
        reopened.close()
    kept = [event.event_id for event in events]
    assert len(acknowledged) > ROUNDS
    assert set(acknowledged) <= set(kept)
    # at most the one change that each writer was at can be there without having been acknowledged
    assert len(kept) <= len(acknowledged) + ROUNDS * WRITERS
    # a change is there with all its parts: number, count of the exposure, key and answer
    assert [event.sequence for event in events] == list(range(1, len(kept) + 1))
    assert (now.last_sequence, now.version) == (len(kept), len(kept) + 1)
    assert {(str(event_id), 201) for event_id in kept} == {tuple(row) for row in finished}
