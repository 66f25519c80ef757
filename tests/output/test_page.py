"""The page is one file that loads nothing, escapes everything, and says in tables what its charts show."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files
from itertools import pairwise

import pytest

from evenhand.output.page import page

VOID = {"meta", "br", "input", "img", "hr", "link"}


class Reader(HTMLParser):
    """Reads a page strictly: every element that opens must close in order."""

    def __init__(self, html):
        super().__init__()
        self.open, self.attributes, self.tags, self.headings, self.text = [], [], [], [], []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names))
        self.tags.append(tag)
        self.attributes.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.text.append(data)
        if self.open and re.fullmatch("h[1-6]", self.open[-1]):
            self.headings.append((int(self.open[-1][1]), data))

    def values(self, name):
        return [attributes[name] for _, attributes in self.attributes if name in attributes]


@pytest.fixture(scope="module", params=["usual", "hostile", "empty", "season"])
def html(request, judgement, hostile, build_judgement):
    made = {"usual": lambda: judgement, "hostile": lambda: hostile, "empty": lambda: build_judgement(batches=0)}
    return page(made.get(request.param, lambda: build_judgement(batches=60))())


def test_it_loads_nothing_and_runs_nothing(html):
    reader = Reader(html)
    assert not {"script", "link", "img", "iframe", "object", "embed", "base", "form"} & set(reader.tags)
    assert not {"src", "srcset", "action", "style"} & {name for _, a in reader.attributes for name in a}
    assert not [name for _, a in reader.attributes for name in a if name.startswith("on")]
    assert "://" not in html
    assert not re.search(r"@import|url\(|@font-face", html)


def test_ids_are_unique_and_every_reference_leads_somewhere(html):
    reader = Reader(html)
    ids = reader.values("id")
    assert len(ids) == len(set(ids))
    links = reader.values("href")
    assert all(link.startswith("#") for link in links)
    wanted = {link[1:] for link in links} | {i for value in reader.values("aria-labelledby") for i in value.split()}
    assert wanted <= set(ids)


def test_headings_go_down_one_step_at_a_time(html):
    levels = [level for level, _ in Reader(html).headings]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_language_landmarks_title_and_skip_link(html):
    reader = Reader(html)
    assert ("html", {"lang": "en"}) in reader.attributes
    for landmark in ("header", "nav", "main", "footer", "head"):
        assert reader.tags.count(landmark) == 1
    assert re.search(r"<head>.*<title>.+: verdicts.*</title>.*</head>", html, re.S)
    assert next(a for tag, a in reader.attributes if tag == "a") == {"class": "skip", "href": "#verdicts"}


def test_every_table_has_a_caption_and_headings_with_a_scope(html):
    reader = Reader(html)
    assert reader.tags.count("caption") == reader.tags.count("table")
    headings = [a for tag, a in reader.attributes if tag == "th"]
    assert all(a.get("scope") in ("col", "row", "rowgroup") for a in headings)
    assert {a.get("role") for tag, a in reader.attributes if tag == "svg"} <= {"img"}


def test_what_a_user_typed_is_shown_as_typed(hostile):
    html = page(hostile)
    reader = Reader(html)
    assert "<script" not in html
    shown = "".join(reader.text)
    assert "<script>alert('x')</script>&\"' \N{REPLACEMENT CHARACTER}gnp #strong[*_] \\ [bold]ünïcødé 咖啡 ☕" in shown
    assert "\N{RIGHT-TO-LEFT OVERRIDE}" not in html


def test_the_overview_puts_what_needs_somebody_first_with_anchors(judgement):
    html = page(judgement)
    overview = html[html.index('id="verdicts"') : html.index('id="batches"')]
    rows = re.findall(r'<a href="#(b\d+)">(.*?)</a>.*?<span class="badge (\w+)">', overview)
    assert [row[2] for row in rows] == ["hold"] * 2 + ["taste_again"] * 2 + ["release"] * 5
    for anchor, batch, _ in rows:
        start = html.index(f'id="{anchor}"')
        assert html[:start].rindex(f"<h3>{batch}</h3>") > html[:start].rindex("<details")


def test_state_is_word_and_shape(judgement):
    html = page(judgement)
    for decision, sign, word in (
        ("hold", "■", "Hold"),
        ("taste_again", "▲", "Taste again"),
        ("release", "●", "Release"),
    ):
        badge = f'<span class="badge {decision}"><span class="sign" aria-hidden="true">{sign}</span>{word}</span>'
        assert badge in html
    assert html.count('<span class="badge') == html.count('class="sign" aria-hidden="true"')


def test_what_is_not_released_is_open_and_the_rest_opens_at_a_touch(judgement):
    details = [a for tag, a in Reader(page(judgement)).attributes if tag == "details"]
    assert ["open" in a for a in details] == [True] * 4 + [False] * 5


def test_the_numbers_behind_a_verdict_are_in_tables(judgement):
    html = page(judgement).replace("&nbsp;", "\N{NO-BREAK SPACE}").replace("&shy;", "")
    verdict = next(v for v in judgement.batches if v.batch == "EX-2403")
    section = html[html.index("<h3>EX-2403") : html.index("</details>", html.index("<h3>EX-2403"))]
    cells = {re.sub("<[^>]+>", "", cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", section)}
    cells = {cell.replace("\N{NO-BREAK SPACE}", " ") for cell in cells}
    for row in verdict.profile:
        assert {
            row.attribute,
            f"{row.estimate:.2f}",
            f"{row.lower90:.2f} to {row.upper90:.2f}",
            f"{row.raw_mean:.2f}",
        } <= cells
        assert f"{row.target:.2f} ± {row.tolerance:.2f}" in cells
        assert f"{row.shot_effect:+.2f}".replace("-", "−") in cells
    for pull in verdict.pulls:
        assert {
            f"{pull.ratio:.2f}",
            f"{pull.flow_g_per_s:.2f}",
            f"{pull.deviation['dose']:+.1f}".replace("-", "−"),
        } <= cells
    assert {f"{cost:.2f}" for cost in verdict.expected_cost.values()} <= cells
    assert {"4 of 12", "least"} <= cells
    assert all(reason in section for reason in verdict.reasons)


def test_many_pulls_scroll_in_a_frame_that_the_keyboard_reaches(judgement):
    batch = judgement.batches[0]
    many = replace(batch, pulls=batch.pulls * 4)
    framed = [a for _, a in Reader(page(replace(judgement, batches=(many,)))).attributes if a.get("class") == "scroll"]
    assert framed == [
        {"class": "scroll", "role": "group", "aria-label": "Table of pulls, scrolls sideways", "tabindex": "0"}
    ]
    assert 'class="scroll"' not in page(replace(judgement, batches=(batch,)))


def test_invented_data_is_marked_and_real_data_is_not(judgement):
    assert "Invented data" in page(judgement)
    assert (
        "invented"
        not in re.sub(r"<style>.*?</style>", "", page(replace(judgement, invented=False)), flags=re.S).lower()
    )


def test_an_empty_judgement_and_a_batch_without_any_tasting(build_judgement):
    html = page(build_judgement(batches=0))
    assert "No batch was judged." in html
    assert 'id="batches"' not in html
    one = build_judgement(batches=1)
    bare = replace(one.batches[0], profile=(), faults=(), pulls=(), tasted=(), reasons=())
    html = page(replace(one, batches=(bare,), variances=(), caffeine=()))
    for words in ("No attribute was scored.", "No fault was asked for.", "No pull was recorded.", "Not tasted."):
        assert words in html


def test_an_attribute_that_was_not_scored_has_dashes(judgement):
    batch = judgement.batches[0]
    row = replace(batch.profile[0], raw_mean=None, shot_effect=0.0, taster_effect=0.0)
    html = page(replace(judgement, batches=(replace(batch, profile=(row,)),)))
    parts = html[html.index("From the raw mean") : html.index("<h4>Pulls against")]
    assert parts.count("–") == 4


def test_the_same_judgement_gives_the_same_page(judgement):
    assert page(judgement) == page(judgement)


def _luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    """Contrast ratio as W3C, Web Content Accessibility Guidelines 2.2, defines it (relative luminance of sRGB)."""
    bright, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_the_measure_of_contrast_itself():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # WCAG 2.2: ratios range from 1 to 21
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("theme", [0, 1, 2], ids=["light", "dark", "print"])
def test_contrast_of_every_colour_in_use(theme):
    # WCAG 2.2, success criteria 1.4.3 (text, 4.5 to 1) and 1.4.11 (marks of a chart, focus, 3 to 1).
    style = files("evenhand.output").joinpath("page.css").read_text(encoding="utf-8")
    blocks = [
        dict(re.findall(r"--([a-z_-]+): (#[0-9a-f]{6})", block))
        for block in re.findall(r":root \{(.*?)\}", style, re.S)
    ]
    colour = {**blocks[0], **blocks[theme]}
    for ground in ("bg", "card"):
        for ink in ("ink", "soft", "link", "hold", "taste_again", "release"):
            assert contrast(colour[ink], colour[ground]) >= 4.5, (ink, ground)
        assert contrast(colour["focus"], colour[ground]) >= 3
    assert contrast(colour["ink"], colour["mark"]) >= 4.5
    assert contrast(colour["on-dot"], colour["dot"]) >= 4.5
    for ground in ("card", "band"):
        for mark in ("dot", "out", "raw", "edge", "zero"):
            assert contrast(colour[mark], colour[ground]) >= 3, (mark, ground)
