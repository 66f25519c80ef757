"""Stock against life: the months of sales, the months of life, and what follows."""

import numpy as np
import pytest

from evenhand.errors import DesignError, QuantityError
from evenhand.season._ageing_leaving import Leaving
from evenhand.season.ageing import stock_against_life
from evenhand.units import Measured
from evenhand.words import capitalise, say


def leaving(likely, width=1.0, now=5.0, attribute="Acidity", horizon=24.0):
    """An attribute whose month of leaving is normal about a month since harvest."""
    from scipy.special import ndtr

    months = now + np.arange(0, horizon + 0.125, 0.25)
    p = ndtr((months - likely) / width)
    ends = now + horizon
    early, late = likely - 1.2816 * width, likely + 1.2816 * width
    inside = [m if m < ends else None for m in (likely, early, late)]
    return Leaving(attribute, now, *inside, "below", months, p, "")


def test_the_example_by_hand():
    """42 bags at 8.4 a month are 5 months; life ends in 3, so 14 bags a month are needed, or 16.8 go to a blend."""
    found = stock_against_life(42, Measured(8.4), [leaving(8.0)])
    assert found.months_of_sales == pytest.approx(5.0)
    assert found.months_of_life == pytest.approx(3.0)
    assert found.bags_a_month_needed == pytest.approx(14.0)
    assert found.bags_to_blend == pytest.approx(16.8)
    assert found.p_left_before_sold == pytest.approx(0.97725, abs=1e-4)  # two standard deviations: any normal table
    assert found.action == "sell faster or move to a blend"
    assert found.says.startswith("42 bags left, 5.0 months of sales, about 3.0 months of life (Acidity).")
    assert "no expiry" in found.says
    # Taste when the chance reaches 10 %: 3 - 1.28 months, on a grid of a quarter.
    assert found.taste_in_months == pytest.approx(1.75)


def test_bags_beyond_agree_with_draws():
    """Oracle: months of leaving and sales drawn by numpy; the bags sold after leaving are counted."""
    rng = np.random.default_rng(2)
    sales = Measured(8.0, 2.0)
    found = stock_against_life(42, sales, [leaving(8.0)])
    width = np.sqrt(np.log1p((sales.sd / sales.value) ** 2))
    rate = sales.value * np.exp(width * rng.standard_normal(100_000) - width**2 / 2)
    left_after = np.maximum(8.0 + rng.standard_normal(100_000) - 5.0, 0.0)
    beyond = np.maximum(42 - rate * left_after, 0.0)
    assert found.bags_beyond == pytest.approx(beyond.mean(), rel=0.02)
    assert found.p_left_before_sold == pytest.approx(np.mean(beyond > 0), abs=0.01)


@pytest.mark.parametrize(
    ("likely", "action", "words"),
    [
        (20.0, "carry on", "Carry on."),
        (10.5, "taste sooner", "Taste it within 4.2 months."),
        (9.0, "sell faster or move to a blend", "sell 10 bags a month instead of 8"),
    ],
)
def test_each_action(likely, action, words):
    found = stock_against_life(42, Measured(8.4), [leaving(likely)])
    assert found.action == action
    assert words in found.says


def test_the_first_to_leave_decides():
    found = stock_against_life(42, Measured(8.4), [leaving(20.0), leaving(8.0, attribute="Sweetness")])
    assert found.attribute == "Sweetness"


def test_beyond_the_horizon_it_carries_on():
    found = stock_against_life(10, Measured(5.0), [leaving(60.0)])
    assert found.months_of_life is None
    assert found.bags_to_blend == 0
    assert "more than 24 months of life" in found.says


def test_faster_sales_never_raise_the_risk():
    chances = [stock_against_life(42, Measured(rate, 1.0), [leaving(9.0)]).p_left_before_sold for rate in (5, 8, 14)]
    assert chances == sorted(chances, reverse=True)


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: stock_against_life(0, Measured(5.0), [leaving(9)]), QuantityError, "more than 0"),
        (lambda: stock_against_life(9, Measured(0.0), [leaving(9)]), QuantityError, "more than 0"),
        (lambda: stock_against_life(9, Measured(5.0), []), DesignError, "at least one"),
        (lambda: stock_against_life(9, Measured(5.0), [leaving(9), leaving(9, now=4)]), DesignError, "of today"),
        (lambda: stock_against_life(9, Measured(5.0), [leaving(9)], taste_above=0.9), DesignError, "thresholds"),
    ],
)
def test_what_cannot_be_is_refused(call, error, words):
    with pytest.raises(error, match=words):
        call()


@pytest.mark.parametrize("bags", [3.5, 42])
@pytest.mark.parametrize("likely", [5.0, 8.0, 10.5, 13.0, 60.0])
def test_every_sentence_can_be_told_in_another_language(untold, bags, likely):
    attribute = capitalise(say("{attribute}, milk", attribute="ZZ"))
    for rate in (0.7, 8.4):
        assert untold(stock_against_life(bags, Measured(rate), [leaving(likely, attribute=attribute)]).says) == {"ZZ"}
    with pytest.raises(DesignError) as refused:
        stock_against_life(9, Measured(5.0), [])
    assert untold(refused.value.args[0]) == set()
