"""What is believed of the dose a sheet needs, and how exposures sharpen it.

The target is one number of a coat, paper and process: the dose for full density, log-normal beforehand.
Each exposure multiplies in how well each target explains it (`likelihood`), so the order does not matter.
"""

import math
from collections import Counter
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from noonframe.bench.distribution import Distribution
from noonframe.bench.evidence import Conditions, Evidence, EvidenceKind
from noonframe.bench.inference import Posterior, infer
from noonframe.bench.ladder import DoseLadder, bracketing_ladder
from noonframe.bench.likelihood import log2_grid
from noonframe.bench.wording import dose_words, joined, plural, spread_words
from noonframe.dose.scene import Target
from noonframe.errors import OutOfDomain
from noonframe.stack.sensitizers import Sensitizer
from noonframe.types import FloatArray

TAIL_SHARE, TAIL_FACTOR = 0.03, 3.0
"""A published target may be wrong altogether: with this chance its spread is three times as wide, so that a
test strip far from it is believed (our own; no source).  That widens the 80 % range by 3 %, the 95 % by 7 %.
"""

NOT_BELIEVED = 0.5
"""An exposure more likely a blunder than not is named in the summary."""


@dataclass(frozen=True)
class Prior:
    """The target before any exposure: a log-normal with a thin, wider second part."""

    median_j_m2: float
    spread_stops: float
    source: str
    tail_share: float = TAIL_SHARE

    def __post_init__(self) -> None:
        Target(self.median_j_m2, 0.0, self.source)  # the same limits
        if not 0.05 <= self.spread_stops <= 4.0:
            raise OutOfDomain("prior.spread_stops", self.spread_stops, "between 0.05 and 4 stops")
        if not 0.0 <= self.tail_share <= 0.5:
            raise OutOfDomain("prior.tail_share", self.tail_share, "between 0 and 0.5")

    @classmethod
    def of_sensitizer(cls, sensitizer: Sensitizer) -> "Prior":
        """The published target of a coat."""
        return cls(sensitizer.target_j_m2, sensitizer.target_spread_stops, sensitizer.provenance)

    def density(self) -> FloatArray:
        """Density (n,) per stop on the bench's grid; kept above 0 far out, where it no longer matters."""
        x = log2_grid() - math.log2(self.median_j_m2)
        parts = ((1.0 - self.tail_share, 1.0), (self.tail_share, TAIL_FACTOR))
        density = sum(
            share * np.exp(-0.5 * (x / (factor * self.spread_stops)) ** 2) / (factor * self.spread_stops)
            for share, factor in parts
        )
        return np.maximum(density / math.sqrt(2.0 * math.pi), 1e-300)


@dataclass(frozen=True)
class EvidenceSpan:
    """Where one exposure puts the target, to be drawn: None is an open end.

    `spread_stops` is that of light and eye together; `blunder_probability` how likely it tells nothing true.
    """

    kind: EvidenceKind
    low_j_m2: float | None
    high_j_m2: float | None
    spread_stops: float
    blunder_probability: float


@dataclass(frozen=True, eq=False)
class BeliefCurves:
    """What a picture of the belief needs: doses (n,), densities (n,) per stop, and the evidence."""

    dose_j_m2: FloatArray
    prior_density: FloatArray
    posterior_density: FloatArray
    spans: tuple[EvidenceSpan, ...]


@dataclass(frozen=True)
class Belief:
    """A prior and the exposures since.  Values, not state: `updated` gives another belief."""

    prior: Prior
    evidence: tuple[Evidence, ...] = ()

    def updated(self, *evidence: Evidence) -> "Belief":
        """The belief with more evidence; an occasion's shared spread must be told alike by all of it."""
        return Belief(self.prior, (*self.evidence, *evidence))

    @cached_property
    def posterior(self) -> Posterior:
        """The target in full: distribution, fitted terms, and which exposures are not believed."""
        return infer(self.prior.density(), self.evidence)

    @property
    def distribution(self) -> Distribution:
        """The target under the average conditions of the evidence."""
        return self.posterior.average

    def under(self, conditions: Conditions) -> Distribution:
        """The target under given conditions; as `distribution` while no term is fitted."""
        return self.posterior.under(conditions)

    def target(self, conditions: Conditions | None = None) -> Target:
        """The target for an exposure: median, spread, and the summary as its source."""
        found = self.distribution if conditions is None else self.under(conditions)
        return Target(found.median_j_m2, found.spread_stops, self.sentence)

    def ladder(self, step_stops: float | None = None, count: int | None = None) -> DoseLadder:
        """The test strip that brackets this belief by two spreads to either side."""
        found = self.distribution
        return bracketing_ladder(found.median_j_m2, found.spread_stops, step_stops=step_stops, count=count)

    @cached_property
    def sentence(self) -> str:
        """What is believed and from what, e.g. "from 1 strip and 3 prints: 21 kJ/m² ± ¼ stop".

        The dose is the median to two figures, after the sign stands one standard deviation.
        """
        found = self.distribution
        return f"{self._basis()}: {dose_words(found.median_j_m2)} ± {spread_words(found.spread_stops)}"

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What else to say: exposures that do not fit, terms that are fitted, conditions that are not."""
        posterior = self.posterior
        odd = Counter(
            item.kind
            for item, chance in zip(self.evidence, posterior.blunders, strict=True)
            if chance > NOT_BELIEVED
        )
        notes = []
        if odd:
            total = sum(odd.values())
            verb = "does not fit the rest and counts" if total == 1 else "do not fit the rest and count"
            notes.append(
                f"{joined([plural(odd[k], k.value) for k in EvidenceKind if odd[k]])} {verb} for little"
            )
        for term in posterior.terms:
            covariate = term.recorded.covariate
            notes.append(
                f"per {covariate.step:g} {covariate.unit} of {covariate.label} the target changes by "
                f"{term.slope_stops:+.2f} ± {term.slope_spread_stops:.2f} stop; it is given for "
                f"{term.recorded.mean:.0f} {covariate.unit}"
            )
        fitted = {term.recorded.covariate.name for term in posterior.terms}
        for each in posterior.recorded:
            if each.covariate.name in fitted:
                continue
            why = f"{each.covariate.label} varies less than others do" if each.enough else each.why_not
            notes.append(f"{why}: not taken into account")
        return tuple(notes)

    def curves(self) -> BeliefCurves:
        """Prior, posterior and evidence to draw, over the doses that either holds possible."""
        prior = Distribution.of(self.prior.density()).density
        posterior = self.distribution.density
        # the thin tail of the prior would stretch the picture
        shown = (prior > 1e-3 * prior.max()) | (posterior > 1e-3 * posterior.max())
        first, last = np.flatnonzero(shown)[[0, -1]]
        part = slice(int(first), int(last) + 1)
        spans = tuple(
            EvidenceSpan(
                item.kind,
                item.readings[0].low_j_m2,
                item.readings[0].high_j_m2,
                math.hypot(item.readings[0].spread_stops, item.light_spread_stops, item.shared_spread_stops),
                chance,
            )
            for item, chance in zip(self.evidence, self.posterior.blunders, strict=True)
        )
        return BeliefCurves(2.0 ** log2_grid()[part], prior[part], posterior[part], spans)

    def _basis(self) -> str:
        counts = Counter(item.kind for item in self.evidence)
        if not counts:
            return "from the published figure alone"
        return "from " + joined([plural(counts[kind], kind.value) for kind in EvidenceKind if counts[kind]])
