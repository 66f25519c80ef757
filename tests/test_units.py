"""Quantities with uncertainty: algebra against simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import QuantityError
from evenhand.units import (
    Measured,
    c_from_f,
    c_span_from_f,
    f_from_c,
    f_span_from_c,
    fl_oz_from_ml,
    half_width_to_sd,
    kg_from_lb,
    lb_from_kg,
    ml_from_fl_oz,
    pct_from_share,
    share_from_pct,
)
from evenhand.words import Words

quantities = st.builds(Measured, st.floats(1, 100), st.floats(0, 1))


@given(quantities, quantities)
def test_product_and_quotient_agree_in_relative_uncertainty(one, other):
    relative = np.hypot(one.sd / one.value, other.sd / other.value)
    product, quotient = one * other, one / other
    assert product.sd / product.value == pytest.approx(relative)
    assert quotient.sd / quotient.value == pytest.approx(relative)


@given(quantities, quantities)
def test_sum_and_difference_share_their_uncertainty(one, other):
    assert (one + other).sd == pytest.approx((one - other).sd)
    assert (one + other).value - (one - other).value == pytest.approx(2 * other.value)


@given(quantities)
def test_percent_and_share_are_inverse(one):
    back = pct_from_share(share_from_pct(one))
    assert (back.value, back.sd) == pytest.approx((one.value, one.sd))


def test_half_width_of_a_rectangle_by_simulation():
    rng = np.random.default_rng(5)
    assert half_width_to_sd(0.5) == pytest.approx(rng.uniform(-0.5, 0.5, 200_000).std(), rel=0.01)
    with pytest.raises(QuantityError, match="half-width"):
        half_width_to_sd(-1)


@pytest.mark.parametrize(
    ("there", "back"),
    [
        (kg_from_lb, lb_from_kg),
        (ml_from_fl_oz, fl_oz_from_ml),
        (c_from_f, f_from_c),
        (c_span_from_f, f_span_from_c),
    ],
)
@given(value=st.floats(-500, 500))
def test_units_convert_there_and_back(there, back, value):
    assert back(there(value)) == pytest.approx(value, abs=1e-9)


def test_units_against_published_factors():
    # NIST Handbook 44, appendix C: 1 lb = 453.592 37 g exactly; 1 US gallon (128 fl oz) = 3.785 411 784 l exactly.
    assert kg_from_lb(1) * 1000 == pytest.approx(453.59237, rel=1e-15)
    assert ml_from_fl_oz(128) == pytest.approx(3785.411784, rel=1e-15)
    # The ice and steam points, and the two scales' crossing at -40 (definition of the scales; NIST SP 811, B.8).
    assert (c_from_f(32), c_from_f(212), c_from_f(-40)) == pytest.approx((0, 100, -40), abs=1e-12)
    assert f_from_c(93) == pytest.approx(199.4)
    assert c_span_from_f(1.8) == pytest.approx(1)


@pytest.mark.parametrize(
    "slip",
    [
        lambda: Measured(np.inf),
        lambda: Measured(1.0, -0.1),
        lambda: Measured(1.0) / Measured(0.0),
        lambda: half_width_to_sd(-1.0),
    ],
)
def test_a_refusal_can_be_told_in_another_language(slip):
    with pytest.raises(QuantityError) as refused:
        slip()
    assert isinstance(refused.value.args[0], Words)
