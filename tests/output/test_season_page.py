"""The page of a season is one file that loads nothing, escapes everything, and says in words what its charts show."""

import csv
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from evenhand.output._season_chart import describe, draw_measure
from evenhand.output._season_words import describe_coffee, describe_gaps_briefly, describe_season
from evenhand.output.season_page import coffee_fragment, season_page
from evenhand.output.telling import fill_holes, leaving_holes
from evenhand.records.seasons import season, whole_season
from evenhand.words import ENGLISH, Tongue, Words, say, tell

DEMO = Path(__file__).parents[2] / "demo" / "season"
VOID = {"meta"}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
MARKS = Tongue(one=lambda text: f"⟦{text}⟧", many=lambda one, many, count: f"⟦{one if count == 1 else many}⟧")
NAMING = ("batch", "coffee", "green_lot", "attribute", "fault", "taster", "colour_scale", "moisture_method")


@pytest.fixture(scope="module")
def reading():
    return season(DEMO)


@pytest.fixture(scope="module")
def whole():
    return whole_season(DEMO)


@pytest.fixture(scope="module")
def names():
    """Every name that the demo gives to something, longest first, so that no name hides a part of another."""
    found = set()
    for file in DEMO.glob("*.csv"):
        with file.open(encoding="utf-8", newline="") as lines:
            found |= {row[column] for row in csv.DictReader(lines) for column in NAMING if row.get(column)}
    return sorted(found, key=len, reverse=True)


@pytest.fixture(scope="module")
def left(names, untold):
    """Give a function that finds what no catalogue reached in a text as it was told, besides names and s for seconds.

    A name is taken out as a whole: its parts stay words, and so do those of a name that is cut off.
    """

    def find(told):
        for name in names:
            told = re.sub(rf"(?i)(?<!\w){re.escape(name)}(?!\w)", " ", told)
        return untold(say("{told}", told=told)) - {"s"}

    return find


def fragments(whole):
    for coffee in whole.season.coffees:
        green = next(one for one in whole.green.coffees if one.coffee == coffee.coffee)
        yield lambda coffee=coffee, green=green: coffee_fragment(coffee, green, whole.likeness)


def spoil(reading):
    """Give the season names that would act if they were not escaped, and that have no place to break."""
    bad = '<script>alert("x")</script>' + "W" * 60
    coffees = tuple(
        replace(
            one,
            coffee=f"{bad}{n}",
            off_target=(bad,),
            measures=tuple(replace(m, measure=f"{bad}, {m.measure}") for m in one.measures),
        )
        for n, one in enumerate(reading.coffees[:2])
    )
    return replace(reading, title=bad, coffees=coffees, warnings=(bad,), across=(bad,))


@pytest.fixture(scope="module")
def pages(reading, whole):
    empty = replace(reading, coffees=(), charted=0, alerting=0, by_luck=0.0)
    return {
        "usual": season_page(reading),
        "hostile": season_page(spoil(reading)),
        "empty": season_page(empty),
        "green": season_page(whole.season, whole.green, whole.likeness),
    }


class Reader(HTMLParser):
    """Reads a page strictly: every element that opens must close in order."""

    def __init__(self, html):
        super().__init__()
        self.open, self.found, self.headings, self.texts = [], [], [], []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))

    def handle_startendtag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, text):
        if "style" not in self.open:
            self.texts.append(text)


@pytest.mark.parametrize("kind", ["usual", "hostile", "empty", "green"])
def test_it_loads_nothing_runs_nothing_and_is_well_formed(pages, kind):
    html = pages[kind]
    reader = Reader(html)
    assert not {"script", "link", "img", "iframe", "object", "embed", "base", "form"} & {tag for tag, _ in reader.found}
    names = {name for _, attributes in reader.found for name in attributes}
    assert not {"src", "srcset", "action", "style"} & names
    assert not [name for name in names if name.startswith("on")]
    assert "://" not in html
    assert not re.search(r"@import|url\(|@font-face", html)
    ids = [attributes["id"] for _, attributes in reader.found if "id" in attributes]
    assert len(ids) == len(set(ids))
    wanted = {a["href"].removeprefix("#") for _, a in reader.found if "href" in a}
    wanted |= {one for _, a in reader.found if "aria-labelledby" in a for one in a["aria-labelledby"].split()}
    assert wanted <= set(ids)
    assert reader.headings[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(reader.headings))


def test_every_charted_measure_has_a_picture_with_a_title_and_words(reading, pages):
    charted = [one for coffee in reading.coffees for one in coffee.measures if one.reading]
    assert pages["usual"].count("<svg") == pages["usual"].count("<desc") == len(charted) == reading.charted
    for coffee in reading.coffees:
        for sentence in coffee.off_target:
            assert sentence.replace("'", "&#x27;") in pages["usual"]


