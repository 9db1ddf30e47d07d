"""Every fault of every provider at once, while the records are held too: there is always an answer."""

import random
import sqlite3
import threading

from weather_rig import rigged

FAULTS = (
    *("400 json", "401", "403", "404", "422", "429 minute", "429 hour", "429 concurrent", "500", "502"),
    *("503", "504", "204", "html", "array", "not a number", "deep", "cut off", "cut off unmarked"),
    *("damaged gzip", "hang up", "redirect loop", "redirect to nowhere", "all nulls", "empty"),
    *("wrong length", "wrong unit", "wrong type", "out of range", "elsewhere", "trickle", "slow", None),
)
PROVIDERS = ("open-meteo", "open-meteo-ensemble", "met-norway")
PATHS = ("/v1/exposure", "/v1/say", "/v1/slots", "/v1/outlook")
THREADS, TURNS = 4, 12


def test_answers_come_through_all_faults_at_once_and_forecasts_return_with_the_weather(tmp_path):
    dice = random.Random(11)
    with rigged(tmp_path) as rig:
        asker = rig.ask(*PROVIDERS, weather_budget_s=0.3, weather_request_s=0.5, database_wait_s=0.2)
        asker.client.get("/v1/runs").raise_for_status()  # makes the file of records
        wrong: list[str] = []

        def ask(seeded):
            mine = random.Random(seeded)
            for _ in range(TURNS):
                place = {"latitude_deg": 41.0 + mine.randrange(40) / 10, "longitude_deg": -8.6}
                path = mine.choice(PATHS)
                fields = {**place, "target_j_m2": 24000}
                fields |= {"date": "2026-06-21"} if path == "/v1/slots" else {}
                response = asker.client.get(path, params=fields, headers={"Accept": "application/json"})
                if response.status_code != 200:
                    wrong.append(f"{path}: {response.status_code} {response.text}")

        other = sqlite3.connect(rig.folder / "noonframe.db", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")  # the cache of forecasts cannot be written either
        threads = [threading.Thread(target=ask, args=(number,)) for number in range(THREADS)]
        for thread in threads:
            thread.start()
        while any(thread.is_alive() for thread in threads):
            for provider in PROVIDERS:
                rig.stub.switch(provider, dice.choice(FAULTS))
            rig.clock.now_s += 61.0  # pauses end, and fresh forecasts are wanted
            threads[0].join(0.05)
        for thread in threads:
            thread.join()
        other.rollback()
        other.close()
        assert wrong == []

        for provider in PROVIDERS:
            rig.stub.switch(provider, None)
        rig.stub.release.set()
        for _ in range(20):  # a busy machine may be slower than an answer waits; the next caller has it
            rig.clock.now_s += 86400.0  # the longest pause is over
            weather = asker.get("/v1/exposure")["basis"]["weather"]
            if weather["provider"] is not None:
                break
        assert weather["provider"] in PROVIDERS
        assert weather["age_s"] == 0
