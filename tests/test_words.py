"""Sentences that can be told in another language, and stay plain English to everybody else."""

import ast
import json
import pickle
from gettext import GNUTranslations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.words import (
    ENGLISH,
    Tongue,
    Words,
    capitalise,
    join,
    pack,
    say,
    say_many,
    tell,
    unpack,
    unpack_and_tell,
    walk_patterns,
)

SOURCE = Path(__file__).parents[1] / "src" / "evenhand"

CATALOGUE = {
    "{name} is {size:.1f} high": "{size:.1f} zu hoch: {name}",
    "in milk": "in Milch",
    "{attribute} {where}": "{attribute} {where}",
    " and ": " und ",
}
GERMAN = Tongue(
    one=lambda text: CATALOGUE.get(text, text),
    many=lambda one, many, count: "{count} Tasse" if count == 1 else "{count} Tassen",
    decimal=",",
    group=".",
)

texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
numbers = st.integers(-(10**6), 10**6) | st.floats(-1e6, 1e6)


def _so(a):
    return say("so {a}", a=a)


def _before(a, b):
    return say("{a} before {b}", a=a, b=b)


def _times(count, a):
    return say_many("{count} {a}", "{count} times {a}", count=count, a=a)


def extend(inner):
    """Words made of words."""
    return st.one_of(
        st.builds(_before, inner, inner | numbers),
        st.builds(_times, st.integers(0, 9), inner),
        st.builds(join, st.lists(inner, max_size=3), st.sampled_from([", ", " and ", "; "])),
        st.builds(capitalise, inner),
    )


words = st.recursive(st.builds(_so, texts | numbers), extend, max_leaves=8)


def test_words_are_plain_english_to_who_knows_no_languages():
    said = say("{name} is {size:.1f} high", name="body", size=1.25)
    assert said == "body is 1.2 high"
    assert json.dumps({"said": said}) == '{"said": "body is 1.2 high"}'
    assert isinstance(said, str)


def test_words_are_told_by_a_catalogue_with_all_that_is_in_them():
    name = say("{attribute} {where}", attribute="sweetness", where=say("in milk"))
    said = capitalise(say("{name} is {size:.1f} high", name=name, size=np.float64(1.25)))
    assert said == "Sweetness in milk is 1.2 high"
    assert tell(said, GERMAN) == "1,2 zu hoch: sweetness in Milch"
    assert tell(join([name, "body"], " and "), GERMAN) == "sweetness in Milch und body"
    assert list(walk_patterns(said)) == ["{name} is {size:.1f} high", "{attribute} {where}", "in milk"]


def test_a_number_of_things_follows_the_plural_of_the_language():
    cups = [say_many("{count} cup", "{count} cups", count=count) for count in (1, 2)]
    assert cups == ["1 cup", "2 cups"]
    assert [tell(one, GERMAN) for one in cups] == ["1 Tasse", "2 Tassen"]


def test_numbers_are_written_with_the_signs_of_the_language():
    said = say("{mass:,.1f} g, {count} cups, {name}", mass=1234.5, count=1000, name="2.5 or 3,1")
    assert said == "1,234.5 g, 1000 cups, 2.5 or 3,1"
    assert tell(said, GERMAN) == "1.234,5 g, 1000 cups, 2.5 or 3,1"
    assert tell(say("{whole:.1f}", whole=2), GERMAN) == "2,0"


@pytest.mark.parametrize("slip", ["{nme} is high", "{name", "{name.__class__}", "{0}", "{name:.1f}"])
def test_a_slip_in_a_catalogue_costs_a_translation_never_a_page(slip):
    said = say("{name} is {size:.1f} high", name="body", size=1.25)
    assert tell(said, Tongue(one=lambda text: slip, many=ENGLISH.many, decimal=",")) == "body is 1,2 high"


def test_a_slip_where_it_is_said_is_found_at_once():
    with pytest.raises(KeyError):
        say("{name} is high", nme="body")


@given(words)
def test_words_told_in_english_are_their_own_text(said):
    assert tell(said, ENGLISH) == str(said)


@given(words)
def test_words_survive_json_and_a_journey_to_another_process(said):
    packed = json.loads(json.dumps(pack(said)))
    assert unpack_and_tell(packed, GERMAN) == tell(said, GERMAN)
    for back in (unpack(packed), pickle.loads(pickle.dumps(said))):
        assert isinstance(back, Words)
        assert back == said
        assert tell(back, GERMAN) == tell(said, GERMAN)


@pytest.mark.parametrize("wrong", [{"values": {"a": [1]}, "pattern": "{a}"}, {"pattern": "{a}"}, {"parts": [3]}])
def test_what_never_were_words_is_refused(wrong):
    with pytest.raises((KeyError, TypeError, ValueError, AttributeError)):
        unpack(wrong)


def test_gettext_of_the_standard_library_is_a_catalogue():
    """Reference: the gettext module of Python, which knows nothing of this project."""
    empty = GNUTranslations()
    empty._catalog, empty.plural = {"{count} cup": "x"}, lambda count: int(count != 1)
    empty._catalog |= {("{count} cup", 0): "{count} Tasse", ("{count} cup", 1): "{count} Tassen"}
    tongue = Tongue(one=empty.gettext, many=empty.ngettext)
    assert tell(say_many("{count} cup", "{count} cups", count=3), tongue) == "3 Tassen"


def test_every_pattern_is_written_out_where_it_is_said():
    """A pattern that is put together as the program runs is in no catalogue."""
    wrong = []
    for file in sorted(SOURCE.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
                continue
            patterns = {"say": node.args[:1], "say_many": node.args[:2]}.get(node.func.id, [])
            if node.func.id in ("say", "say_many") and file.name != "words.py" and _is_ours(file):
                wrong += [
                    f"{file.relative_to(SOURCE)}:{node.lineno}"
                    for one in patterns
                    if not (isinstance(one, ast.Constant) and isinstance(one.value, str))
                ]
    assert not wrong, "\n".join(wrong)


def _is_ours(file: Path) -> bool:
    """Whether the `say` of a file is that of `evenhand.words`."""
    return "from evenhand.words import" in file.read_text(encoding="utf-8")
