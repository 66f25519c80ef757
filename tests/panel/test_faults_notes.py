"""Notes on faults: age of the crop and colour are asked before a cause is named (common practice, no source)."""

import pytest

from evenhand.errors import QuantityError
from evenhand.panel.faults import FAULT_NOTES, FaultNote, colour_word, explain


@pytest.mark.parametrize("fault", ["green", "grassy", "woody", "flat", "baked"])
def test_an_ambiguous_fault_asks_for_age_and_colour_first(fault):
    sentences = explain(fault)
    assert " or " in sentences[0]
    assert "months since harvest" in sentences[-1]
    assert "colour" in sentences[-1]
    assert not any("likelier" in s for s in (*sentences, *explain(fault, 2.0), *explain(fault, None, "lighter")))


def test_green_is_weighed_by_age_and_colour():
    assert "roast is the likelier" in explain("green", 9.0, "lighter")[-1]
    assert "green coffee is the likelier" in explain("Green ", 2.0, "on target")[-1]
    assert "Both" in explain("green", 2.0, "lighter")[-1]
    assert "Neither" in explain("green", 9.0, "on target")[-1]


def test_flat_is_weighed_by_age_because_colour_does_not_tell():
    assert "green coffee is the likelier" in explain("flat", 14.0, "on target")[-1]
    assert "roast is the likelier" in explain("flat", 5.0, "on target")[-1]


@pytest.mark.parametrize("fault", ["smoky", "ashy"])
def test_too_far_goes_with_a_darker_colour(fault):
    assert "too far" in explain(fault)[0]
    assert "supports it" in explain(fault, colour="darker")[-1]
    assert "does not support" in explain(fault, colour="on target")[-1]


def test_scorched_and_harsh():
    assert len(explain("scorched")) == 1
    assert "not taken far enough" in explain("harsh")[0]


def test_the_list_is_the_users():
    assert explain("chlorine") == ()
    own = {"chlorine": FaultNote(roast="the water, not the roast")}
    assert explain("chlorine", notes=own) == ("Chlorine may point at the water, not the roast.",)
    with pytest.raises(TypeError):
        FAULT_NOTES["x"] = own["chlorine"]  # type: ignore[index]


def test_colour_scales_run_both_ways():
    assert colour_word(62.0, 58.0, 2.0) == "lighter"
    assert colour_word(62.0, 58.0, 2.0, higher_is_lighter=False) == "darker"
    assert colour_word(59.5, 58.0, 2.0) == "on target"
    with pytest.raises(QuantityError):
        colour_word(60.0, 58.0, -1.0)


def test_what_cannot_be_is_refused():
    with pytest.raises(QuantityError, match="0 months"):
        explain("green", -1.0)
    with pytest.raises(QuantityError, match="Colour against target"):
        explain("green", 3.0, "brown")  # type: ignore[arg-type]


@pytest.mark.parametrize("fault", FAULT_NOTES)
@pytest.mark.parametrize("months", [None, 2.0, 8.0, 14.0])
@pytest.mark.parametrize("colour", [None, "lighter", "on target", "darker"])
def test_every_word_but_the_fault_can_be_told_in_another_language(untold, fault, months, colour):
    for said in explain(fault, months, colour):
        assert untold(said) <= {fault, fault.capitalize()}, said
