"""The reasons: what they name, how sure they sound, and what would change the mind."""

import dataclasses

import pytest

from evenhand.verdict.cost import Costs
from evenhand.verdict.judgement import AttributeVerdict, BatchVerdict, FaultBelief, NextCup, PullReading
from evenhand.verdict.reasons import Context, give
from evenhand.words import say

COSTS = Costs(wrong_release=400, wrong_hold=150, one_pull=3, one_taste=2, prior_bad=0.1)


def attribute(**changes):
    one = AttributeVerdict(
        service="black",
        attribute="bitterness",
        estimate=4.1,
        sd=0.3,
        lower90=3.6,
        upper90=4.6,
        target=4.0,
        tolerance=1.0,
        p_within=0.998,
        p_above=0.002,
        raw_mean=4.2,
        shot_effect=0.0,
        taster_effect=0.0,
        scores=6,
        scale_low=0.0,
        scale_high=10.0,
    )
    return dataclasses.replace(one, **changes)


def verdict(**changes):
    one = BatchVerdict(
        batch="B",
        coffee="K",
        roasted_on="2026-05-01",
        decision="release",
        p_within=0.99,
        p_fault=0.01,
        p_good=0.98,
        expected_cost={"release": 8.0, "hold": 147.0, "taste_again": 9.0},
        next_cup=NextCup(worth=1.0, cost=5.0, what="1 more pull black, tasted by 1 taster"),
        profile=(attribute(),),
        faults=(),
        pulls=(),
        tasted=(),
        reasons=(),
    )
    return dataclasses.replace(one, **changes)


def reasons(one, beyond=None, settle=None, service_of_pull=None):
    return give(
        one,
        Context(costs=COSTS, beyond=beyond or {}, service_of_pull=service_of_pull or {}, settle=settle or {}),
    )


def test_release_says_its_costs_and_what_would_change_it():
    said = reasons(verdict())
    assert said[0] == (
        "Release: it is good against its target with a probability of 98 %; releasing is expected to cost 8, holding "
        "147, and no further cup is worth its price."
    )
    assert (
        "Nothing in the profile stands out: furthest from its target is bitterness in black, 0.1 tolerances high."
        in said
    )
    assert said[-1] == "Bitterness in black at 4.8 or more, as sure as now, would change this to hold."


@pytest.mark.parametrize(
    ("estimate", "p_within", "p_above", "words"),
    [
        (6.2, 0.00, 1.00, "is above its tolerance"),
        (5.2, 0.25, 0.75, "is probably above its tolerance"),
        (5.0, 0.50, 0.50, "may well be above its tolerance"),
        (3.2, 0.75, 0.00, "could be below its tolerance"),
    ],
)
def test_words_are_as_mild_as_the_evidence(estimate, p_within, p_above, words):
    wide = attribute(estimate=estimate, p_within=p_within, p_above=p_above)
    one = verdict(decision="hold", p_good=0.1, profile=(wide,))
    assert any(f"Bitterness in black {words}" in sentence for sentence in reasons(one))


def test_hold_says_what_would_release_it():
    one = verdict(
        decision="hold",
        p_within=0.3,
        p_good=0.3,
        profile=(attribute(estimate=5.16, p_within=0.3, p_above=0.7, raw_mean=5.3),),
    )
    assert reasons(one)[-1] == "Bitterness in black at 4.8 or less, as sure as now, would change this to release."


def test_a_fault_that_decides_is_named_as_what_could_change_it():
    fault = FaultBelief(fault="smoky", p_present=0.97, heard=5, asked=8)
    said = reasons(verdict(decision="hold", p_fault=0.97, p_good=0.03, faults=(fault,)))
    assert "Smoky is in the roast (97 %): heard in 5 of 8 reports." in said
    assert said[-1] == "Only further cups in which smoky is not heard could change this to release."


def test_a_fault_and_a_profile_that_both_decide_are_both_named():
    fault = FaultBelief(fault="smoky", p_present=0.97, heard=5, asked=8)
    said = reasons(verdict(decision="hold", p_within=0.1, p_fault=0.97, p_good=0.003, faults=(fault,)))
    assert "smoky is not heard and the profile comes out within tolerance" in said[-1]


def test_a_fault_nobody_was_asked_about_is_not_heard_in_0_of_0():
    faults = [FaultBelief(fault=name, p_present=0.25, heard=0, asked=0) for name in ("smoky", "green")]
    said = " ".join(reasons(verdict(faults=tuple(faults))))
    assert "0 of 0" not in said
    assert "Nobody was asked about smoky, green on it" in said


def test_only_pulls_of_the_same_service_are_blamed():
    pulls = [
        PullReading(
            pull=name,
            judgeable=True,
            ratio=2.2,
            flow_g_per_s=1.1,
            extraction_pct=None,
            extraction_sd_pct=None,
            deviation={},
            note="ran long by 3.0 g (2.0 tolerances)",
        )
        for name in ("P1", "P2")
    ]
    one = verdict(profile=(attribute(raw_mean=4.9, shot_effect=0.5),), pulls=tuple(pulls))
    said = " ".join(reasons(one, service_of_pull={"P1": "black", "P2": "milk"}))
    assert "P1 ran long" in said
    assert "P2" not in said


@pytest.mark.parametrize(
    ("cost", "words"), [(0.0, "cost 0,"), (0.0042, "cost 0.0042,"), (147.3, "cost 147,"), (4.05e11, "cost 4.0e+11,")]
)
def test_money_of_any_size_is_legible(cost, words):
    assert words in reasons(verdict(expected_cost={"release": cost, "hold": 1.0, "taste_again": 2.0}))[0]


