"""Records that somebody else holds, or that turn read-only, under a service that runs on."""

import sqlite3
from contextlib import contextmanager

import psycopg
import pytest
from databases import database_url
from faults.fault_rig import Writers, check_kept, check_refusals, running, save_place, saved_names

from noonframe.store.places_saved import PLACES

__all__ = ["database_url"]
QUESTION = {"latitude_deg": 41.15, "longitude_deg": -8.61, "target_j_m2": 24000}


@contextmanager
def held(url):
    """The records held by somebody else for writing."""
    if url.startswith("sqlite"):
        other = sqlite3.connect(url.removeprefix("sqlite:///"), isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        try:
            yield
        finally:
            other.rollback()
            other.close()
        return
    with psycopg.connect(url) as other:
        other.execute(f"LOCK TABLE {PLACES.heads.name} IN EXCLUSIVE MODE".encode())
        yield
        other.rollback()


def test_records_held_by_somebody_else_are_busy_and_then_written_again(database_url):
    with running(database_url=database_url, database_wait_s=0.3) as service:
        with Writers(service.url, save_place) as writers:
            writers.more(10)
            for _ in range(2):
                with held(database_url):
                    refused = len(writers.refused)
                    writers.until(lambda now, before=refused: len(now.refused) > before + 3)
                    assert set(saved_names(service.client)) >= set(list(writers.acknowledged)[:10])
                    assert service.client.get("/v1/exposure", params=QUESTION).status_code == 200
                writers.more(10)
            writers.stop()
        check_refusals(writers.refused, 503)
        for response in writers.refused:
            assert response.json()["type"] == "urn:noonframe:problem:records-busy"
            assert int(response.headers["Retry-After"]) >= 1
        check_kept(service.client, writers)


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)  # a file has no server to turn
def test_a_server_that_turns_read_only_is_read_and_then_written_again(database_url):
    """As one that stood by does, or one whose disk is nearly full."""

    def read_only(word):
        # sessions take the setting up when they begin, so those there are must go
        with psycopg.connect(database_url.partition("&options")[0], autocommit=True) as server:
            server.execute(f"ALTER DATABASE postgres SET default_transaction_read_only = {word}".encode())
            server.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'noonframe'"
            )

    with running(database_url=database_url, database_wait_s=3.0) as service:
        assert save_place(service.client, "before").status_code == 201
        try:
            read_only("on")
            check_refusals([save_place(service.client, "during")], 503)
            assert saved_names(service.client) == ["before"]
        finally:
            with psycopg.connect(database_url.partition("&options")[0], autocommit=True) as server:
                server.execute("SET default_transaction_read_only = off")
                server.execute("ALTER DATABASE postgres RESET default_transaction_read_only")
                server.execute(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                    " WHERE application_name = 'noonframe'"
                )
        assert save_place(service.client, "during").status_code == 201
        assert sorted(saved_names(service.client)) == ["before", "during"]
