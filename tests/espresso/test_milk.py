"""Milk drinks: energy and mass balance, menu arithmetic, and how far a coffee carries."""

from dataclasses import replace
from math import exp, inf, log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import DesignError, QuantityError
from evenhand.espresso._milk_spread import propagate
from evenhand.espresso.milk import (
    MILKS,
    ML_PER_US_FL_OZ,
    WAND,
    Shot,
    Steam,
    Steaming,
    Vessel,
    build_drink,
    caffeine_mg,
    condensate_g,
    find_carry,
    find_milk,
    heat_capacity_from_label,
    match_strength,
    menu,
    shot_from_extraction,
    within_caffeine,
)
from evenhand.units import Measured

OZ = ML_PER_US_FL_OZ
EXACT = Steaming(start_c=Measured(5.0), end_c=Measured(60.0), steam=Steam(), jug=None)


def test_propagation_agrees_with_the_rules_for_products_and_quotients():
    a, b = Measured(16.0, 0.1), Measured(35.0, 0.2)
    found = propagate(lambda x, y: (x * y, y / x, x + y), a, b)
    for one, other in zip(found, (a * b, b / a, a + b), strict=True):
        assert one.value == pytest.approx(other.value)
        assert one.sd == pytest.approx(other.sd, rel=1e-3)


def test_uncertainty_agrees_with_simulation():
    rng = np.random.default_rng(5)
    drink = build_drink(180.0, Shot(), Steaming())
    draws = []
    for _ in range(1500):

        def draw(one):
            return Measured(rng.normal(one.value, one.sd))

        usual = Steaming()
        jug = usual.jug
        steam = object.__new__(Steam)  # a draw may pass a quality of 1, which the class refuses
        object.__setattr__(steam, "gauge_bar", draw(WAND.gauge_bar))
        object.__setattr__(steam, "quality", draw(WAND.quality))
        object.__setattr__(steam, "ambient_bar", WAND.ambient_bar)
        drawn = Steaming(
            milk=replace(usual.milk, heat_j_per_g_k=draw(usual.milk.heat_j_per_g_k)),
            start_c=draw(usual.start_c),
            end_c=draw(usual.end_c),
            steam=steam,
            jug=Vessel(mass_g=draw(jug.mass_g), heat_j_per_g_k=jug.heat_j_per_g_k, start_c=draw(jug.start_c)),
        )
        draws.append(condensate_g(Measured(drink.milk_g.value), drawn).value)
    expected = condensate_g(Measured(drink.milk_g.value), Steaming())
    assert np.std(draws) == pytest.approx(expected.sd, rel=0.08)
    assert np.mean(draws) == pytest.approx(expected.value, rel=0.01)


@given(
    size_ml=st.floats(100, 600),
    beverage_g=st.floats(15, 60),
    tds_pct=st.floats(4, 10),
    end_c=st.floats(45, 75),
    cup_g=st.floats(0, 400),
)
def test_mass_and_energy_balance(size_ml, beverage_g, tds_pct, end_c, cup_g):
    shot = Shot(dose_g=Measured(20.0), beverage_g=Measured(beverage_g), tds_pct=Measured(tds_pct))
    steaming = replace(EXACT, end_c=Measured(end_c))
    cup = Vessel(mass_g=Measured(cup_g), heat_j_per_g_k=0.9, start_c=Measured(40.0))
    drink = build_drink(size_ml, shot, steaming, cup=cup)
    assert drink.drink_g.value == pytest.approx(drink.milk_g.value + drink.condensate_g.value + beverage_g)
    volume = beverage_g / 1.0 + 1.15 * (drink.milk_g.value + drink.condensate_g.value) / 1.01
    assert volume == pytest.approx(size_ml)
    assert drink.condensate_g.value == pytest.approx(condensate_g(drink.milk_g, steaming).value)
    solids = beverage_g * tds_pct / 100
    milk_heat = 3.93 * drink.milk_g.value + 4.18 * drink.condensate_g.value
    espresso_heat = 4.18 * (beverage_g - solids) + 1.6 * solids
    t = drink.temperature_c.value
    gained = milk_heat * (t - end_c) + espresso_heat * (t - 70.0) + 0.9 * cup_g * (t - 40.0)
    assert gained == pytest.approx(0.0, abs=1e-6)
    assert drink.strength_g_per_100ml.value * size_ml / 100 == pytest.approx(drink.solids_g.value)


