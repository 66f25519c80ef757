"""What attributes lend each other: known laws are found again, and thin data leave the prior alone."""

import numpy as np
import pytest

from evenhand.verdict.priors import coffee_sd, first_priors, learn_priors
from evenhand.verdict.tables import Goal, Panel


class FakeFit:
    """A fit whose log s.d. is known with a stated doubt under a prior, as learn_priors sees it."""

    def __init__(self, told, told_var, before, prior_var):
        precision = 1 / told_var + 1 / prior_var
        self.active = ("batch",)
        self.log_sd = np.array([(told / told_var + before / prior_var) / precision])
        self.information = np.array([[precision]])


class FakeWork:
    def __init__(self, attributes):
        self.attributes = attributes

    def units(self, _term):
        return np.ones(self.attributes)


def learn(told, told_var, start=(0.4, 0.6)):
    before, prior_var = np.log(start[0]), start[1] ** 2
    fits = [FakeFit(one, told_var, before, prior_var) for one in told]
    return learn_priors([FakeWork(len(told))], [fits], {"batch": start})["batch"]


@pytest.mark.parametrize(("between", "doubt"), [(0.2, 0.1), (0.5, 0.3), (0.8, 0.5)])
def test_centre_and_spread_of_many_attributes_are_found(between, doubt):
    rng = np.random.default_rng(3)
    told = np.log(0.3) + between * rng.standard_normal(400) + doubt * rng.standard_normal(400)
    median, spread = learn(told, doubt**2)
    assert median == pytest.approx(0.3, rel=0.12)
    assert spread == pytest.approx(between, abs=0.06)


def test_sheets_that_say_nothing_leave_the_prior_as_it_was():
    rng = np.random.default_rng(4)
    median, spread = learn(np.log(0.4) + 30 * rng.standard_normal(5), 30.0**2)
    assert median == pytest.approx(0.4, rel=0.05)
    assert spread == pytest.approx(0.6, abs=0.05)


def test_a_fit_that_says_less_than_its_prior_is_not_listened_to():
    """Where the curvature at the mode falls short of the prior's own, there is nothing to take out."""
    before, prior_var = np.log(0.4), 0.36
    fits = [FakeFit(0.0, 0.05, before, prior_var) for _ in range(4)]
    fits[0].information = np.array([[0.9 / prior_var]])
    fits[0].log_sd = np.array([-3.0])
    with_it = learn_priors([FakeWork(4)], [fits], {"batch": (0.4, 0.6)})["batch"]
    without = learn_priors([FakeWork(3)], [fits[1:]], {"batch": (0.4, 0.6)})["batch"]
    assert with_it == pytest.approx(without)


def test_two_attributes_teach_nothing():
    assert learn([0.0, 0.1], 0.01) == (0.4, 0.6)


def panel(prior_bad):
    goal = Goal(np.array([4.0]), np.array([1.0]), (0.0, 10.0))
    return Panel(
        batches=("B",),
        coffees=("K",),
        tasters=("T",),
        pulls=(),
        coffee_of_batch=np.array([0]),
        goals={("black", "bitterness"): goal, ("milk", "bitterness"): goal},
        response=None,
        bad_by_profile=prior_bad,
    )


def test_coffees_and_batches_share_the_spread_about_the_target():
    usual = coffee_sd([], [])
    assert usual == pytest.approx(0.3)
    batch = first_priors(usual, panel(0.1))["batch"][0]
    wide = first_priors(0.0, panel(0.1))["batch"][0]
    assert np.hypot(batch, usual) == pytest.approx(wide)


def test_a_tolerance_wider_than_the_scale_is_no_unit():
    assert Goal(np.array([4.0]), np.array([1e4]), (0.0, 10.0)).unit == 2.5
    assert Goal(np.array([4.0, 5.0]), np.array([1.0, np.nan]), (0.0, 10.0)).unit == 1.0
