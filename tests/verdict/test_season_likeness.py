"""Likeness of lots from tastings: a planted difference is found, none is not, and the tests are those of the plan."""

from dataclasses import replace

import numpy as np
import pytest
from pydantic import TypeAdapter

from evenhand.errors import DesignError
from evenhand.panel.discrimination import ForcedChoice
from evenhand.season.likeness import plan_difference, plan_similarity
from evenhand.verdict.likeness import LotComparison, compare_lots, compare_seasons
from evenhand.verdict.tastings import Lot, Target

GOAL = {("black", "bitterness"): Target(4.0, 1.0)}


def two_lots(make_season, make_tastings, rng, step, *, batches=20):
    """Draw a coffee whose second half comes from this year's lot, `step` points more bitter."""
    half = batches // 2
    levels = 4.0 + 0.2 * rng.standard_normal(batches) + step * (np.arange(batches) >= half)
    tastings = make_tastings(make_season(rng, lambda i: levels[i], batches=batches), targets=GOAL)
    found = tuple(
        replace(
            one,
            roasted_on=f"2031-{1 + i // 4:02d}-{1 + 7 * (i % 4):02d}",
            green_lot="old" if i < half else "new",
        )
        for i, one in enumerate(tastings.batches)
    )
    lots = (
        Lot(lot="old", harvest="2029/30", harvested_on="2029-12-01"),
        Lot(lot="new", harvest="2030/31", harvested_on="2030-12-01"),
    )
    return replace(tastings, batches=found, lots=lots, judged_on="2031-09-01")


def test_a_planted_difference_is_found_and_is_that_of_the_means(make_season, make_tastings):
    tastings = two_lots(make_season, make_tastings, np.random.default_rng(1), 1.4)
    one = compare_lots(tastings, "K", "new", "old")
    (attribute,) = one.distance.attributes
    assert attribute.tasted.value == pytest.approx(1.4, abs=0.3)
    # Taster levels cancel: plain means of what each taster scored, taster by taster.
    scores, lot = tastings.scores, {b.batch: b.green_lot for b in tastings.batches}
    of = np.array([lot[name] for name in scores.batch.tolist()])
    by_taster = [
        scores.score[(scores.taster == taster) & (of == "new")].mean()
        - scores.score[(scores.taster == taster) & (of == "old")].mean()
        for taster in np.unique(scores.taster)
    ]
    assert attribute.tasted.value == pytest.approx(np.mean(by_taster), abs=0.2)
    assert attribute.p_within < 0.1
    assert one.batches == (10, 10)
    assert one.distance.p_below_limit < 0.1


def test_lots_that_are_alike_are_called_alike_within_a_tolerance(make_season, make_tastings):
    tastings = two_lots(make_season, make_tastings, np.random.default_rng(2), 0.0)
    one = compare_lots(tastings, "K", "new", "old")
    assert one.distance.p_all_within > 0.95
    assert "in the attributes that were scored" in one.sentences[0]


def test_intervals_of_the_difference_hold_the_truth(make_season, make_tastings):
    """Over 40 seasons the truth lies within 1.645 standard uncertainties in about nine of ten; 29 or fewer of 40
    would come by chance less than once in a thousand (binomial)."""
    held = 0
    for seed in range(40):
        tastings = two_lots(make_season, make_tastings, np.random.default_rng(100 + seed), 0.6, batches=12)
        (one,) = compare_lots(tastings, "K", "new", "old").distance.attributes
        held += abs(one.tasted.value - 0.6) <= 1.645 * one.tasted.sd
    assert held >= 30


def test_the_seasons_comparison_takes_the_harvest_before_and_the_target(make_season, make_tastings):
    tastings = two_lots(make_season, make_tastings, np.random.default_rng(3), 0.5)
    other, target = compare_seasons(tastings)
    assert (other.lot, other.other) == ("new", "old")
    assert (target.lot, target.other, target.difference) == ("new", None, None)
    (attribute,) = target.distance.attributes
    assert attribute.tasted.value == pytest.approx(0.5, abs=0.4)
    assert "what age does is in the difference" in " ".join(other.sentences)
    assert compare_seasons(tastings, coffees=["Z"]) == ()


def test_the_planned_tests_are_those_of_the_science_floor(make_season, make_tastings):
    tastings = two_lots(make_season, make_tastings, np.random.default_rng(4), 0.5)
    one = compare_lots(tastings, "K", "new", "old", method=ForcedChoice.TRIANGLE, d_prime=1.5, tasters=6)
    assert one.difference == plan_difference(ForcedChoice.TRIANGLE, 6, d_prime=1.5)
    assert one.similarity == plan_similarity(ForcedChoice.TRIANGLE, 6, d_prime=1.5, true_d_prime=0.2 * 1.5)
    # Twelve cups a sitting are four triangles.
    assert one.sittings == tuple(-(-plan.answers_a_taster // 4) for plan in (one.difference, one.similarity))
    said = " ".join(one.sentences)
    assert "missing it does not show the lots to be alike" in said
    assert "if it is not shown, they need not differ" in said


def test_what_was_not_tasted_is_refused_and_a_lot_without_a_name_is_passed_over(make_season, make_tastings):
    tastings = two_lots(make_season, make_tastings, np.random.default_rng(5), 0.0)
    with pytest.raises(DesignError, match="No batch of K from the lot newest was tasted"):
        compare_lots(tastings, "K", "newest", "old")
    nameless = replace(tastings, batches=tuple(replace(one, green_lot=None) for one in tastings.batches))
    assert compare_seasons(nameless) == ()


def test_it_is_the_same_twice_and_survives_the_way_to_json(make_season, make_tastings):
    tastings = two_lots(make_season, make_tastings, np.random.default_rng(6), 0.3)
    first, again = compare_seasons(tastings), compare_seasons(tastings)
    assert first == again
    kind = TypeAdapter(tuple[LotComparison, ...])
    assert kind.validate_json(kind.dump_json(first)) == first


def test_every_sentence_can_be_told_in_another_language(untold, make_season, make_tastings):
    tastings = two_lots(make_season, make_tastings, np.random.default_rng(3), 0.5)
    said = [sentence for one in compare_seasons(tastings) for sentence in one.sentences]
    assert len(said) == 5
    assert set().union(*map(untold, said)) == {"bitterness", "new", "old"}
    with pytest.raises(DesignError) as refused:
        compare_lots(tastings, "K", "newest", "old")
    assert untold(refused.value.args[0]) == {"K", "newest"}
