"""A mark stands where its number says, and the words say what the marks show."""

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.output.charts import (
    PAGE_INK,
    PAPER_INK,
    WIDTH,
    describe_profile,
    describe_pulls,
    draw_profile,
    draw_pulls,
    shorten,
)
from evenhand.output.telling import speaking
from evenhand.words import ENGLISH, say

SVG = "{http://www.w3.org/2000/svg}"


def parse(chart):
    return ET.fromstring(chart.svg)


def x_of(root, words):
    (tick,) = (node for node in root.iter(f"{SVG}text") if node.text == words)
    return float(tick.get("x"))


def one_attribute(judgement, **changes):
    batch = judgement.batches[0]
    row = replace(batch.profile[0], target=5.0, tolerance=0.5, raw_mean=5.0, **changes)
    return replace(batch, profile=(row,))


@pytest.mark.parametrize("ink", [PAGE_INK, PAPER_INK])
def test_charts_are_well_formed_and_stay_inside(judgement, hostile, ink):
    for verdict in (*judgement.batches, *hostile.batches):
        for chart in (draw_profile(verdict, ink), draw_pulls(verdict, ink)):
            root = parse(chart)
            assert root.get("viewBox") == f"0 0 {WIDTH:.0f} {chart.height:.1f}".removesuffix(".0")
            for node in root.iter():
                for name in ("x", "x1", "x2", "cx"):
                    assert 0 <= float(node.get(name, 0)) <= WIDTH
                for name in ("y", "y1", "y2", "cy"):
                    assert 0 <= float(node.get(name, 0)) <= chart.height


def test_an_estimate_stands_at_its_distance_in_tolerances(judgement):
    verdict = one_attribute(judgement, estimate=5.25, lower90=4.5, upper90=6.0)
    root = parse(draw_profile(verdict, PAPER_INK))
    zero, one = x_of(root, "0"), x_of(root, "+1")
    (dot,) = root.iter(f"{SVG}circle")
    assert float(dot.get("cx")) == pytest.approx((zero + one) / 2, abs=0.1)
    spans = [n for n in root.iter(f"{SVG}line") if n.get("stroke-width") == "2.5"]
    assert [(float(n.get("x1")), float(n.get("x2"))) for n in spans] == [
        (pytest.approx(x_of(root, "−1"), abs=0.1), pytest.approx(x_of(root, "+2"), abs=0.1))
    ]
    (band,) = root.iter(f"{SVG}rect")
    assert float(band.get("x")) == pytest.approx(x_of(root, "−1"), abs=0.1)
    assert float(band.get("x")) + float(band.get("width")) == pytest.approx(one, abs=0.1)


def test_outside_is_another_shape_and_beyond_the_axis_has_an_arrow(judgement):
    def draw(estimate):
        return draw_profile(
            one_attribute(judgement, estimate=estimate, lower90=estimate, upper90=estimate), PAGE_INK
        ).svg

    assert (draw(5.49).count('class="k-dot"'), draw(5.49).count('class="k-out"')) == (1, 0)
    assert (draw(5.51).count('class="k-dot"'), draw(5.51).count('class="k-out"')) == (0, 1)
    assert draw(9.0).count('class="k-out"') == draw(1.0).count('class="k-out"') == 2


def test_a_pull_stands_at_its_deviation_under_its_number(judgement):
    batch = judgement.batches[0]
    pulls = tuple(
        replace(batch.pulls[0], pull=f"p{i}", judgeable=judged, deviation={"dose": d, "beverage": None, "time": None})
        for i, (d, judged) in enumerate([(-1.0, True), (2.0, True), (5.0, False)])
    )
    root = parse(draw_pulls(replace(batch, pulls=pulls), PAPER_INK))
    discs = [float(node.get("cx")) for node in root.iter(f"{SVG}circle")]
    assert discs == pytest.approx([x_of(root, "−1"), x_of(root, "+2")], abs=0.1)
    numbers = {n.text: float(n.get("x")) for n in root.iter(f"{SVG}text") if n.text in ("1", "2", "3")}
    assert numbers["1"] == pytest.approx(x_of(root, "−1"), abs=0.1)
    assert numbers["3"] == pytest.approx(x_of(root, "+3"), abs=0.1)
    assert [n.text for n in root.iter(f"{SVG}text") if n.text in ("dose", "beverage", "time")] == ["dose"]


