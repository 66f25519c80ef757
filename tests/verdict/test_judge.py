"""A judgement as a whole: it takes out the pull and the taster, tells faults, and never breaks on thin data."""

import dataclasses
from math import isfinite

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.errors import DesignError
from evenhand.verdict.arrangement import arrange
from evenhand.verdict.cost import Costs
from evenhand.verdict.judge import judge
from evenhand.verdict.levels import estimate
from evenhand.verdict.tastings import Target
from evenhand.words import Words

ONE = {("black", "bitterness"): Target(4.0, 1.0)}


def check_sane(judgement):
    for one in judgement.batches:
        assert 0 <= one.p_good <= min(one.p_within, 1 - one.p_fault) + 1e-9
        assert one.decision == min(one.expected_cost, key=one.expected_cost.get)
        assert one.reasons
        for attribute in one.profile:
            numbers = (attribute.estimate, attribute.sd, attribute.lower90, attribute.upper90, attribute.p_within)
            assert all(isfinite(number) for number in numbers)
            assert attribute.scale_low <= attribute.lower90 <= attribute.upper90 <= attribute.scale_high


def test_a_pull_run_long_and_slow_is_not_the_roasts_fault(make_tastings, make_season):
    """Batch 3 is on target but its shots ran long and slow; its raw mean is high, its estimate is not."""
    rng = np.random.default_rng(0)
    cups = make_season(rng, lambda batch: 4.0, batches=40, long_pulls=(3, 9, 17))
    judgement = judge(make_tastings(cups, targets=ONE))
    check_sane(judgement)
    one = judgement.batches[3].profile[0]
    assert one.raw_mean > 4.35
    assert one.shot_effect > 0.3
    assert one.estimate == pytest.approx(4.0, abs=0.3)
    assert judgement.batches[3].decision == "release"
    assert any("shot and not the roast" in reason for reason in judgement.batches[3].reasons)


def test_a_roast_that_is_off_is_not_excused(make_tastings, make_season):
    rng = np.random.default_rng(1)
    cups = make_season(rng, lambda batch: 6.0 if batch == 5 else 4.0, batches=30)
    judgement = judge(make_tastings(cups, targets=ONE))
    assert judgement.batches[5].decision == "hold"
    assert judgement.batches[5].p_within < 0.1
    assert any("above its tolerance" in reason for reason in judgement.batches[5].reasons)
    assert sum(one.decision == "release" for one in judgement.batches) >= 27


def test_what_raw_mean_shot_and_taster_add_up_to(make_tastings, make_season):
    """Raw mean less the shot's and the tasters' part is the estimate but for luck and shrinking towards the coffee."""
    rng = np.random.default_rng(2)
    cups = make_season(rng, lambda batch: 4.0 + 0.3 * (batch % 5 - 2), batches=30)
    judgement = judge(make_tastings(cups, targets=ONE))
    rows = [one.profile[0] for one in judgement.batches]
    cleaned = np.array([row.raw_mean - row.shot_effect - row.taster_effect for row in rows])
    estimates = np.array([row.estimate for row in rows])
    assert np.corrcoef(cleaned, estimates)[0, 1] > 0.98
    truth = np.array([4.0 + 0.3 * (batch % 5 - 2) for batch in range(30)])
    raw = np.array([row.raw_mean for row in rows])
    assert np.std(estimates - truth) < np.std(raw - truth)


def test_a_fault_heard_by_the_panel_holds_the_batch(make_tastings, make_season):
    rng = np.random.default_rng(3)
    cups = make_season(rng, lambda batch: 4.0, batches=20)
    heard = [
        (batch, pull.name, taster, "smoky", float(batch == "B07"))
        for batch, pull, _, sheets in cups
        for taster in sheets
    ]
    judgement = judge(make_tastings(cups, targets=ONE, heard=heard))
    check_sane(judgement)
    smoky = judgement.batches[7]
    assert smoky.p_fault > 0.9
    assert smoky.decision == "hold"
    assert smoky.faults[0].heard == smoky.faults[0].asked == 6
    assert any(reason.startswith("Smoky") for reason in smoky.reasons)
    assert max(one.p_fault for one in judgement.batches if one.batch != "B07") < 0.05


def test_a_pull_far_off_is_left_out_and_said(make_tastings, make_season, make_pull):
    rng = np.random.default_rng(4)
    cups = make_season(rng, lambda batch: 4.0, batches=10)
    wild = make_pull("wild", beverage_g=60, time_s=60)
    with_wild = [*cups, ("B02", wild, "black", {"Ada": {"bitterness": 9.5}, "Bo": {"bitterness": 9.0}})]
    plain, other = judge(make_tastings(cups, targets=ONE)), judge(make_tastings(with_wild, targets=ONE))
    assert other.batches[2].profile == plain.batches[2].profile
    assert not next(one for one in other.batches[2].pulls if one.pull == "wild").judgeable
    assert any("too far from its recipe" in reason for reason in other.batches[2].reasons)


