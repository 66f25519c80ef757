"""The worth of the next cup: exact cases, simulation against them, and what must always hold."""

import dataclasses
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from evenhand.errors import DesignError
from evenhand.verdict.cost import Costs
from evenhand.verdict.worth import Belief, Tasting, best, most_it_could_save, of_tasting, one_attribute

COSTS = Costs(wrong_release=400, wrong_hold=150, one_pull=3, one_taste=2, prior_bad=0.1)


def belief(mean=(0.6,), sd=0.4, p_fault=(), services=None, met=0, sheets=0, panel=9):
    mean = np.array(mean, dtype=float)
    d = len(mean)
    p = ndtr((1 - mean) / sd) - ndtr((-1 - mean) / sd)
    return Belief(
        mean=mean,
        covariance=np.eye(d) * sd**2,
        low=-np.ones(d),
        high=np.ones(d),
        service=services or ("black",) * d,
        pull_var=np.full(d, 0.06),
        taster_var=np.full(d, 0.09),
        sheet_var=np.full(d, 0.25),
        noise_correlation=np.eye(d),
        met=np.full(d, float(met)),
        sheets=np.full(d, float(sheets)),
        panel=panel,
        p_within=float(np.prod(p)),
        p_fault=np.array(p_fault, dtype=float),
        sensitivity=np.full(len(p_fault), 0.7),
        false_alarm=np.full(len(p_fault), 0.05),
    )


def sd_after(met, each, again, new, number):
    """Standard deviation of the level once all sheets are in, and before, by the joint normal law of all unknowns.

    The unknowns are the level, what the pull of the new cups does, and each taster's own part on this batch.
    """
    prior, own, pull, sheet = 0.8**2, 0.09, 0.06, 0.25
    people = met + new
    law = np.diag([prior, pull, *[own] * people])
    rows, noise = [], []
    for person in range(met):
        rows.append([1, 0, *(float(one == person) for one in range(people))])
        noise.append(sheet / each)
    before = law - law @ np.array(rows).T @ np.linalg.solve(
        np.array(rows) @ law @ np.array(rows).T + np.diag(noise), np.array(rows) @ law
    )
    for person in [*range(again), *range(met, people)]:
        rows.append([1, 1, *(float(one == person) for one in range(people))])
        noise.append(sheet / number)
    a = np.array(rows)
    after = law - law @ a.T @ np.linalg.solve(a @ law @ a.T + np.diag(noise), a @ law)
    return float(np.sqrt(before[0, 0])), float(np.sqrt(after[0, 0]))


@pytest.mark.parametrize(
    ("met", "each", "panel", "tasters", "again"),
    [(3, 1, 9, 2, 0), (3, 2, 3, 2, 2), (4, 1, 5, 4, 3), (2, 6, 4, 4, 2), (1, 1, 1, 1, 1)],
)
def test_tasters_who_met_the_batch_tell_what_the_joint_law_of_all_sheets_says(met, each, panel, tasters, again):
    """The pull's part is shared by the new cups; the worth is that of the fall in the level's uncertainty."""
    before, after = sd_after(met, each, again, tasters - again, 1)
    believed = belief(sd=before, met=met, sheets=met * each, panel=panel)
    noise_sd = np.sqrt(1.0 / (1.0 / after**2 - 1.0 / before**2))
    worth = of_tasting(believed, Tasting(pulls=(("black", 1),), tasters=tasters), COSTS, np.random.default_rng(0))
    assert worth == pytest.approx(one_attribute(0.6, before, -1, 1, noise_sd, COSTS), rel=1e-6)


@given(st.integers(1, 6), st.integers(1, 40), st.integers(1, 4))
@settings(max_examples=40, deadline=None)
def test_tasters_who_met_the_batch_never_tell_more_than_new_ones(met, each, tasters):
    rng = np.random.default_rng(0)
    tasting = Tasting(pulls=(("black", 2),), tasters=tasters)
    new = of_tasting(belief(met=met, sheets=met * each, panel=met + 4), tasting, COSTS, rng)
    old = of_tasting(belief(met=met, sheets=met * each, panel=max(met, tasters)), tasting, COSTS, rng)
    assert old <= new + 1e-9
    assert new == pytest.approx(of_tasting(belief(), tasting, COSTS, rng))


