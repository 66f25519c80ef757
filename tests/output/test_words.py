"""The formats never claim more than is known, and the order puts what needs somebody first."""

import math
import unicodedata
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.output.words import (
    DEVIATION_WORD,
    MINUS,
    UNKNOWN,
    clean_text,
    count_decisions,
    describe_counts,
    describe_next_cup,
    describe_tasted,
    find_chance,
    format_number,
    format_share,
    format_signed,
    group_variances,
    sort_for_attention,
)
from evenhand.verdict.judgement import NextCup, Tasted
from evenhand.words import Tongue, Words, say, tell


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.0, "< 1 %"),
        (0.0099, "< 1 %"),
        (0.01, "1 %"),
        (0.5, "50 %"),
        (0.99, "99 %"),
        (0.9901, "> 99 %"),
        (1.0, "> 99 %"),
    ],
)
def test_a_share_never_claims_certainty(share, words):
    assert format_share(share).replace("\N{NO-BREAK SPACE}", " ") == words


@given(st.floats(0, 1))
def test_a_share_is_one_unbroken_word(share):
    words = format_share(share)
    assert words.endswith("%")
    assert " " not in words


@pytest.mark.parametrize("value", [None, math.nan, math.inf, -math.inf])
def test_what_is_unknown_is_a_dash(value):
    assert format_number(value) == format_signed(value) == UNKNOWN


@given(st.floats(-1e9, 1e9), st.integers(0, 4))
def test_a_number_reads_back_as_itself(value, decimals):
    for text in (format_number(value, decimals), format_signed(value, decimals)):
        back = float(text.replace(MINUS, "-").replace(",", "").replace("+", ""))
        assert back == pytest.approx(value, abs=0.5001 * 10**-decimals)


def test_signs():
    assert format_signed(0.42) == "+0.42"
    assert format_signed(-0.42) == f"{MINUS}0.42"
    assert format_signed(0.001) == format_signed(-0.001) == format_number(-0.001) == "0.00"
    assert format_number(1204.5) == "1,204.50"


def test_what_needs_somebody_comes_first_and_nothing_is_lost(judgement):
    ordered = sort_for_attention(judgement)
    assert [v.decision for v in ordered] == ["hold"] * 2 + ["taste_again"] * 2 + ["release"] * 5
    assert sorted(v.batch for v in ordered) == sorted(v.batch for v in judgement.batches)
    released = [v.batch for v in judgement.batches if v.decision == "release"]
    assert [v.batch for v in ordered if v.decision == "release"] == released


def test_counts(judgement, build_judgement):
    assert count_decisions(judgement) == {"hold": 2, "taste_again": 2, "release": 5}
    assert describe_counts(judgement) == "9 batches: 2 hold, 2 taste again, 5 release."
    assert describe_counts(build_judgement(batches=1)) == "1 batch: 0 hold, 0 taste again, 1 release."
    assert describe_counts(build_judgement(batches=0)) == "No batch was judged."


def test_the_next_cup_says_whether_it_pays():
    assert describe_next_cup(NextCup(worth=3, cost=2, what="one pull.")) == "One pull: worth 3.00, costs 2.00; it pays."
    assert describe_next_cup(NextCup(worth=2, cost=2, what="one pull")).endswith("it does not pay.")
    assert describe_next_cup(NextCup(worth=0, cost=0, what=" ")) == "Next tasting: worth 0.00, costs 0.00."


def test_tasted_counts_one_and_many():
    tasted = Tasted(service="black", pulls=1, cups=2, tasters=1, sheets=2)
    assert describe_tasted((tasted,)) == "Black: 2 cups of 1 pull, 1 taster, 2 sheets."
    assert describe_tasted(()) == "Not tasted."


def test_the_parts_of_a_raw_mean_add_up(judgement):
    for verdict in judgement.batches:
        for row in verdict.profile:
            parts = row.estimate + row.shot_effect + row.taster_effect + find_chance(row)
            assert parts == pytest.approx(row.raw_mean)


def test_signs_that_act_are_made_visible():
    assert clean_text("a\x1b[2Jb") == "a\N{REPLACEMENT CHARACTER}[2Jb"
    assert clean_text("abc\N{RIGHT-TO-LEFT OVERRIDE}def") == "abc\N{REPLACEMENT CHARACTER}def"
    assert clean_text("one\ntwo\tthree") == "one two three"
    assert clean_text("咖啡 é ع ☕") == "咖啡 é ع ☕"


@given(st.text())
def test_cleaned_text_has_no_control_sign_and_stays_clean(text):
    clean = clean_text(text)
    assert not {unicodedata.category(sign) for sign in clean} & {"Cc", "Cs"}
    assert clean_text(clean) == clean
    assert len(clean) == len(text)


def test_coffees_with_the_same_variances_share_a_table(judgement):
    own = [row for row in judgement.variances if row.coffee == "Ninth Landing"]
    twin = [replace(row, coffee="Twin") for row in own]
    groups = group_variances(replace(judgement, variances=(*judgement.variances, *twin)))
    assert [name for name, _ in groups][:2] == ["Ninth Landing, Twin; black", "Ninth Landing, Twin; milk"]
    assert len(groups) == 6
    assert sum(len(rows) for _, rows in groups) == len(judgement.variances)


@pytest.mark.parametrize("worth", [0.0, 12.5, 1204.5])
@pytest.mark.parametrize("what", [" ", say("{count} more", count=1)])
def test_what_the_next_cup_is_worth_can_be_told_in_another_language(silent, untold, worth, what):
    said = describe_next_cup(NextCup(worth=worth, cost=3.5, what=what))
    assert untold(said) == set(), said
    assert "3,50" in tell(said, silent)


def test_how_much_was_tasted_can_be_told_in_another_language(untold):
    tasted = [Tasted(service=one, pulls=1, cups=2, tasters=1, sheets=2) for one in ("black", "milk", "bowl")]
    for said in (describe_tasted(tasted), describe_tasted(())):
        assert untold(said) == set(), said


def test_what_a_deviation_is_called_can_be_told_in_another_language():
    assert all(isinstance(word, Words) for word in DEVIATION_WORD.values())


COMMA = Tongue(one=lambda text: text, many=lambda one, many, count: many, decimal=",", group=".")
SWAPPED = str.maketrans({".": ",", ",": "."})


@given(st.floats(allow_nan=False, allow_infinity=False), st.integers(0, 4))
def test_a_number_is_told_with_the_signs_of_the_language(value, decimals):
    assert tell(format_number(value, decimals), COMMA) == format_number(value, decimals).translate(SWAPPED)