def test_one_batch_one_cup_one_taster(make_tastings, make_pull):
    judgement = judge(make_tastings([("B", make_pull("p"), "black", {"Ada": {"bitterness": 4.0}})], targets=ONE))
    check_sane(judgement)
    one = judgement.batches[0]
    assert one.profile[0].sd > 0.2
    assert one.tasted[0].sheets == 1


def test_a_batch_never_tasted_is_told_from_its_fellows(make_tastings, make_season):
    rng = np.random.default_rng(5)
    cups = make_season(rng, lambda batch: 4.5, batches=12)
    names = tuple(f"B{batch:02d}" for batch in range(13))
    judgement = judge(make_tastings(cups, batches=names, targets=ONE))
    check_sane(judgement)
    untasted = judgement.batches[12]
    assert untasted.profile[0].raw_mean is None
    assert untasted.profile[0].estimate == pytest.approx(4.5, abs=0.3)
    assert untasted.profile[0].sd > judgement.batches[0].profile[0].sd
    assert any("no cup that can be judged" in reason for reason in untasted.reasons)


def test_nothing_tasted_at_all_is_as_good_as_the_shop_says_its_batches_are(make_tastings):
    judgement = judge(make_tastings([], batches=("B",), coffees={"B": "K"}, targets=ONE))
    check_sane(judgement)
    one = judgement.batches[0]
    assert one.p_good == pytest.approx(0.9, abs=0.005)  # prior_bad is 0.1, and no fault is asked for
    assert one.profile[0].raw_mean is None
    assert judgement.variances == ()
    assert any("bitterness (black)" in warning for warning in judgement.warnings)


def test_a_target_that_nobody_could_taste_is_not_met(make_tastings, make_pull):
    """All pulls far off: what they scored and heard counts for nothing, and nothing is certain."""
    cups = [
        (f"B{batch}", make_pull(f"p{batch}", beverage_g=70, time_s=70), "black", {"Ada": {"bitterness": 9.0}})
        for batch in range(3)
    ]
    heard = [(batch, pull.name, "Ada", "smoky", 1.0) for batch, pull, *_ in cups]
    judgement = judge(make_tastings(cups, targets=ONE, heard=heard))
    check_sane(judgement)
    for one in judgement.batches:
        assert 0.8 < one.p_good < 0.96
        assert any("no cup that can be judged" in reason for reason in one.reasons)


def test_a_service_with_targets_that_nobody_tastes_is_offered(make_tastings, make_season):
    """Milk has a target and was never served: it is neither forgotten nor taken for granted."""
    cups = make_season(np.random.default_rng(11), lambda batch: 4.0, batches=12)
    judgement = judge(make_tastings(cups))
    check_sane(judgement)
    one = judgement.batches[0]
    milk = next(each for each in one.profile if each.service == "milk")
    assert milk.raw_mean is None
    assert one.p_within < 0.97
    assert "in milk" in one.next_cup.what
    assert any("not tasted in milk" in reason for reason in one.reasons)


@pytest.mark.parametrize(("target", "value"), [(0.5, 0.0), (9.5, 10.0)])
def test_a_tolerance_that_reaches_the_end_of_the_scale_has_no_limit_there(make_tastings, make_season, target, value):
    cups = [
        (batch, pull, service, {taster: {"bitterness": value} for taster in sheets})
        for batch, pull, service, sheets in make_season(np.random.default_rng(12), lambda batch: 4.0, batches=8)
    ]
    judgement = judge(make_tastings(cups, targets={("black", "bitterness"): Target(target, 0.5)}))
    check_sane(judgement)
    for one in judgement.batches:
        assert one.p_within > 0.95
        assert one.decision == "release"


def test_a_tolerance_that_does_not_care_leaves_the_other_attributes_alone(make_tastings, make_season):
    rng = np.random.default_rng(13)
    names = ("bitterness", "acidity", "sweetness", "body")
    cups = [
        (
            batch,
            pull,
            service,
            {taster: {name: 4 + 0.6 * rng.standard_normal() for name in names} for taster in sheets},
        )
        for batch, pull, service, sheets in make_season(rng, lambda batch: 4.0, batches=8)
    ]

    def sd_of_acidity(tolerance):
        goals = {("black", name): Target(4.0, tolerance if name == "body" else 1.0) for name in names}
        return judge(make_tastings(cups, targets=goals)).batches[0].profile[0].sd

    assert sd_of_acidity(1e4) == pytest.approx(sd_of_acidity(2.5), rel=1e-9)
    assert sd_of_acidity(1e4) == pytest.approx(sd_of_acidity(1.0), rel=0.15)