def test_exact_worth_agrees_with_brute_force():
    rng = np.random.default_rng(1)
    mean, sd, noise = 0.7, 0.4, 0.5
    truth = mean + sd * rng.standard_normal(2_000_000)
    shown = truth + noise * rng.standard_normal(truth.size)
    gain = sd**2 / (sd**2 + noise**2)
    after_mean, after_sd = mean + gain * (shown - mean), sd * np.sqrt(1 - gain)
    p = ndtr((1 - after_mean) / after_sd) - ndtr((-1 - after_mean) / after_sd)
    inside = np.abs(truth) <= 1
    release = p > COSTS.release_above
    loss = np.where(release, COSTS.wrong_release * ~inside, COSTS.wrong_hold * inside).mean()
    now = most_it_could_save(float(inside.mean()), COSTS)
    assert one_attribute(mean, sd, -1, 1, noise, COSTS) == pytest.approx(now - loss, abs=0.3)


@given(st.floats(-2, 2), st.floats(0.1, 1), st.floats(0.1, 3))
@settings(max_examples=60, deadline=None)
def test_exact_worth_is_never_negative_nor_above_perfect_knowledge(mean, sd, noise):
    p = float(ndtr((1 - mean) / sd) - ndtr((-1 - mean) / sd))
    worth = one_attribute(mean, sd, -1, 1, noise, COSTS)
    assert -1e-6 <= worth <= most_it_could_save(p, COSTS) + 1e-6


@given(st.floats(-1.5, 1.5), st.floats(0.2, 1))
@settings(max_examples=30, deadline=None)
def test_a_quieter_measurement_is_worth_more(mean, sd):
    noises = [2.0, 1.0, 0.5, 0.1]
    worths = [one_attribute(mean, sd, -1, 1, noise, COSTS) for noise in noises]
    assert all(later >= earlier - 1e-6 for earlier, later in pairwise(worths))


def test_simulation_agrees_with_the_exact_answer():
    """A fault that nobody could have leaves the one-attribute problem, but sends it through the simulation."""
    one = belief(mean=(0.8,))
    padded = dataclasses.replace(
        one, p_fault=np.array([0.0]), sensitivity=np.array([0.7]), false_alarm=np.array([0.05])
    )
    tasting = Tasting(pulls=(("black", 1),), tasters=2)
    exact = of_tasting(one, tasting, COSTS, np.random.default_rng(0))
    simulated = [of_tasting(padded, tasting, COSTS, np.random.default_rng(seed)) for seed in range(60)]
    assert np.mean(simulated) == pytest.approx(exact, abs=4 * np.std(simulated) / np.sqrt(60))
    assert exact > 1


@pytest.mark.parametrize("d", [2, 7, 12])
@pytest.mark.parametrize(
    "tasting", [Tasting(pulls=(("black", 1),), tasters=2), Tasting(pulls=(("black", 2),), tasters=4)]
)
def test_many_independent_attributes_agree_with_conjugate_arithmetic(d, tasting):
    """Independent normal attributes: the level after is normal in closed form, and the average is brute force."""
    sd = 0.45
    one = belief(mean=(0.2,) * d, sd=sd)
    pulls = tasting.pulls[0][1]
    noise = 0.06 / pulls + 0.09 / tasting.tasters + 0.25 / (pulls * tasting.tasters)
    left = sd**2 * noise / (sd**2 + noise)
    rng = np.random.default_rng(0)
    centre = 0.2 + np.sqrt(sd**2 - left) * rng.standard_normal((200_000, d))
    p = np.prod(ndtr((1 - centre) / np.sqrt(left)) - ndtr((-1 - centre) / np.sqrt(left)), axis=1)
    loss = np.minimum(COSTS.wrong_release * (1 - p), COSTS.wrong_hold * p).mean()
    expected = most_it_could_save(one.p_good, COSTS) - loss
    found = [of_tasting(one, tasting, COSTS, np.random.default_rng(seed)) for seed in range(25)]
    assert np.mean(found) == pytest.approx(expected, abs=4 * np.std(found) / 5 + 0.05)