@given(st.lists(st.floats(-4, 4), min_size=1, max_size=12))
def test_discs_never_cover_each_other(build_judgement, deviations):
    batch = build_judgement().batches[0]
    pulls = tuple(replace(batch.pulls[0], judgeable=True, deviation={"time": d}) for d in deviations)
    root = parse(draw_pulls(replace(batch, pulls=pulls), PAPER_INK))
    discs = [(float(n.get("cx")), float(n.get("cy")), float(n.get("r"))) for n in root.iter(f"{SVG}circle")]
    assert len(discs) == len(deviations)
    for i, (x, y, r) in enumerate(discs):
        for other_x, other_y, other_r in discs[:i]:
            assert math.hypot(x - other_x, y - other_y) >= r + other_r


def test_words_sort_attributes_by_where_they_lie(judgement):
    batch = judgement.batches[0]

    def row(name, estimate, half):
        return replace(
            batch.profile[0], attribute=name, service="black", target=5, tolerance=1,
            estimate=estimate, lower90=estimate - half, upper90=estimate + half,
        )  # fmt: skip

    verdict = replace(batch, profile=(row("a", 6.5, 0.2), row("b", 5.9, 0.2), row("c", 5.1, 0.2), row("d", 3.0, 0.1)))
    assert describe_profile(verdict) == (
        "Outside tolerance: a in black 1.5 tolerances above, d in black 2.0 tolerances below. "
        "Within, but the interval reaches outside: b in black. Within with the whole interval: c in black."
    )
    assert describe_profile(replace(batch, profile=())) == "No attribute was scored."


def test_words_for_pulls_name_what_was_off(judgement):
    batch = judgement.batches[0]
    pulls = (
        replace(batch.pulls[0], judgeable=False, deviation={"time": 3.6, "dose": -1.2, "water": None}),
        replace(batch.pulls[0], judgeable=True, deviation={"time": 0.9}),
    )
    assert describe_pulls(replace(batch, pulls=pulls)) == (
        "Pull 1, not judged: dose 1.2 tolerances under, time 3.6 tolerances over. "
        "Pull 2: all measured quantities within tolerance."
    )
    assert describe_pulls(replace(batch, pulls=())) == "No pull was recorded."


def test_a_chart_on_the_page_names_and_describes_itself(judgement):
    chart = draw_profile(judgement.batches[3], PAGE_INK, "b7-profile")
    root = ET.fromstring(chart.svg)
    assert root.get("role") == "img"
    named = [node.get("id") for node in root.iter() if node.get("id")]
    assert named == root.get("aria-labelledby").split() == ["b7-profile-t", "b7-profile-d"]
    assert root.find("title").text == chart.title
    assert root.find("desc").text == chart.description


def test_the_page_s_marks_carry_classes_and_paper_s_their_colours(judgement):
    page, paper = (draw_pulls(judgement.batches[0], ink).svg for ink in (PAGE_INK, PAPER_INK))
    assert "#" not in page
    assert "class=" not in paper
    assert set(re.findall(r'class="(k-[a-z-]+)"', page)) <= {f"k-{role}" for role in PAPER_INK}
    assert PAGE_INK.keys() == PAPER_INK.keys()


def test_long_labels_are_cut_to_their_room():
    assert shorten("coffee strength") == "coffee strength"
    assert shorten("a" * 40) == "a" * 15 + "…"
    assert shorten("咖" * 40) == "咖" * 7 + "…"


def test_a_target_without_tolerance_and_what_is_not_a_number_still_draw(judgement):
    verdict = one_attribute(judgement, estimate=5.2, lower90=5.0, upper90=5.4)
    strict = replace(verdict, profile=(replace(verdict.profile[0], tolerance=0.0),))
    unknown = replace(verdict, profile=(replace(verdict.profile[0], estimate=math.nan, lower90=math.nan),))
    for changed in (strict, unknown):
        assert "nan" not in draw_profile(changed, PAGE_INK).svg
        assert "inf" not in draw_profile(changed, PAGE_INK).svg


def test_every_word_of_a_chart_can_be_told_in_another_language(silent, untold, judgement):
    """With every pattern told in silence, what the page's charts show and describe are names and figures."""

    def left(draw, verdict, tongue):
        with speaking(tongue):
            text = " ".join(ET.fromstring(draw(verdict, PAGE_INK, "a").svg).itertext())
        names = [verdict.batch, *(row.attribute for row in verdict.profile)]
        for name in sorted(names, key=len, reverse=True):
            text = text.replace(name, " ").replace(shorten(name), " ")
        return untold(say("{text}", text=text))

    for verdict in judgement.batches:
        for draw in (draw_profile, draw_pulls):
            assert left(draw, verdict, silent) == set()
            assert len(left(draw, verdict, ENGLISH)) > 9
    chart = draw_pulls(judgement.batches[0], PAGE_INK, "a")
    assert chart.description == describe_pulls(judgement.batches[0])