def test_one_thin_attribute_does_not_blank_the_others(make_tastings, make_season):
    cups = make_season(np.random.default_rng(14), lambda batch: 4.0 + 0.2 * (batch % 4), batches=16)
    alone = judge(make_tastings(cups, targets=ONE))
    batch, pull, service, sheets = cups[0]
    taster = next(iter(sheets))
    with_body = [(batch, pull, service, sheets | {taster: sheets[taster] | {"body": 5.0}}), *cups[1:]]
    both = judge(make_tastings(with_body, targets=ONE | {("black", "body"): Target(5.0, 1.0)}))
    row = next(one for one in both.variances if one.attribute == "bitterness")
    assert row == alone.variances[0]
    assert any("too few scores of body (black)" in warning for warning in both.warnings)


def test_the_order_of_the_batches_does_not_change_the_next_cup(make_tastings, make_season):
    cups = make_season(np.random.default_rng(15), lambda batch: 4.0 + 0.12 * batch, batches=8)
    tastings = make_tastings(cups, targets=ONE)
    turned = dataclasses.replace(tastings, batches=tastings.batches[::-1])
    one = {each.batch: each for each in judge(tastings).batches}
    other = {each.batch: each for each in judge(turned).batches}
    assert {name: each.next_cup.what for name, each in one.items()} == {
        name: each.next_cup.what for name, each in other.items()
    }


def test_the_luck_of_a_single_pull_is_not_put_into_the_roast(make_tastings, make_season):
    """With one pull a batch the rows cannot tell pull from batch; the prior keeps a share for the pull."""
    cups = [
        cup for cup in make_season(np.random.default_rng(16), lambda batch: 4.0, batches=30) if cup[1].name[-1] == "0"
    ]
    tastings = make_tastings(cups, targets=ONE)
    bench = arrange(tastings)
    believed = estimate(bench.tables, bench.panel)[0].believed
    assert believed["pull"] > 0.005
    assert judge(tastings).variances[0].pull == 0.0


@pytest.mark.parametrize("value", [0.0, 4.0, 10.0])
def test_everybody_always_scores_the_same(make_tastings, make_season, value):
    rng = np.random.default_rng(6)
    cups = [
        (batch, pull, service, {taster: {"bitterness": value} for taster in sheets})
        for batch, pull, service, sheets in make_season(rng, lambda batch: 4.0, batches=6)
    ]
    judgement = judge(make_tastings(cups, targets=ONE))
    check_sane(judgement)
    wrong = value != 4.0
    assert all((one.p_within < 0.2) == wrong for one in judgement.batches)


def test_same_tastings_same_judgement_and_order_does_not_matter(make_tastings, make_season):
    rng = np.random.default_rng(7)
    cups = make_season(rng, lambda batch: 4.0 + 0.05 * batch, batches=12)
    first = judge(make_tastings(cups, targets=ONE))
    assert judge(make_tastings(cups, targets=ONE)) == first
    tastings = make_tastings(cups, targets=ONE)
    order = np.random.default_rng(0).permutation(len(tastings.scores.score))
    shuffled = dataclasses.replace(
        tastings,
        scores=dataclasses.replace(
            tastings.scores,
            **{
                field.name: getattr(tastings.scores, field.name)[order] for field in dataclasses.fields(tastings.scores)
            },
        ),
    )
    for one, other in zip(first.batches, judge(shuffled).batches, strict=True):
        assert one.decision == other.decision
        assert other.p_good == pytest.approx(one.p_good, abs=1e-6)
        assert other.profile[0].estimate == pytest.approx(one.profile[0].estimate, abs=1e-6)


def test_only_the_batches_asked_for_and_as_before(make_tastings, make_season):
    rng = np.random.default_rng(8)
    tastings = make_tastings(make_season(rng, lambda batch: 4.0, batches=8), targets=ONE)
    whole, part = judge(tastings), judge(tastings, batches=("B05", "B02"))
    assert [one.batch for one in part.batches] == ["B02", "B05"]
    assert part.batches == (whole.batches[2], whole.batches[5])
    with pytest.raises(DesignError, match="no batch nowhere"):
        judge(tastings, batches=("nowhere",))