def test_a_green_note_asks_for_crop_and_colour_before_naming_a_cause():
    fault = FaultBelief(fault="green", p_present=0.8, heard=4, asked=8)
    said = " ".join(reasons(verdict(decision="hold", p_fault=0.8, p_good=0.2, faults=(fault,))))
    assert "Green is probably in the roast" in said
    assert "age of the crop" in said
    assert "colour" in said


def test_stray_reports_are_one_sentence_and_doubtful_ones_another():
    stray = [FaultBelief(fault=name, p_present=0.004, heard=1, asked=12) for name in ("ashy", "baked")]
    doubtful = FaultBelief(fault="harsh", p_present=0.1, heard=3, asked=12)
    said = reasons(verdict(faults=(*stray, doubtful)), settle={"harsh": "Four more reports would settle it."})
    assert "Four more reports would settle it." in said
    assert "Reports of ashy (1 of 12), baked (1 of 12) are no more than false alarms would give." in said
    assert (
        "Harsh was heard in 3 of 12 reports: not enough to tell it from false alarms, and not nothing (10 %)." in said
    )


def test_the_shot_and_the_tasters_are_named_with_their_size():
    off = PullReading(
        pull="P7",
        judgeable=True,
        ratio=2.19,
        flow_g_per_s=1.09,
        extraction_pct=None,
        extraction_sd_pct=None,
        deviation={},
        note="ran long by 3.0 g (2.0 tolerances)",
    )
    one = verdict(profile=(attribute(raw_mean=4.9, shot_effect=0.5, taster_effect=-0.4),), pulls=(off,))
    said = reasons(one, beyond={"P7": ("log_ratio",)}, service_of_pull={"P7": "black"})
    assert (
        "The shot and not the roast explains +0.5 of the raw 4.9 for bitterness in black (P7 ran long by 3.0 g (2.0 "
        "tolerances)); that part was taken out."
    ) in said
    assert "Pull P7 lies outside the ratio this shop has seen; its correction was given a wider doubt." in said
    assert any("0.4 lower than the panel's mean taster would" in sentence for sentence in said)


def test_a_service_not_tasted_is_said():
    milk = attribute(service="milk", raw_mean=None, scores=0)
    said = reasons(verdict(profile=(attribute(), milk)))
    assert any(sentence.startswith("It was not tasted in milk") for sentence in said)


def test_taste_again_says_what_and_what_it_saves():
    cup = NextCup(worth=21.0, cost=7.0, what="1 more pull in milk, tasted by 2 tasters")
    said = reasons(verdict(decision="taste_again", p_good=0.7, next_cup=cup))
    assert said[0] == (
        "Taste again: it is good against its target with a probability of 70 %, and that does not settle it; 1 more "
        "pull in milk, tasted by 2 tasters costs 7 and would save 21 on average."
    )


NOTE = say("ran slow")
OFF = {
    "ratio": 2.0,
    "flow_g_per_s": 1.0,
    "extraction_pct": None,
    "extraction_sd_pct": None,
    "deviation": {},
    "note": NOTE,
}
AGAIN = NextCup(worth=12.0, cost=3.5, what=say("{count} more", count=1))
EVERY_KIND = [
    verdict(),
    verdict(expected_cost={"release": 8.04, "hold": 0.5, "taste_again": 9.0}),
    verdict(decision="taste_again", next_cup=AGAIN, p_good=0.5),
    verdict(
        decision="hold", p_good=0.001, p_fault=0.9, faults=(FaultBelief(fault="9", p_present=0.9, heard=3, asked=4),)
    ),
    verdict(
        decision="hold", p_fault=0.9, p_within=0.2, faults=(FaultBelief(fault="9", p_present=1, heard=3, asked=4),)
    ),
    verdict(decision="hold", p_good=0.2, profile=(attribute(estimate=5.4, p_within=0.2, p_above=0.8),)),
    verdict(decision="hold", p_good=0.2, profile=(attribute(estimate=2.6, p_within=0.2, p_above=0.0),)),
    verdict(decision="hold", p_good=0.2, p_fault=0.1, profile=(attribute(estimate=4.0, sd=9.0, p_within=0.2),) * 5),
    verdict(profile=(attribute(scores=0, service="bowl"),)),
    verdict(profile=(attribute(), attribute(scores=0, service="milk"), attribute(scores=0, service="9"))),
    verdict(profile=()),
    verdict(
        faults=tuple(FaultBelief(fault="9", p_present=p, heard=h, asked=h) for p in (0.01, 0.05, 0.5) for h in (0, 2))
    ),
    verdict(profile=(attribute(shot_effect=0.5, taster_effect=0.5),)),
    verdict(
        profile=(attribute(shot_effect=-0.5, taster_effect=-0.5),),
        pulls=(PullReading(pull="9", judgeable=True, **OFF),),
    ),
    verdict(pulls=(PullReading(pull="8", judgeable=False, **OFF),)),
]


@pytest.mark.parametrize("one", EVERY_KIND)
def test_every_word_but_names_can_be_told_in_another_language(untold, one):
    said = reasons(
        one,
        beyond={"9": ("log_ratio", "log_time", "water", "strength")},
        settle={"9": say("Three more would settle it.")},
        service_of_pull={"9": "black"},
    )
    for sentence in said:
        assert untold(sentence) <= {"bitterness", "Bitterness"}, sentence