def test_invented_data_are_said_to_be_invented(reading, pages):
    said = "Invented data: a made-up example", "All data on this page are invented.", "(invented data)</title>"
    assert all(one in pages["usual"] for one in said)
    assert not any(one in season_page(replace(reading, invented=False)) for one in said)


def test_the_picture_marks_what_is_beyond_and_widens_what_is_little_known(reading):
    coffee = next(one for one in reading.coffees if one.coffee == "Mossgate")
    odd = next(one for one in coffee.measures if one.measure == "Sweetness, black")
    svg = draw_measure(odd, coffee, "x").svg
    assert svg.count("k-out") == len(odd.reading.individuals.signals) == 1
    assert svg.count("<circle") == len(coffee.batches) - 1
    (beyond,) = odd.reading.individuals.signals
    assert coffee.batches[beyond] == "Q26-011"
    assert f"Beyond their limits: Q26-011 at {odd.value[beyond]:.2f}." in describe(odd, coffee)
    steady = next(one for one in coffee.measures if one.reading and not one.reading.individuals.signals)
    assert "No batch lies beyond its limits." in describe(steady, coffee)
    loss = next(one for one in coffee.measures if one.measure == "Dry mass loss")
    heights = [float(h) for h in re.findall(r'<rect [^>]*height="([\d.]+)"', draw_measure(loss, coffee, "x").svg)]
    assert int(np.argmax(heights)) == int(np.nanargmax(loss.sd))
    assert max(heights) > 1.2 * np.median(heights)


def test_points_stand_in_proportion_to_their_values(reading):
    coffee = next(one for one in reading.coffees if one.coffee == "Mossgate")
    for measure in (one for one in coffee.measures if one.reading):
        svg = draw_measure(measure, coffee, "x").svg
        dots = np.array([[float(x), float(y)] for x, y in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', svg)])
        inside = [i for i in np.flatnonzero(np.isfinite(measure.value)) if i not in measure.reading.individuals.signals]
        line = np.polyfit(measure.value[inside], dots[:, 1], 1)
        np.testing.assert_allclose(np.polyval(line, measure.value[inside]), dots[:, 1], atol=0.1)
        assert line[0] < 0
        assert np.all(np.diff(dots[:, 0]) > 0)


def test_a_fragment_with_holes_is_the_same_once_they_are_filled_in_english(whole):
    for build in fragments(whole):
        with leaving_holes():
            held = build()
        assert held != build()
        assert fill_holes(held, ENGLISH) == build()


def test_a_fragment_says_nothing_that_cannot_be_told_in_another_language(silent, left, whole):
    """Text, alternative text and labels of pictures: with all patterns bare, names and units are left."""
    for build in fragments(whole):
        with leaving_holes():
            held = build()
        texts = Reader(fill_holes(held, silent)).texts
        assert len(texts) > 50
        assert set().union(*map(left, texts)) == set()
        marked = " ".join(Reader(fill_holes(held, MARKS)).texts)
        assert marked.count("⟦") == marked.count("⟧") > 100


def test_lines_of_a_list_can_be_told_in_another_language(silent, left, whole):
    empty = replace(whole.season, charted=0)
    said = [describe_season(whole.season), describe_season(empty), *map(describe_coffee, whole.season.coffees)]
    thin = [
        replace(one, measures=tuple(replace(m, gap="–") for m in one.measures[: n % 3 + 1]) + one.measures[n % 3 + 1 :])
        for n, one in enumerate(whole.season.coffees)
    ]
    said += [text for one in (*whole.season.coffees, *thin) if (text := describe_gaps_briefly(one))]
    assert len(said) > 12
    assert all(isinstance(one, Words) for one in said)
    assert set().union(*(left(tell(one, silent)) for one in said)) == set()


@pytest.mark.browser
@pytest.mark.parametrize(("size", "scheme"), [((360, 740), "light"), ((820, 1180), "dark"), ((1280, 800), "light")])
def test_in_a_browser_nothing_scrolls_sideways_and_the_checker_finds_nothing(
    chromium, axe, pages, tmp_path, size, scheme
):
    context = chromium.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
    tab = context.new_page()
    for kind, html in pages.items():
        path = tmp_path / f"{kind}.html"
        path.write_text(html, encoding="utf-8")
        tab.goto(path.as_uri())
        tab.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        wide, room = tab.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
        assert wide <= room, kind
    tab.goto((tmp_path / "green.html").as_uri())
    tab.evaluate(axe)
    found = tab.evaluate("rules => axe.run(document, {runOnly: rules, resultTypes: ['violations']})", RULES)
    assert found["passes"]
    assert [(one["id"], one["nodes"][0]["html"][:200]) for one in found["violations"]] == []
    tab.emulate_media(media="print")
    heights = "[...document.querySelectorAll('details .body')].map(e => e.getBoundingClientRect().height)"
    assert min(tab.evaluate(heights)) > 100
    context.close()
