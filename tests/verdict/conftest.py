"""Small invented tastings for the verdict's tests."""

from collections.abc import Callable

import numpy as np
import pytest

from evenhand.espresso.recipe import HouseRecipe, Pull
from evenhand.verdict.cost import Costs
from evenhand.verdict.tastings import Batch, BatchPull, Reports, Scores, Target, Tastings

RECIPE = HouseRecipe(
    name="house",
    dose_g=16,
    dose_tol_g=0.3,
    beverage_g=32,
    beverage_tol_g=1.5,
    time_s=28,
    time_tol_s=2,
    water_c=92.5,
    water_tol_c=1,
)
Cup = tuple[str, Pull, str, dict[str, dict[str, float]]]  # batch, pull, service, scores by taster and attribute


def build(
    cups: list[Cup],
    *,
    batches: tuple[str, ...] = (),
    coffees: dict[str, str] | None = None,
    targets: dict[tuple[str, str], Target] | None = None,
    heard: list[tuple[str, str, str, str, float]] | None = None,
    costs: Costs | None = None,
    scale: tuple[float, float] = (0.0, 10.0),
) -> Tastings:
    """Put cups and fault reports (batch, pull, taster, fault, heard) together; every pull makes one cup."""
    names = batches or tuple(dict.fromkeys(batch for batch, *_ in cups))
    coffee_of = coffees or dict.fromkeys(names, "K")
    goals = targets or {("black", "bitterness"): Target(4.0, 1.0), ("milk", "sweetness"): Target(6.0, 1.0)}
    rows = [
        (batch, pull.name, f"cup-{pull.name}", taster, service, attribute, value)
        for batch, pull, service, sheets in cups
        for taster, scores in sheets.items()
        for attribute, value in scores.items()
    ]
    columns = list(zip(*rows, strict=True)) if rows else [()] * 7
    reports = list(zip(*(heard or []), strict=True)) or [()] * 5

    def text(values: tuple[object, ...]) -> np.ndarray:
        return np.array([str(value) for value in values], dtype=np.str_)

    return Tastings(
        title="test",
        judged_on="2026-06-01",
        batches=tuple(Batch(batch=name, coffee=coffee_of[name], roasted_on="2026-05-01") for name in names),
        recipes=dict.fromkeys(set(coffee_of.values()), RECIPE),
        targets=dict.fromkeys(set(coffee_of.values()), goals),
        scales={attribute: scale for _, attribute in goals},
        pulls=tuple(BatchPull(batch=batch, pull=pull) for batch, pull, *_ in cups),
        scores=Scores(
            batch=text(columns[0]),
            pull=text(columns[1]),
            cup=text(columns[2]),
            taster=text(columns[3]),
            service=text(columns[4]),
            attribute=text(columns[5]),
            score=np.array(columns[6], dtype=float),
        ),
        reports=Reports(
            batch=text(reports[0]),
            pull=text(reports[1]),
            cup=text(tuple(f"cup-{pull}" for pull in reports[1])),
            taster=text(reports[2]),
            fault=text(reports[3]),
            heard=np.array(reports[4], dtype=float),
        ),
        costs=costs or Costs(wrong_release=400, wrong_hold=150, one_pull=3, one_taste=2, prior_bad=0.1),
        tables={f"cup-{pull.name}": "T1" for _, pull, *_ in cups},
    )


def pull(name: str, *, beverage_g: float = 32, time_s: float = 28, tds_pct: float | None = None) -> Pull:
    """One shot of 16 g at the recipe's water."""
    return Pull(name=name, dose_g=16, beverage_g=beverage_g, time_s=time_s, water_c=92.5, tds_pct=tds_pct)


def season(
    rng: np.random.Generator, level: Callable[[int], float], *, batches: int = 20, long_pulls: tuple[int, ...] = ()
) -> list[Cup]:
    """Black bitterness of `batches` batches, two pulls by three of four tasters; `long_pulls` ran long and slow."""
    cups: list[Cup] = []
    offset = {"Ada": 0.6, "Bo": -0.2, "Cy": 0.1, "Di": -0.5}
    for batch in range(batches):
        for shot in range(2):
            off = batch in long_pulls
            one = pull(
                f"{batch:02d}-{shot}",
                beverage_g=float(np.round((35 if off else 32) + 0.8 * rng.standard_normal(), 1)),
                time_s=float(np.round((32 if off else 28) + 1.2 * rng.standard_normal(), 1)),
            )
            lean = 2.0 * np.log(one.beverage_g / 32) + 3.0 * np.log(one.time_s / 28)
            tasters = rng.permutation(list(offset))[:3]
            sheets = {
                str(taster): {"bitterness": float(level(batch) + offset[taster] + lean + 0.4 * rng.standard_normal())}
                for taster in tasters
            }
            cups.append((f"B{batch:02d}", one, "black", sheets))
    return cups


@pytest.fixture
def make_tastings() -> Callable[..., Tastings]:
    """Give the builder of tastings."""
    return build


@pytest.fixture
def make_season() -> Callable[..., list[Cup]]:
    """Give the builder of a season of black cups."""
    return season


@pytest.fixture
def make_pull() -> Callable[..., Pull]:
    """Give the builder of pulls."""
    return pull


@pytest.fixture(scope="session")
def small_season() -> Tastings:
    """Give one small season, built once, whose batches climb out of tolerance."""
    cups = season(np.random.default_rng(10), lambda batch: 4.0 + 0.15 * batch, batches=8)
    return build(cups, targets={("black", "bitterness"): Target(4.0, 1.0)})