def test_more_condensate_from_wetter_steam_colder_milk_and_a_jug():
    milk = Measured(150.0)
    dry = condensate_g(milk, EXACT).value
    assert condensate_g(milk, replace(EXACT, steam=Steam(quality=Measured(0.9)))).value > dry * 1.08
    assert condensate_g(milk, replace(EXACT, start_c=Measured(2.0))).value == pytest.approx(dry * 58 / 55)
    assert condensate_g(milk, replace(EXACT, jug=Steaming().jug)).value > dry + 1


def test_heat_capacities_agree_with_the_labels():
    """Choi and Okos (1986), coefficients from memory; labels are common ones, no source."""
    labels = {
        "whole": (3.3, 3.6, 4.7, 0.7),
        "semi-skimmed": (3.5, 1.6, 4.8, 0.7),
        "skimmed": (3.5, 0.1, 4.9, 0.7),
        "oat": (1.0, 3.0, 7.4, 0.5),
        "soy": (3.3, 1.9, 1.5, 0.6),
        "almond": (0.5, 1.2, 2.9, 0.4),
        "coconut": (0.2, 1.5, 2.5, 0.3),
    }
    assert set(labels) == set(MILKS)
    for kind, label in labels.items():
        assert MILKS[kind].heat_j_per_g_k.value == pytest.approx(heat_capacity_from_label(*label), abs=0.045)


def test_every_allergen_is_named():
    # Regulation (EU) No 1169/2011, annex II: milk, soybeans, nuts (almonds), cereals with gluten (oats).
    for kind, word in {"whole": "milk", "soy": "soybeans", "almond": "nuts", "oat": "gluten"}.items():
        assert word in find_milk(kind).allergen


def test_twelve_ounces_at_the_strength_of_six():
    """The worked example: 32 g of dose and about 307 mg; 20 g give 192 mg at 62.5 % of the strength."""
    row = menu([12 * OZ], Shot(), Steaming())[0]
    assert row.equal.shot.dose_g.value == pytest.approx(32.0)
    assert row.equal.shot.beverage_g.value == pytest.approx(64.0)
    assert row.equal.caffeine_mg.value == pytest.approx(307.2, abs=0.05)
    assert row.as_is_share == pytest.approx(0.5)
    assert row.within is not None
    assert row.within.shot.dose_g.value == pytest.approx(20.0)
    assert row.within.caffeine_mg.value == pytest.approx(192.0)
    assert row.within_share == pytest.approx(0.625)
    six = build_drink(6 * OZ, Shot(), Steaming())
    assert row.equal.strength_g_per_100ml.value == pytest.approx(six.strength_g_per_100ml.value)
    assert row.within.strength_g_per_100ml.value == pytest.approx(0.625 * six.strength_g_per_100ml.value)


@given(size_ml=st.floats(89, 600), dose_g=st.floats(7, 25))
def test_menu_keeps_extraction_and_the_limit(size_ml, dose_g):
    shot = Shot(dose_g=Measured(dose_g), beverage_g=Measured(2 * dose_g), tds_pct=Measured(9.5))
    row = menu([size_ml], shot, EXACT)[0]
    assert row.equal.shot.extraction_pct.value == pytest.approx(shot.extraction_pct.value)
    if row.within is None:
        assert row.equal.caffeine_mg.value <= 200
    else:
        assert row.equal.caffeine_mg.value > 200
        assert row.within.caffeine_mg.value <= 200
        assert caffeine_mg(Measured(row.within.shot.dose_g.value + 1)).value > 200


