"""Caffeine of a pull, against the figure for a large drink that the trade would know."""

import pytest

from evenhand.errors import QuantityError
from evenhand.espresso.caffeine import pull_caffeine_mg


def test_a_double_dose_of_32_g_is_about_307_mg():
    """From memory: 1.2 % caffeine in roasted arabica, four fifths extracted; 32 g then give 307 mg, 20 g 192 mg."""
    assert pull_caffeine_mg(32) == pytest.approx(307, abs=0.5)
    assert pull_caffeine_mg(20) == pytest.approx(192, abs=0.5)


def test_no_dose_is_refused():
    with pytest.raises(QuantityError, match="dose"):
        pull_caffeine_mg(0)
