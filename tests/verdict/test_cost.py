"""Expected costs: the indifference point and refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import QuantityError
from evenhand.verdict.cost import Costs, expected_hold, expected_release

money = st.floats(0.1, 1000)


@given(money, money)
def test_both_choices_cost_the_same_at_the_turning_point(wrong_release, wrong_hold):
    costs = Costs(wrong_release=wrong_release, wrong_hold=wrong_hold, one_pull=1, one_taste=1, prior_bad=0.1)
    edge = costs.release_above
    assert expected_release(edge, costs) == pytest.approx(expected_hold(edge, costs))
    assert expected_release(1.0, costs) == 0
    assert expected_hold(0.0, costs) == 0


@pytest.mark.parametrize(("name", "value"), [("wrong_release", -1), ("one_pull", float("nan")), ("prior_bad", 1.0)])
def test_impossible_costs_are_refused_by_name(name, value):
    values = {"wrong_release": 1, "wrong_hold": 1, "one_pull": 1, "one_taste": 1, "prior_bad": 0.1, name: value}
    with pytest.raises(QuantityError, match=name):
        Costs(**values)
