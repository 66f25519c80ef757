"""Quantities with uncertainty: algebra against simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import QuantityError
from evenhand.units import Measured, half_width_to_sd, pct_from_share, share_from_pct

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
