"""Counts and durations of requests, for Prometheus; by route, never by who or what was asked.

Each app has its own numbers, and each worker process its own app: with several, each is to be asked by its
own address.
"""

from bisect import bisect_left
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from prometheus_client.metrics_core import Metric

BOUNDS_S = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)


class Metrics:
    """What an app has answered; told to by its one loop, read from there too."""

    def __init__(self) -> None:
        self._answers: dict[tuple[str, str, int], int] = {}
        self._durations: dict[str, list[float]] = {}  # a count for each bound and beyond, then the sum

    def count(self, template: str, method: str, status: int, took_s: float | None) -> None:
        """One more answer; `took_s` is None for a stream, whose length says nothing."""
        key = (template, method, status)
        self._answers[key] = self._answers.get(key, 0) + 1
        if took_s is None:
            return
        counts = self._durations.get(template)
        if counts is None:
            counts = self._durations[template] = [0.0] * (len(BOUNDS_S) + 2)
        counts[bisect_left(BOUNDS_S, took_s)] += 1
        counts[-1] += took_s

    def text(self, gauges: dict[str, tuple[str, float]]) -> tuple[bytes, str]:
        """The exposition text and its media type; `gauges` are what is counted elsewhere."""
        from prometheus_client import CollectorRegistry
        from prometheus_client.exposition import CONTENT_TYPE_LATEST, generate_latest

        registry = CollectorRegistry()
        registry.register(_Reader(self, gauges))
        return generate_latest(registry), CONTENT_TYPE_LATEST

    def read(self, gauges: dict[str, tuple[str, float]]) -> "Iterator[Metric]":
        """The numbers in the shape that the library writes."""
        from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, HistogramMetricFamily

        answers = CounterMetricFamily(
            "noonframe_requests", "Requests answered.", labels=("route", "method", "status")
        )
        for (template, method, status), answered in sorted(self._answers.items()):
            answers.add_metric((template, method, str(status)), answered)
        yield answers
        durations = HistogramMetricFamily(
            "noonframe_request_seconds", "How long answers took, streams left out.", labels=("route",)
        )
        for template, counts in sorted(self._durations.items()):
            so_far, buckets = 0.0, []
            for bound, number in zip((*map(str, BOUNDS_S), "+Inf"), counts[:-1], strict=True):
                so_far += number
                buckets.append((bound, so_far))
            durations.add_metric((template,), buckets, counts[-1])
        yield durations
        for name, (text, value) in gauges.items():
            yield GaugeMetricFamily(name, text, value)


class _Reader:
    """What the library calls a collector."""

    def __init__(self, metrics: Metrics, gauges: dict[str, tuple[str, float]]) -> None:
        self._metrics = metrics
        self._gauges = gauges

    def collect(self) -> Any:
        """The numbers now."""
        return self._metrics.read(self._gauges)
