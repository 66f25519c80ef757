"""The green and the likeness of lots on page and terminal, and the fragment that another page may take in."""

import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from evenhand.output._season_green_chart import describe, draw_ageing
from evenhand.output._season_green_words import (
    ACTION_WORD,
    READING_GREEN,
    describe_test,
    describe_unknown,
    first_to_leave,
    live_lots,
    lot_cells,
)
from evenhand.output.season_page import coffee_fragment, season_css, season_page
from evenhand.output.season_terminal import show_season
from evenhand.output.words import UNKNOWN
from evenhand.records.seasons import whole_season

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo" / "season"
BAD = '<script>alert("x")</script>' + "W" * 60


@pytest.fixture(scope="module")
def whole():
    return whole_season(DEMO)


@pytest.fixture(scope="module")
def page(whole):
    return season_page(whole.season, whole.green, whole.likeness)


def show(whole, *, full=False, width=100):
    out = io.StringIO()
    console = Console(file=out, width=width, color_system=None)
    show_season(whole.season, console, green=whole.green, likeness=whole.likeness, full=full)
    return " ".join(out.getvalue().split())


def shown(text):
    return text.replace("&", "&amp;").replace("'", "&#x27;").replace('"', "&quot;")


class Reader(HTMLParser):
    """Reads a piece of a page strictly: every element that opens must close in order."""

    def __init__(self, html):
        super().__init__()
        self.open, self.found, self.headings = [], [], []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))
        self.open.append(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))

    def handle_startendtag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def spoil(whole):
    """Give the green of the coffee with the most to say names that would act if they were not escaped."""
    coffee = next(one for one in whole.season.coffees if one.coffee == "Ninefold Stair")
    green = next(one for one in whole.green.coffees if one.coffee == "Ninefold Stair")
    lot = replace(green.lots[0], lot=BAD, harvest=BAD, sentences=(BAD,), gap=BAD)
    lot = replace(lot, attributes=tuple(replace(one, attribute=BAD, says=BAD) for one in lot.attributes))
    likeness = tuple(replace(one, lot=BAD, other=BAD, sentences=(BAD,)) for one in whole.likeness)
    return coffee, replace(green, sentences=(BAD,), too_little=BAD, lots=(lot,)), likeness


@pytest.mark.parametrize("kind", ["usual", "hostile"])
def test_a_fragment_has_no_style_no_script_and_nothing_that_loads(whole, kind):
    if kind == "usual":
        coffee = whole.season.coffees[1]
        green = next(one for one in whole.green.coffees if one.coffee == coffee.coffee)
        html = coffee_fragment(coffee, green, whole.likeness, ident="one")
    else:
        html = coffee_fragment(*spoil(whole), ident="one")
    reader = Reader(html)
    tags = {tag for tag, _ in reader.found}
    assert not {"script", "style", "link", "img", "iframe", "object", "embed", "base", "form", "a"} & tags
    names = {name for _, attributes in reader.found for name in attributes}
    assert not {"style", "src", "href", "srcset", "action"} & names
    assert not [name for name in names if name.startswith("on")]
    assert "://" not in html
    assert reader.found[0] == ("div", {"class": "season-part"})
    ids = [attributes["id"] for _, attributes in reader.found if "id" in attributes]
    assert ids
    assert len(ids) == len(set(ids))
    assert all(one.startswith("one") for one in ids)
    assert set(reader.headings) == {4, 5}


def test_headings_of_a_fragment_take_the_level_asked_for(whole):
    html = coffee_fragment(whole.season.coffees[0], whole.green.coffees[0], heading=2)
    assert set(Reader(html).headings) == {2, 3}


def test_every_class_of_a_fragment_has_its_rule_and_every_rule_stays_inside(whole):
    css = season_css()
    pieces = [
        coffee_fragment(one, next(g for g in whole.green.coffees if g.coffee == one.coffee), whole.likeness)
        for one in whole.season.coffees
    ]
    used = {
        name for html in pieces for _, attributes in Reader(html).found for name in attributes.get("class", "").split()
    }
    assert used - set(re.findall(r"\.([\w-]+)", css)) <= {"sign"}
    heads = [one.strip() for one in re.findall(r"([^{};]+)\{", re.sub(r"/\*.*?\*/", "", css))]
    selectors = [one for one in heads if not one.startswith("@media")]
    assert len(selectors) > 20
    assert all(part.strip().startswith(".season-part") for one in selectors for part in one.split(","))


def test_colours_of_the_fragment_are_those_of_the_page():
    """In the light, in the dark and on paper, for every colour that both name."""
    page = (ROOT / "src" / "evenhand" / "output" / "page.css").read_text()

    def colours(css):
        return [
            dict(re.findall(r"--([\w-]+): (#\w+)", block)) for block in re.findall(r"\{([^{}]*--band:[^{}]*)\}", css)
        ]

    for own, theirs in zip(colours(season_css()), colours(page), strict=True):
        assert len(own) > 8
        assert {name: theirs[name] for name in own} == own


