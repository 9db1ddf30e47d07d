"""PostgreSQL is killed in the middle of writing: what was acknowledged is there when it comes back."""

from faults.fault_rig import Writers, check_kept, check_refusals, postgresql, running, save_place

__all__ = ["postgresql"]


def test_nothing_acknowledged_is_lost_when_the_server_is_killed_and_the_service_goes_on_by_itself(postgresql):
    with (
        running(database_url=postgresql.url, database_wait_s=3.0) as service,
        Writers(service.url, save_place) as writers,
    ):
        for _ in range(2):
            writers.more(25)
            postgresql.kill()
            refused = len(writers.refused)
            writers.until(lambda now, before=refused: len(now.refused) > before + 2)
            asked = service.client.get("/v1/exposure", params=QUESTION)
            assert asked.status_code == 200, asked.text  # light needs no records
            assert service.client.get("/healthz").status_code == 200
            postgresql.start()
            writers.more(10)
        writers.stop()
        check_refusals(writers.refused, 503)
        check_kept(service.client, writers)


def test_a_service_that_starts_before_its_server_answers_once_the_server_is_there(postgresql):
    postgresql.kill()
    with running(database_url=postgresql.url, database_wait_s=3.0) as service:
        assert service.client.get("/v1/exposure", params=QUESTION).status_code == 200
        check_refusals([service.client.get("/v1/runs"), save_place(service.client, "early")], 503)
        postgresql.start()
        assert save_place(service.client, "late").status_code == 201


QUESTION = {"latitude_deg": 41.15, "longitude_deg": -8.61, "target_j_m2": 24000}


def test_nothing_acknowledged_is_lost_when_server_and_service_fall_together(postgresql):
    acknowledged: dict[str, object] = {}
    for turn in range(2):
        with running(database_url=postgresql.url, database_wait_s=3.0) as service:
            with Writers(service.url, lambda c, k, turn=turn: save_place(c, f"{turn} {k}")) as writers:
                writers.more(20)
                service.process.kill()
                postgresql.kill()
                writers.stop()
            acknowledged |= {f"{turn} {key}": answer for key, answer in writers.acknowledged.items()}
        postgresql.start()
    with running(database_url=postgresql.url) as service:
        for key, answer in acknowledged.items():
            again = save_place(service.client, key)
            assert (again.status_code, again.json()["id"]) == (201, answer["id"])
