import threading

from noonframe.weather.cache import BackOff, MemoryCache, StoredAnswer


def answer(fetched_s: float) -> StoredAnswer:
    return StoredAnswer(200, b"{}", None, "Sun, 21 Jun 2026 12:30:00 GMT", fetched_s + 900, fetched_s)


def test_the_last_answer_put_is_the_one_got():
    cache = MemoryCache()
    assert cache.get("a") is None
    cache.put("a", answer(1))
    cache.put("a", answer(2))
    assert cache.get("a") == answer(2)
    assert cache.get("b") is None


def test_old_answers_and_ended_pauses_are_forgotten():
    cache = MemoryCache()
    cache.put("old", answer(1))
    cache.put("new", answer(10))
    cache.set_back_off("old", BackOff(1, "throttled", "x", 1))
    cache.set_back_off("new", BackOff(10, "throttled", "x", 1))
    cache.forget_before(10)
    assert (cache.get("old"), cache.get("new")) == (None, answer(10))
    assert cache.get_back_off("old") is None
    assert cache.get_back_off("new") is not None


def test_a_pause_is_set_replaced_and_forgotten():
    cache = MemoryCache()
    cache.set_back_off("p", BackOff(1, "throttled", "x", 1))
    cache.set_back_off("p", BackOff(2, "forbidden", "y", 2))
    assert cache.get_back_off("p") == BackOff(2, "forbidden", "y", 2)
    cache.set_back_off("p", None)
    cache.set_back_off("p", None)
    assert cache.get_back_off("p") is None


def test_a_lease_has_one_holder_until_it_ends_or_is_dropped():
    cache = MemoryCache()
    assert cache.take_lease("k", "a", 0, 10)
    assert not cache.take_lease("k", "b", 9, 20)
    assert cache.take_lease("k", "a", 9, 12)
    assert not cache.take_lease("k", "b", 11, 20)
    assert cache.take_lease("k", "b", 12, 20)
    cache.drop_lease("k", "a")
    assert not cache.take_lease("k", "a", 13, 20)
    cache.drop_lease("k", "b")
    assert cache.take_lease("k", "a", 13, 20)


def test_of_many_threads_one_gets_the_lease():
    cache = MemoryCache()
    barrier = threading.Barrier(16)
    won = []

    def race(name: str) -> None:
        barrier.wait()
        if cache.take_lease("k", name, 0, 10):
            won.append(name)

    threads = [threading.Thread(target=race, args=(str(k),)) for k in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(won) == 1