def test_small_drinks_and_robusta():
    row = menu([60.0], Shot(beverage_g=Measured(60.0), tds_pct=Measured(5.0)), Steaming())[0]
    assert row.as_is is None
    assert row.equal.milk_g.value > 0
    assert caffeine_mg(Measured(16.0), 24.0).value == pytest.approx(2 * caffeine_mg(Measured(16.0)).value)
    assert within_caffeine(Shot(), 100.0).dose_g.value == pytest.approx(10.0)
    assert within_caffeine(Shot()) == Shot()


def test_a_shot_by_its_extraction():
    shot = shot_from_extraction(Measured(16.0, 0.1), Measured(35.0, 0.1), Measured(21.875, 0.2))
    assert shot.tds_pct.value == pytest.approx(10.0)
    assert shot.solids_g.value == pytest.approx(3.5)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: find_milk("yak"), "no milk yak; choose among whole"),
        (lambda: Steam(quality=Measured(1.2)), "quality"),
        (lambda: Steam(gauge_bar=Measured(6.0)), "bar absolute"),
        (lambda: Steaming(end_c=Measured(4.0)), "heated from 0"),
        (lambda: Steaming(air_share=Measured(-0.1)), "Air"),
        (lambda: Vessel(mass_g=Measured(-1.0), heat_j_per_g_k=0.5, start_c=Measured(20.0)), "vessel"),
        (lambda: Shot(beverage_g=Measured(90.0)), "cannot dissolve"),
        (lambda: build_drink(30.0, Shot(), EXACT), "no room for milk"),
        (lambda: condensate_g(Measured(0.0), EXACT), "milk must be more than 0"),
        (lambda: match_strength(0.0, 180.0, Shot()), "more than 0 mL"),
        (lambda: caffeine_mg(Measured(0.0)), "more than 0"),
        (lambda: within_caffeine(Shot(), 5.0), "no dose at all"),
        (lambda: heat_capacity_from_label(50, 30, 20, 1), "leave some water"),
        (lambda: replace(MILKS["oat"], heat_j_per_g_k=Measured(3900.0)), "J per gram"),
    ],
)
def test_what_cannot_be_is_refused(make, words):
    with pytest.raises(QuantityError, match=words):
        make()


# How far a coffee carries -------------------------------------------------------------------------------------------


def taste(
    rng, limit_ml, *, tasters=6, sizes=(120, 180, 355), repeats=3, blanks=2, steepness=3.0, spread=0.3, guess=0.1
):
    """Draw answers of a panel whose typical taster hears the coffee in half of the drinks of the limit's size."""
    size, heard, who = [], [], []
    for taster in range(tasters):
        own = log(limit_ml) + spread * rng.normal()
        for one in (*sizes, *[inf] * blanks):
            truly = 0.0 if one == inf else 1 / (1 + exp(-steepness * (own - log(one))))
            for _ in range(repeats):
                size.append(one)
                heard.append(int(rng.random() < guess + (0.98 - guess) * truly))
                who.append(f"taster {taster}")
    return size, heard, who


