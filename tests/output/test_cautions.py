"""The cautions name the published bounds and those who may pass them."""

from dataclasses import replace

import pytest

from evenhand.output.cautions import CAFFEINE_BOUNDS, DAY_DOSE_MG, SINGLE_DOSE_MG, list_cautions, note_caffeine
from evenhand.verdict.judgement import CaffeineRow
from evenhand.words import tell


def test_the_bounds_are_the_published_ones():
    # EFSA (2015), Scientific opinion on the safety of caffeine, EFSA Journal 13(5):4102: single doses up to 200 mg and
    # habitual consumption up to 400 mg a day do not give rise to safety concerns for healthy adults. From memory.
    assert (SINGLE_DOSE_MG, DAY_DOSE_MG) == (200.0, 400.0)


@pytest.mark.parametrize(
    ("caffeine_mg", "words"),
    [(0, ""), (200, ""), (200.1, "over 200 mg"), (400, "over 200 mg"), (401, "over 400 mg")],
)
def test_a_note_only_above_the_bound(caffeine_mg, words):
    assert note_caffeine(caffeine_mg) == words


def test_the_caution_names_the_most_and_counts_the_tasters(judgement):
    text = {caution.heading: caution.text for caution in list_cautions(judgement)}["Caffeine"]
    assert "2 tasters pass 200 mg at one table; the most is 211 mg, Elm at table T2" in text


def test_one_taster_at_two_tables_is_one_taster(judgement):
    rows = tuple(CaffeineRow(table=t, taster="Ash", cups=4, caffeine_mg=mg) for t, mg in (("A", 250.0), ("B", 300.0)))
    text = list_cautions(replace(judgement, caffeine=rows))[1].text
    assert "1 taster passes 200 mg at one table; the most is 300 mg, Ash at table B" in text


def test_nobody_over_and_nothing_known(judgement):
    rows = (CaffeineRow(table="A", taster="Ash", cups=1, caffeine_mg=60.0),)
    assert "No taster was offered more than 200 mg" in list_cautions(replace(judgement, caffeine=rows))[1].text
    assert "offered" not in list_cautions(replace(judgement, caffeine=()))[1].text


def test_each_danger_has_its_caution_and_defers_to_those_who_decide(judgement):
    cautions = list_cautions(judgement)
    whole = " ".join(f"{caution.heading} {caution.text}" for caution in cautions).lower()
    for word in ("steam", "pressure", "caffeine", "pregnancy", "allergen", "food code", "manual", "licensed", "doctor"):
        assert word in whole
    assert all(len(caution.text) < 500 for caution in cautions)


def test_every_word_but_names_can_be_told_in_another_language(untold, judgement):
    over = CaffeineRow(table="T", taster="N", cups=9, caffeine_mg=450.0)
    several = (over, replace(over, taster="M"))
    judgements = [
        replace(judgement, caffeine=rows) for rows in ((), (over,), several, (replace(over, caffeine_mg=9.0),))
    ]
    said = [text for one in judgements for caution in list_cautions(one) for text in (caution.heading, caution.text)]
    said += [CAFFEINE_BOUNDS, note_caffeine(250.0), note_caffeine(450.0)]
    for sentence in said:
        assert untold(sentence) <= {"T", "N", "M"}, sentence


def test_the_bounds_end_in_a_space_in_every_language(silent):
    assert tell(CAFFEINE_BOUNDS, silent).endswith(". ")
