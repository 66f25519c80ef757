"""What a judgement says: plain frozen records, filled by the verdict floor and read by every output.

The names are those of the judgement file (see docs/formats.md), so that a page, a PDF and the JSON cannot drift apart.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Decision = Literal["release", "taste_again", "hold"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AttributeVerdict:
    """One attribute in one service of one batch, at the house recipe and for the panel's mean taster.

    All of `estimate`, `sd`, `lower90`, `upper90`, `target`, `tolerance`, `raw_mean`, `shot_effect` and `taster_effect`
    are in points of the attribute's scale. Where the batch was not scored on it, `raw_mean` is None and both effects
    are 0: the estimate then comes from the target and from the coffee's other batches, where there are any. `p_above`
    is the probability of lying above the tolerance; what is missing to 1 lies below.
    """

    service: str
    attribute: str
    estimate: float
    sd: float
    lower90: float
    upper90: float
    target: float
    tolerance: float
    p_within: float
    p_above: float
    raw_mean: float | None
    shot_effect: float
    taster_effect: float
    scores: int
    scale_low: float
    scale_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultBelief:
    """The probability that a fault is in the roast; `heard` of `asked` reports named it."""

    fault: str
    p_present: float
    heard: int
    asked: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PullReading:
    """One pull against its recipe; `deviation` is signed and in tolerances, None where unknown.

    The keys of `deviation` are dose, beverage, time, water and pressure. `extraction_pct` is None without a reading of
    dissolved solids. `note` says in plain words what was off (empty when nothing was).
    """

    pull: str
    judgeable: bool
    ratio: float
    flow_g_per_s: float
    extraction_pct: float | None
    extraction_sd_pct: float | None
    deviation: Mapping[str, float | None]
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCup:
    """The best next tasting: what it would save on average (`worth`), its price (`cost`), and what to do in words.

    `pulls` says the same for a program: how many new pulls in each service, each tasted by `tasters`.
    """

    worth: float
    cost: float
    what: str
    pulls: tuple[tuple[str, int], ...] = ()
    tasters: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tasted:
    """How much tasting stands behind a batch in one service."""

    service: str
    pulls: int
    cups: int
    tasters: int
    sheets: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchVerdict:
    """Release, taste again or hold for one batch, with the probabilities, costs and reasons behind it.

    `expected_cost` has the keys release, hold and taste_again, in the currency of the costs file. `p_good` is the
    probability that the profile lies within tolerance and no fault is in the roast.
    """

    batch: str
    coffee: str
    roasted_on: str
    decision: Decision
    p_within: float
    p_fault: float
    p_good: float
    expected_cost: Mapping[str, float]
    next_cup: NextCup
    profile: tuple[AttributeVerdict, ...]
    faults: tuple[FaultBelief, ...]
    pulls: tuple[PullReading, ...]
    tasted: tuple[Tasted, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class VarianceRow:
    """Variance components (points squared) and REML log-likelihood of one attribute in one service."""

    coffee: str
    service: str
    attribute: str
    batch: float
    taster: float
    batch_taster: float
    pull: float
    residual: float
    log_likelihood: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CaffeineRow:
    """Caffeine offered to one taster at one table, in milligrams, if every sip is swallowed."""

    table: str
    taster: str
    cups: int
    caffeine_mg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """The whole answer: a verdict for each batch, the variances behind them, and what the reader should know.

    `title` names the folder judged; `invented` is True when the folder marks its data as invented (the demo);
    `warnings` are sentences about the input or the model that change how far the verdicts can be trusted.
    """

    title: str
    judged_on: str
    invented: bool
    batches: tuple[BatchVerdict, ...]
    variances: tuple[VarianceRow, ...]
    caffeine: tuple[CaffeineRow, ...] = ()
    warnings: tuple[str, ...] = field(default=())