def test_the_page_shows_every_lot_in_use_and_draws_what_leaves_first(whole, page):
    for coffee, lot in live_lots(whole.green):
        assert shown(lot.lot) in page
        assert coffee.coffee in page
        for sentence in lot.sentences:
            assert shown(sentence) in page
    drawn = sum(min(len(lot.attributes), 2) for coffee in whole.green.coffees for lot in coffee.lots)
    assert drawn > 6
    assert page.count("months since harvest</text>") == drawn
    assert page.count("<svg") == page.count("<desc") == drawn + whole.season.charted
    for one in whole.likeness:
        for sentence in one.sentences:
            assert shown(sentence) in page


def test_without_green_the_page_says_nothing_of_it(whole):
    html = season_page(whole.season)
    assert "The green" not in html
    assert "expiry" not in html


def test_dots_of_the_picture_stand_at_their_months_and_levels(whole):
    for _, lot in live_lots(whole.green):
        for one in lot.attributes:
            svg = draw_ageing(one, lot, "x").svg
            dots = np.array([[float(x), float(y)] for x, y in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', svg)])
            assert len(dots) == len(one.tasted)
            for place, values in ((0, one.tasted_months), (1, one.tasted)):
                line = np.polyfit(values, dots[:, place], 1)
                np.testing.assert_allclose(np.polyval(line, values), dots[:, place], atol=0.12)
                assert (line[0] > 0) == (place == 0)
            assert f"{len(one.tasted)} batches from month" in describe(one, lot)


def test_a_lot_that_nobody_tasted_is_drawn_by_its_borrowed_line(whole):
    lot = next(lot for _, lot in live_lots(whole.green) if lot.attributes)
    one = replace(lot.attributes[0], tasted=(), tasted_months=(), tasted_sd=())
    assert "<circle" not in draw_ageing(one, lot, "x").svg
    assert "borrowed from other lots" in describe(one, lot)


def test_the_terminal_tells_what_presses_first_and_the_rest_in_a_line(whole):
    said = show(whole)
    lots = live_lots(whole.green)
    places = [said.index(f"{lot.lot} ({lot.harvest}), {coffee.coffee}") for coffee, lot in lots]
    assert places == sorted(places)
    for _, lot in lots:
        calm = lot.advice is not None and lot.advice.action == "carry on"
        assert (" ".join(lot.sentences[0].split()) in said) is not calm
    assert "never an expiry" in said
    full = show(whole, full=True)
    assert all(" ".join(sentence.split()) in full for _, lot in lots for sentence in lot.sentences)
    assert all(" ".join(sentence.split()) in full for one in whole.likeness for sentence in one.sentences)


def test_lots_of_which_nothing_is_written_are_one_sentence(whole):
    def bare(lot):
        return replace(
            lot, months_now=None, stock=None, advice=None, attributes=(), sentences=(), gap="Nothing is written of it."
        )

    coffees = tuple(
        replace(one, lots=tuple(bare(lot) for lot in one.lots), lines=(), sentences=()) for one in whole.green.coffees
    )
    unknown = replace(whole, green=replace(whole.green, coffees=coffees))
    said = show(unknown)
    assert f"written down of {len(coffees)} lots in use" in said
    assert "Cannot tell" not in said
    html = season_page(unknown.season, unknown.green)
    assert "The green: stock and age" not in html
    assert "Nothing is written of it." in html


def test_a_plan_of_tests_in_one_sentence_says_what_silence_does_not_show(whole):
    both = [one for one in whole.likeness if one.other]
    assert both
    for one in both:
        text = describe_test(one)
        assert str(one.difference.answers) in text
        assert str(one.similarity.answers) in text
        assert "Not finding one shows nothing" in text
    assert all(describe_test(one) == "" for one in whole.likeness if one.other is None)


def test_the_first_to_leave_is_that_with_the_earliest_month(whole):
    for _, lot in live_lots(whole.green):
        months = [one.likely_months for one in lot.attributes if one.likely_months is not None]
        assert months == sorted(months)
        if months:
            assert lot.attributes[0].name in first_to_leave(lot)


def test_words_of_lots_and_their_pictures_can_be_told_in_another_language(untold, whole):
    said, data = [*ACTION_WORD.values(), *(text for pair in READING_GREEN for text in pair)], {"kg"}
    for coffee, lot in live_lots(whole.green):
        said += lot_cells(lot)
        data |= {*coffee.coffee.split(), *lot.lot.split()}
        for one in lot.attributes:
            bare = replace(one, tasted=(), tasted_months=(), tasted_sd=())
            said += [describe(one, lot), describe(bare, lot)]
            data |= {*one.attribute.split(), *one.attribute.capitalize().split()}
    said += [describe_test(one) for one in whole.likeness]
    unknown = replace(whole.green.coffees[0].lots[0], current=True, months_now=None, stock=None)
    said.append(describe_unknown(replace(whole.green, coffees=(replace(whole.green.coffees[0], lots=(unknown,)),))))
    assert len(said) > 60
    assert set().union(*(untold(one) for one in said if one not in ("", UNKNOWN))) <= data