@pytest.mark.parametrize("wrong_release", [400, 20_000, 1e9])
def test_high_stakes_are_no_cliff(wrong_release):
    """A rare bad batch that would cost dearly: the simulation stays near the exact answer."""
    costs = dataclasses.replace(COSTS, wrong_release=wrong_release)
    one = belief(mean=(0.1,), sd=0.37)
    padded = dataclasses.replace(
        one, p_fault=np.array([0.0]), sensitivity=np.array([0.7]), false_alarm=np.array([0.05])
    )
    tasting = Tasting(pulls=(("black", 2),), tasters=4)
    exact = of_tasting(one, tasting, costs, np.random.default_rng(0))
    found = [of_tasting(padded, tasting, costs, np.random.default_rng(seed)) for seed in range(40)]
    assert np.mean(found) == pytest.approx(exact, rel=0.15, abs=0.2)


def test_tasting_an_irrelevant_service_is_worth_nothing():
    tasting = Tasting(pulls=(("milk", 2),), tasters=3)
    assert of_tasting(belief(), tasting, COSTS, np.random.default_rng(0)) == 0


def test_a_doubtful_fault_makes_a_cup_worth_tasting():
    doubtful = belief(mean=(0.0, 0.0), sd=0.2, p_fault=(0.4,))
    tasting = Tasting(pulls=(("black", 1),), tasters=3)
    worth = of_tasting(doubtful, tasting, COSTS, np.random.default_rng(0))
    # Exact by enumeration: k of 3 reports heard, binomial under present and absent.
    k = np.arange(4)
    choose = np.array([1, 3, 3, 1])
    present, absent = choose * 0.7**k * 0.3 ** (3 - k), choose * 0.05**k * 0.95 ** (3 - k)
    p_good, p_bad = 0.6 * doubtful.p_within, 1 - 0.6 * doubtful.p_within
    chance = 0.4 * present + 0.6 * absent
    good = p_good * absent
    loss = np.minimum(COSTS.wrong_release * (chance - good), COSTS.wrong_hold * good).sum()
    assert worth == pytest.approx(most_it_could_save(1 - p_bad, COSTS) - loss, rel=0.1)


def test_nothing_is_simulated_where_perfect_knowledge_does_not_pay():
    sure = belief(mean=(0.0,), sd=0.2)
    tastings = [Tasting(pulls=(("black", 1),), tasters=n) for n in (1, 2)]
    tasting, worth = best(sure, tastings, COSTS, np.random.default_rng(0))
    assert worth < tasting.price(COSTS)
    assert tasting.tasters == 1


def test_the_best_tasting_pays_and_is_deterministic():
    doubtful = belief(mean=(0.9, 0.2), services=("black", "milk"))
    tastings = [
        Tasting(pulls=pulls, tasters=n)
        for n in (1, 2, 3)
        for pulls in ((("black", 1),), (("milk", 1),), (("black", 1), ("milk", 1)))
    ]
    one = best(doubtful, tastings, COSTS, np.random.default_rng(4))
    again = best(doubtful, tastings, COSTS, np.random.default_rng(4))
    assert one == again
    assert one[1] > one[0].price(COSTS)
    assert dict(one[0].pulls).get("black", 0) >= 1


def test_price_and_words():
    tasting = Tasting(pulls=(("black", 1), ("milk", 2)), tasters=2)
    assert tasting.price(COSTS) == 3 * (3 + 2 * 2)
    assert tasting.words() == "1 more pull black and 2 more pulls in milk, each tasted by 2 tasters"


def test_refusals():
    with pytest.raises(DesignError, match="no tasting"):
        best(belief(), [], COSTS, np.random.default_rng(0))
    with pytest.raises(DesignError, match="limits in order"):
        one_attribute(0, 0, -1, 1, 1, COSTS)


@pytest.mark.parametrize("services", [("black",), ("milk",), ("bowl",), ("9",), ("black", "milk", "bowl")])
@pytest.mark.parametrize("number", [1, 2])
@pytest.mark.parametrize("tasters", [1, 4])
def test_every_word_on_the_next_cup_can_be_told_in_another_language(untold, services, number, tasters):
    said = Tasting(pulls=tuple((service, number) for service in services), tasters=tasters).words()
    assert untold(said) == set(), said
