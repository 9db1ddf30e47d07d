"""Adds events to an exposure until it is killed, and prints each event's id once it is acknowledged.

killed_writer.py ADDRESS EXPOSURE_ID
"""

import os
import sys
import uuid

from noonframe.store import exposures, idempotency
from noonframe.store.engine import open_store

store = open_store(sys.argv[1], wait_s=30.0)
exposure_id = uuid.UUID(sys.argv[2])
os.write(1, b"ready\n")
sys.stdin.readline()
number = 0
while True:
    event_id = uuid.uuid4()
    with store.write() as db:
        claimed = idempotency.claim(db, str(event_id), "events", "hash", now_s=0.0)
        exposures.append(
            db,
            exposure_id,
            event_id=event_id,
            kind="sky",
            at_s=float(number),
            received_s=float(number),
            payload={"seen": "sun out"},
        )
        idempotency.finish(db, claimed, idempotency.StoredReply(201, "application/json", b"{}"))
    # straight to the pipe: what waits in a buffer of this process dies with it
    os.write(1, f"{event_id}\n".encode())
    number += 1
