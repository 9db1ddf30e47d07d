"""A finished print in plain words, and the dose errors that the words stand for."""

import math
from enum import StrEnum

from noonframe.errors import Malformed, OutOfDomain


class Judgement(StrEnum):
    """A finished print in plain words."""

    FAR_TOO_PALE = "far too pale"
    TOO_PALE = "too pale"
    A_LITTLE_PALE = "a little pale"
    RIGHT = "right"
    A_LITTLE_DARK = "a little dark"
    TOO_DARK = "too dark"
    FAR_TOO_DARK = "far too dark"

    @classmethod
    def from_text(cls, text: str) -> "Judgement":
        """The judgement with those words, in any case; `Malformed` names those there are."""
        wanted = " ".join(text.lower().replace("-", " ").replace("_", " ").split())
        for judgement in cls:
            if judgement == wanted:
                return judgement
        raise Malformed("judgement", text, "one of " + ", ".join(cls))


_EDGES_STOPS = (-1.5, -0.75, -0.25, 0.25, 0.75, 1.5)
"""Bands of dose error that the words stand for, in stops, paler below 0 (our own; no source): half a stop
for "right", as one strip of the usual test strip, then half and three quarters of a stop, then open."""


def judgement_band_stops(judgement: Judgement) -> tuple[float, float]:
    """The dose errors a word stands for, in stops; the outermost words are open to minus or plus infinity."""
    edges = (-math.inf, *_EDGES_STOPS, math.inf)
    index = list(Judgement).index(judgement)
    return edges[index], edges[index + 1]


def judgement_for(error_stops: float) -> Judgement:
    """The word for a dose error as it is seen; a finding on an edge belongs to the darker word."""
    if math.isnan(error_stops):
        raise OutOfDomain("error_stops", error_stops, "a number of stops")
    return list(Judgement)[sum(error_stops >= edge for edge in _EDGES_STOPS)]
