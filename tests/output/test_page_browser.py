"""The page in a real browser: nothing scrolls sideways, nothing is out of reach, in light, dark and print."""

import json
from dataclasses import replace

import pytest

from evenhand.output.page import page

SCREENS = {"phone": (360, 740), "tablet": (820, 1180), "desk": (1280, 800)}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RUN = f"axe.run(document, {json.dumps({'runOnly': RULES, 'resultTypes': ['violations']})})"

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def shelf(tmp_path_factory, judgement, hostile, build_judgement):
    """Put each kind of page into a file of its own."""
    folder = tmp_path_factory.mktemp("pages")
    usual = replace(judgement, batches=tuple(replace(v, pulls=v.pulls * 2) for v in judgement.batches))
    short = build_judgement(batches=4)  # one to hold, one to taste again, two to release
    short = replace(short, variances=short.variances[:4])
    kinds = {"usual": usual, "short": short, "hostile": hostile, "empty": build_judgement(batches=0)}
    for kind, shown in kinds.items():
        (folder / f"{kind}.html").write_text(page(shown), encoding="utf-8")
    return folder


@pytest.fixture
def visit(chromium, shelf):
    """Give a way to open a page; every context is closed again, and a page that asks for anything fails."""
    contexts, asked = [], []

    def open_page(kind="usual", screen="desk", **options):
        width, height = SCREENS[screen]
        context = chromium.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        tab = context.new_page()
        tab.on("request", lambda request: asked.append(request.url))
        tab.goto((shelf / f"{kind}.html").as_uri())
        return tab

    yield open_page
    for context in contexts:
        context.close()
    assert all(url.endswith(".html") for url in asked)


@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("kind", ["usual", "hostile", "empty"])
def test_no_page_scrolls_sideways(visit, kind, screen):
    tab = visit(kind, screen)
    tab.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    wide, room = tab.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert wide <= room
    if kind == "usual":
        frames = tab.evaluate(
            "[...document.querySelectorAll('.body > section, .overview')]"
            ".filter(e => e.scrollWidth > e.clientWidth).length"
        )
        assert frames == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("kind", ["short", "empty"])
def test_the_checker_of_accessibility_finds_nothing(visit, axe, kind, screen, scheme):
    tab = visit(kind, screen, color_scheme=scheme)
    tab.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    tab.evaluate(axe)
    found = tab.evaluate(RUN)
    assert found["passes"]
    assert [(v["id"], v["impact"], v["nodes"][0]["html"][:200]) for v in found["violations"]] == []


def test_the_checker_would_find_a_fault(visit, axe):
    tab = visit("empty")
    tab.evaluate("document.documentElement.style.setProperty('--soft', '#ddd')")
    tab.evaluate(axe)
    found = tab.evaluate(RUN)
    assert "color-contrast" in [v["id"] for v in found["violations"]]


def test_a_link_of_the_overview_opens_a_closed_batch(visit):
    tab = visit()
    link = tab.locator("#verdicts ~ .overview a").last
    anchor = link.get_attribute("href")
    closed = tab.locator(f"details:has({anchor})")
    assert closed.get_attribute("open") is None
    link.click()
    assert closed.get_attribute("open") is not None
    assert tab.evaluate("a => document.querySelector(a).parentElement.getBoundingClientRect().top >= 0", anchor)


def test_links_and_summaries_are_large_enough_to_touch(visit):
    # WCAG 2.2, success criterion 2.5.8: targets of at least 24 by 24 CSS pixels; links inside a sentence are exempt.
    tab = visit(screen="phone")
    sizes = tab.evaluate(
        "[...document.querySelectorAll('nav a, .overview a, summary')].map(e => e.getBoundingClientRect())"
        ".map(r => Math.min(r.width, r.height))"
    )
    assert len(sizes) > 20
    assert min(sizes) >= 24


def test_the_keyboard_reaches_the_verdicts_first_and_shows_where_it_is(visit):
    tab = visit()
    tab.keyboard.press("Tab")
    skip = tab.locator("a.skip")
    assert skip.evaluate("e => e === document.activeElement && e.getBoundingClientRect().left >= 0")
    assert skip.evaluate("e => getComputedStyle(e).outlineStyle") == "solid"
    tab.keyboard.press("Enter")
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.closest('.overview') !== null")


def test_charts_take_the_colours_of_the_theme(visit):
    colours = []
    for scheme in ("light", "dark"):
        tab = visit(color_scheme=scheme)
        colours.append(tab.locator(".k-dot").first.evaluate("e => getComputedStyle(e).fill"))
    assert colours == ["rgb(18, 73, 90)", "rgb(147, 210, 226)"]


def test_print_opens_every_batch_and_keeps_every_column(visit):
    tab = visit(color_scheme="dark")
    tab.emulate_media(media="print")
    heights = tab.evaluate("[...document.querySelectorAll('details .body')].map(e => e.getBoundingClientRect().height)")
    assert len(heights) == 9
    assert min(heights) > 100
    assert tab.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert tab.evaluate("[...document.querySelectorAll('.w')].every(e => getComputedStyle(e).display === 'table-cell')")
