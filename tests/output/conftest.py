"""Judgements to draw: invented from first to last, and filled so that the numbers agree with each other."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from evenhand.verdict.judgement import (
    AttributeVerdict,
    BatchVerdict,
    CaffeineRow,
    Decision,
    FaultBelief,
    Judgement,
    NextCup,
    PullReading,
    Tasted,
    VarianceRow,
)

COFFEES = ("Ninth Landing", "Paper Harbour", "Long Ladder")
SERVICES = {
    "black": {"acidity": 5.5, "sweetness": 6.0, "bitterness": 4.0, "body": 6.5, "roast": 4.5, "aftertaste": 5.5},
    "milk": {"sweetness": 6.5, "bitterness": 3.0, "body": 6.0, "coffee strength": 5.5},
}
FAULTS = ("smoky", "ashy", "scorched", "baked", "green", "harsh")
WRONG_RELEASE, WRONG_HOLD, ONE_PULL, ONE_TASTE = 400.0, 150.0, 2.5, 1.5

JudgementBuilder = Callable[..., Judgement]


def _cdf(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2))


def _attribute(service: str, name: str, target: float, shift: float, rng: np.random.Generator) -> AttributeVerdict:
    sd, tolerance = float(rng.uniform(0.2, 0.4)), 0.9
    estimate = target + shift + float(rng.normal(0, 0.3))
    shot, taster = float(rng.normal(0, 0.25)), float(rng.normal(0, 0.15))
    inside = _cdf((target + tolerance - estimate) / sd) - _cdf((target - tolerance - estimate) / sd)
    return AttributeVerdict(
        service=service,
        attribute=name,
        estimate=estimate,
        sd=sd,
        lower90=estimate - 1.645 * sd,
        upper90=estimate + 1.645 * sd,
        target=target,
        tolerance=tolerance,
        p_within=inside,
        p_above=1.0 - _cdf((target + tolerance - estimate) / sd),
        raw_mean=estimate + shot + taster + float(rng.normal(0, 0.05)),
        shot_effect=shot,
        taster_effect=taster,
        scores=int(rng.integers(6, 16)),
        scale_low=0.0,
        scale_high=10.0,
    )


def _pull(name: str, far: bool, rng: np.random.Generator) -> PullReading:
    deviation = {key: float(rng.normal(0, 0.6)) for key in ("dose", "beverage", "time", "water")}
    if far:
        deviation["time"] = 3.6
    beverage, dose = 36 + deviation["beverage"] * 2, 18 + deviation["dose"] * 0.3
    return PullReading(
        pull=name,
        judgeable=not far,
        ratio=beverage / dose,
        flow_g_per_s=beverage / (28 + deviation["time"] * 3),
        extraction_pct=None if far else 19.5 + float(rng.normal(0, 0.5)),
        extraction_sd_pct=None if far else 0.3,
        deviation={**deviation, "pressure": None},
        note="Time 3.6 tolerances over the recipe: pull again." if far else "",
    )


def _batch(number: int, decision: Decision, rng: np.random.Generator) -> BatchVerdict:
    shift = {"release": 0.0, "taste_again": 0.35, "hold": 1.1}[decision]
    profile = tuple(
        _attribute(service, name, target, shift if name in ("roast", "bitterness") else 0.0, rng)
        for service, targets in SERVICES.items()
        for name, target in targets.items()
    )
    p_within = min(row.p_within for row in profile)
    smoky = {"release": 0, "taste_again": 1, "hold": 4}[decision]
    faults = tuple(
        FaultBelief(
            fault=fault, p_present=0.004 if fault != "smoky" else min(0.97, 0.01 + 0.22 * smoky), heard=smoky, asked=12
        )
        if fault == "smoky"
        else FaultBelief(fault=fault, p_present=0.004, heard=0, asked=12)
        for fault in FAULTS
    )
    p_fault = 1 - math.prod(1 - belief.p_present for belief in faults)
    p_good = p_within * (1 - p_fault)
    name = f"EX-{2400 + number}"
    cost = {
        "release": WRONG_RELEASE * (1 - p_good),
        "hold": WRONG_HOLD * p_good,
    }
    least = min(cost.values())
    cost["taste_again"] = 0.6 * least + 8.5 if decision == "taste_again" else least + 7.7
    reasons = {
        "release": ("Every attribute lies within tolerance with a high probability, and no fault stands out.",),
        "taste_again": (
            "Roast in black lies near the upper edge of its tolerance; four more sheets would settle it.",
            "One taster of four heard smoky; the others, who hear it well, did not.",
        ),
        "hold": (
            "Roast in black is about one tolerance above its target, and the pulls explain almost nothing of it.",
            "Smoky was heard in 4 of 12 reports by tasters who seldom hear it wrongly.",
            "Releasing is expected to cost more than twice what holding costs.",
        ),
    }[decision]
    return BatchVerdict(
        batch=name,
        coffee=COFFEES[number % len(COFFEES)],
        roasted_on=f"2031-{1 + number // 28:02d}-{1 + number % 28:02d}",
        decision=decision,
        p_within=p_within,
        p_fault=p_fault,
        p_good=p_good,
        expected_cost=cost,
        next_cup=NextCup(
            worth=12.4 if decision == "taste_again" else 0.8,
            cost=8.5,
            what="one more pull, black, with all four tasters",
        ),
        profile=profile,
        faults=faults,
        pulls=tuple(_pull(f"{name}-{i}", i == 3 and number % 4 == 1, rng) for i in range(1, 4)),
        tasted=(
            Tasted(service="black", pulls=3, cups=3, tasters=4, sheets=12),
            Tasted(service="milk", pulls=1, cups=1, tasters=4, sheets=4),
        ),
        reasons=reasons,
    )


@pytest.fixture(scope="session")
def build_judgement() -> JudgementBuilder:
    """Give a builder of invented judgements: `build_judgement(batches=9, seed=1)`, `**changes` to its fields."""

    def build(batches: int = 9, seed: int = 1, **changes: object) -> Judgement:
        rng = np.random.default_rng(seed)
        order: tuple[Decision, ...] = ("release", "taste_again", "release", "hold", "release")
        verdicts = tuple(_batch(n, order[n % len(order)], rng) for n in range(batches))
        variances = tuple(
            VarianceRow(
                coffee=coffee,
                service=service,
                attribute=name,
                batch=float(rng.uniform(0.05, 0.5)),
                taster=float(rng.uniform(0.1, 0.6)),
                batch_taster=float(rng.uniform(0, 0.1)),
                pull=float(rng.uniform(0, 0.1)),
                residual=float(rng.uniform(0.3, 0.8)),
                log_likelihood=-float(rng.uniform(100, 300)),
            )
            for coffee in COFFEES
            for service, targets in SERVICES.items()
            for name in targets
        )
        caffeine = tuple(
            CaffeineRow(table=f"T{table}", taster=taster, cups=table + 2, caffeine_mg=table * 95.0 + place * 7)
            for table in (1, 2)
            for place, taster in enumerate(("Ash", "Birch", "Cedar", "Elm"))
        )
        made = Judgement(
            title="Lantern Yard, spring season",
            judged_on="2031-04-02",
            invented=True,
            batches=verdicts if batches else (),
            variances=variances if batches else (),
            caffeine=caffeine if batches else (),
            warnings=("Only 6 batches of Long Ladder: its batch variance is a rough figure.",) if batches else (),
        )
        return replace(made, **changes)

    return build


@pytest.fixture(scope="session")
def judgement(build_judgement: JudgementBuilder) -> Judgement:
    """Give nine invented batches of three coffees: five released, two to taste again, two held."""
    return build_judgement()


HOSTILE = (
    "<script>alert('x')</script>&\"' \N{RIGHT-TO-LEFT OVERRIDE}gnp #strong[*_] \\ [bold]ünïcødé 咖啡 ☕ " + "W" * 180
)


@pytest.fixture(scope="session")
def hostile(build_judgement: JudgementBuilder) -> Judgement:
    """Give a judgement in which every text that a user may type is as nasty as text can be."""
    plain = build_judgement(batches=4)
    first = plain.batches[3]
    nasty = replace(
        first,
        batch=HOSTILE,
        coffee=HOSTILE,
        next_cup=replace(first.next_cup, what=HOSTILE),
        profile=tuple(
            replace(row, attribute=HOSTILE + row.attribute, service=row.service) for row in first.profile[:2]
        ),
        faults=tuple(replace(belief, fault=HOSTILE + belief.fault) for belief in first.faults[:2]),
        pulls=tuple(replace(pull, pull=HOSTILE + pull.pull, note=HOSTILE) for pull in first.pulls),
        reasons=(HOSTILE,),
        tasted=tuple(replace(one, service=HOSTILE) for one in first.tasted),
    )
    return replace(
        plain,
        title=HOSTILE,
        batches=(nasty, *plain.batches[:3]),
        variances=tuple(replace(row, coffee=HOSTILE, attribute=HOSTILE) for row in plain.variances[:2]),
        caffeine=tuple(replace(row, taster=HOSTILE, table=HOSTILE, caffeine_mg=450.0) for row in plain.caffeine[:2]),
        warnings=(HOSTILE,),
    )