def test_scale_and_shift_of_the_scores_change_nothing_but_units(make_tastings, make_season):
    rng = np.random.default_rng(9)
    cups = make_season(rng, lambda batch: 4.0 + 0.4 * (batch % 3), batches=12)
    plain = judge(make_tastings(cups, targets=ONE))
    scaled_cups = [
        (
            batch,
            pull,
            service,
            {taster: {"bitterness": 10 * scores["bitterness"] + 5} for taster, scores in sheets.items()},
        )
        for batch, pull, service, sheets in cups
    ]
    goals = {("black", "bitterness"): Target(45.0, 10.0)}
    scaled = judge(make_tastings(scaled_cups, targets=goals, scale=(5.0, 105.0)))
    for one, other in zip(plain.batches, scaled.batches, strict=True):
        assert other.profile[0].estimate == pytest.approx(10 * one.profile[0].estimate + 5, abs=1e-3)
        assert other.p_good == pytest.approx(one.p_good, abs=1e-4)


@given(st.floats(1, 1000), st.floats(1, 1000), st.floats(0.1, 20))
@settings(max_examples=10, deadline=None)
def test_dear_mistakes_and_cheap_cups_never_make_a_choice_dearer_than_the_best(
    small_season, wrong_release, wrong_hold, one_pull
):
    costs = Costs(wrong_release=wrong_release, wrong_hold=wrong_hold, one_pull=one_pull, one_taste=1, prior_bad=0.1)
    judgement = judge(dataclasses.replace(small_season, costs=costs))
    check_sane(judgement)
    for one in judgement.batches:
        best = min(one.expected_cost["release"], one.expected_cost["hold"])
        assert one.expected_cost["taste_again"] == pytest.approx(best - one.next_cup.worth + one.next_cup.cost)
        assert one.next_cup.worth <= best + 1e-9


def test_caffeine_of_a_pull_is_shared_among_its_tasters(make_tastings, make_pull):
    scores = {"bitterness": 4.0}
    cups = [
        ("B", make_pull("p1"), "black", {"Ada": scores, "Bo": scores}),
        ("B", make_pull("p2"), "black", {"Ada": scores}),
    ]
    rows = {row.taster: row for row in judge(make_tastings(cups, targets=ONE)).caffeine}
    assert rows["Bo"].caffeine_mg == pytest.approx(16 * 9.6 / 2)
    assert rows["Ada"].caffeine_mg == pytest.approx(16 * 9.6 * 1.5)
    assert (rows["Ada"].cups, rows["Bo"].cups) == (2, 1)


def test_every_sentence_of_a_judgement_can_be_told_in_another_language(untold, make_tastings, make_season, make_pull):
    rng = np.random.default_rng(8)
    cups = make_season(rng, lambda batch: 4.0 + batch % 3, batches=12, long_pulls=(3,))
    targets = ONE | {("black", "body"): Target(5.0, 1.0), ("milk", "sweetness"): Target(6.0, 1.0)}
    thin = ("B00", make_pull("alone", time_s=60), "black", {"Ada": {"body": 5.0}})
    heard = [(batch, pull.name, "Ada", "smoky", float(batch == "B05")) for batch, pull, *_ in cups]
    lone = [(batch, pull, service, {"Ada": next(iter(sheets.values()))}) for batch, pull, service, sheets in cups]
    judgement = judge(make_tastings([*cups, thin], targets=targets, heard=heard))
    said = [*judgement.warnings, *judge(make_tastings(lone, targets=ONE)).warnings]
    said += [reason for one in judgement.batches for reason in one.reasons]
    said += [one.next_cup.what for one in judgement.batches]
    said += [pull.note for one in judgement.batches for pull in one.pulls if pull.note]
    assert any("cannot tell batch_taster, pull, taster apart" in sentence for sentence in said)
    data = {"bitterness", "Bitterness", "body", "Body", "sweetness", "Sweetness", "smoky", "Smoky", "Ada", "alone"}
    data |= {"g", "s", *(f"B{batch:02d}" for batch in range(12))}
    for sentence in said:
        assert untold(sentence) <= data, sentence


def test_a_taster_who_misses_a_fault_is_told_of_in_words(make_tastings, make_season):
    cups = make_season(np.random.default_rng(9), lambda batch: 4.0, batches=12)
    ears = ("Ada", "Bo", "Cy", "Di")
    heard = [(batch, pull.name, ear, "smoky", float(ear != "Di")) for batch, pull, *_ in cups for ear in ears]
    said = judge(make_tastings(cups, targets=ONE, heard=heard)).warnings
    assert any("Di seems to miss" in sentence for sentence in said)
    assert all(isinstance(sentence, Words) for sentence in said)


def test_an_unknown_batch_is_refused_in_words_that_can_be_told(make_tastings):
    with pytest.raises(DesignError) as refused:
        judge(make_tastings([], batches=("B",)), batches=("elsewhere",))
    assert isinstance(refused.value.args[0], Words)
