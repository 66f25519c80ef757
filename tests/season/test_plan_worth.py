"""The worth of a check and the chance that a taster has drifted."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from evenhand.errors import QuantityError
from evenhand.panel.assessors import Drift, assess
from evenhand.season.plan import chance_drifted, worth_of_check

chances = st.floats(0, 1)
costs = st.floats(0, 500)


def test_by_hand():
    """A lot aged with 30 %; selling it aged costs 200, blending it needlessly 80: now 56 is at stake (blend).

    A check that hears it with 80 % and cries wrongly with 10 %: shown, min(0.24 x 200, 0.07 x 80) = 5.6; silent,
    min(0.06 x 200, 0.63 x 80) = 12. So it saves 56 - 17.6 = 38.4.
    """
    assert worth_of_check(0.3, 200.0, 80.0, hears=0.8, false_alarm=0.1) == pytest.approx(38.4)
    assert worth_of_check(0.3, 200.0, 80.0) == pytest.approx(56.0)


def test_agrees_with_draws():
    """Oracle: 400 000 invented lots by numpy, with Bayes' theorem after the check."""
    rng = np.random.default_rng(1)
    p, missed, needless, hears, alarm = 0.2, 120.0, 60.0, 0.7, 0.15
    bad = rng.random(400_000) < p
    shown = rng.random(400_000) < np.where(bad, hears, alarm)
    after = {
        True: p * hears / (p * hears + (1 - p) * alarm),
        False: p * (1 - hears) / (1 - p * hears - (1 - p) * alarm),
    }
    act = {key: q * missed > (1 - q) * needless for key, q in after.items()}
    acted = np.where(shown, act[True], act[False])
    with_check = np.mean(np.where(acted, ~bad * needless, bad * missed))
    without = min(p * missed, (1 - p) * needless)
    assert worth_of_check(p, missed, needless, hears=hears, false_alarm=alarm) == pytest.approx(
        without - with_check, abs=0.2
    )


@given(chances, costs, costs, chances, chances)
def test_never_more_than_perfect_knowledge(p, missed, needless, hears, alarm):
    worth = worth_of_check(p, missed, needless, hears=hears, false_alarm=alarm)
    assert 0 <= worth <= worth_of_check(p, missed, needless) + 1e-9


@given(chances, costs, costs, chances)
def test_a_coin_is_worth_nothing(p, missed, needless, coin):
    assert worth_of_check(p, missed, needless, hears=coin, false_alarm=coin) == pytest.approx(0.0, abs=1e-9)


class TestDrifted:
    def test_by_the_normal_table(self):
        """Wandering 0.3 a root week, four weeks: sd 0.6; beyond 0.6 either way is 31.73 % (any normal table)."""
        assert chance_drifted(4.0, 0.6, wander_sd=0.3) == pytest.approx(0.3173, abs=1e-4)
        assert chance_drifted(0.0, 0.6, wander_sd=0.3) == 0.0

    def test_a_trend_adds(self):
        """Against scipy's normal distribution, with the trend's own error."""
        drift = Drift(slope=0.1, slope_se=0.05, p=0.06, sessions=8)
        sd = np.sqrt(0.3**2 * 4 + (0.05 * 4) ** 2)
        expected = norm.cdf(-0.6, 0.4, sd) + norm.sf(0.6, 0.4, sd)
        assert chance_drifted(4.0, 0.6, wander_sd=0.3, drift=drift) == pytest.approx(expected)

    def test_it_takes_what_the_panels_assessment_gives(self):
        rng = np.random.default_rng(2)
        session = np.repeat(np.arange(8), 12)
        batch = np.repeat(np.arange(32), 3)
        taster = np.tile(["Ada", "Ben", "Cy"], 32)
        score = 6 + rng.normal(0, 0.5, 32)[batch] + 0.2 * session * (taster == "Ben") + rng.normal(0, 0.2, 96)
        found = {one.taster: one.drift for one in assess(score, batch, taster, when=session)}
        ben, ada = (chance_drifted(4.0, 0.6, wander_sd=0.1, drift=found[name]) for name in ("Ben", "Ada"))
        assert ben > 0.8 > ada

    @given(st.floats(0.1, 20), st.floats(0.1, 2), st.floats(0.05, 1))
    def test_time_only_raises_it(self, since, limit, wander):
        assert chance_drifted(since, limit, wander_sd=wander) <= chance_drifted(2 * since, limit, wander_sd=wander)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: worth_of_check(1.2, 1, 1), "p_bad"),
        (lambda: worth_of_check(0.2, -1, 1), "cost_missed"),
        (lambda: worth_of_check(0.2, 1, 1, hears=2), "hears"),
        (lambda: chance_drifted(-1, 1, wander_sd=1), "0 or more"),
        (lambda: chance_drifted(1, 0, wander_sd=1), "more than 0"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(QuantityError, match=words):
        call()