def test_intervals_hold_the_truth_as_often_as_they_say():
    """60 panels with limits drawn from 100 to 400 mL: 90 % intervals should hold about 54; 47 would be 3.0 sd low."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(60):
        limit = exp(rng.uniform(log(100), log(400)))
        found = find_carry(*taste(rng, limit, tasters=4, repeats=2))
        held += found.low_ml <= limit <= found.high_ml
    assert 47 <= held <= 60


def test_many_answers_agree_with_maximum_likelihood():
    """With tasters all alike and much data the answer is that of a logistic fit by scipy, which knows no priors."""
    from scipy.optimize import minimize

    rng = np.random.default_rng(3)
    size, heard, who = taste(
        rng, 220.0, tasters=10, sizes=(110, 160, 240, 350), repeats=40, blanks=0, spread=0, guess=0.5
    )
    x, y = np.log(size), np.array(heard)

    def minus_ln(p):
        share = 0.5 + 0.48 / (1 + np.exp(-np.exp(p[1]) * (p[0] - x)))
        return -np.sum(y * np.log(share) + (1 - y) * np.log1p(-share))

    best = minimize(minus_ln, [5.3, 1.0], method="Nelder-Mead")
    found = find_carry(size, heard, who, task="pair")
    assert found.answer == "told"
    assert found.size_ml == pytest.approx(exp(best.x[0]), rel=0.04)


def test_more_cups_narrow_the_answer():
    few = find_carry(*taste(np.random.default_rng(1), 220.0, tasters=3, repeats=1))
    many = find_carry(*taste(np.random.default_rng(1), 220.0, tasters=12, repeats=8))
    assert log(many.high_ml / many.low_ml) < 0.5 * log(few.high_ml / few.low_ml)
    assert few.answer == "cannot_tell"
    assert "cannot tell how far" in few.says
    assert many.answer == "told"
    assert 160 < many.size_ml < 300


def test_beyond_the_largest_and_below_the_smallest():
    size = [100, 180] * 24
    who = [f"t{place % 6}" for place in range(0, 24) for _ in range(2)]
    blanks, names = [inf] * 12, [f"t{place % 6}" for place in range(12)]
    heard = find_carry(size + blanks, [1] * 48 + [0] * 12, who + names)
    assert heard.answer == "at_least"
    assert "still hears this coffee at 180 mL" in heard.says
    lost = find_carry(size + blanks, [0] * 48 + [0] * 12, who + names)
    assert lost.answer == "below"
    assert "already at 100 mL" in lost.says


def test_a_panel_that_says_yes_to_blanks_has_heard_less():
    size, who = [150, 300] * 12, [f"t{place // 4 % 3}" for place in range(24)]
    said = [1, 1, 1, 0] * 6
    blanks, names = [inf] * 12, [f"t{place % 3}" for place in range(12)]
    strict = find_carry(size + blanks, said + [0] * 12, who + names)
    lax = find_carry(size + blanks, said + [1, 0] * 6, who + names)
    assert lax.size_ml < 0.85 * strict.size_ml
    assert lax.sizes[0].share.value < strict.sizes[0].share.value


def test_chance_alone_is_not_hearing():
    """In pairs half the answers are right by chance: a panel at 50 % has lost the coffee."""
    size, who = [150, 300] * 40, [f"t{place // 4 % 10}" for place in range(80)]
    half = find_carry(size, [1, 1, 0, 0] * 20, who, task="pair")
    assert half.sizes[-1].share.value < 0.2
    yes = find_carry(size, [1] * 80, who, task="pair")
    assert yes.answer == "at_least"


def test_a_stricter_share_means_a_smaller_drink():
    answers = taste(np.random.default_rng(4), 220.0, tasters=8)
    assert find_carry(*answers, share=0.8).size_ml < find_carry(*answers).size_ml
    assert "blanks" not in find_carry(*answers).says
    assert "serve some blanks" in find_carry([100, 200], [1, 0], ["a", "a"]).says


@pytest.mark.parametrize(
    ("arguments", "options", "words"),
    [
        (([180, 180], [1, 0], ["a", "b"]), {}, "two or more sizes"),
        (([180, inf], [1, 0], ["a", "b"]), {}, "two or more sizes"),
        (([180, 300], [1], ["a", "b"]), {}, "same length"),
        (([180, 300], [1, 2], ["a", "b"]), {}, "1 \\(heard\\) or 0"),
        (([6, 12], [1, 0], ["a", "b"]), {}, "in mL"),
        (([180, 300, inf], [1, 0, 0], ["a", "b", "b"]), {"task": "pair"}, "yes_no only"),
        (([180, 300], [1, 0], ["a", "b"]), {"task": "quad"}, "no task quad"),
        (([180, 300], [1, 0], ["a", "b"]), {"share": 1.0}, "share lies"),
    ],
)
def test_tastings_that_do_not_fit_are_refused(arguments, options, words):
    with pytest.raises(DesignError, match=words):
        find_carry(*arguments, **options)
