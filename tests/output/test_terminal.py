"""The terminal fits its width, needs no colour, and prints what a user typed without obeying it."""

import io
from dataclasses import replace

import pytest
from rich.cells import cell_len
from rich.console import Console

from evenhand.output.terminal import show


def print_judgement(judgement, width=80, encoding="utf-8", only=(), **options):
    raw = io.BytesIO()
    console = Console(file=io.TextIOWrapper(raw, encoding=encoding, write_through=True), width=width, **options)
    show(judgement, console, only=only)
    return raw.getvalue().decode(encoding)


@pytest.mark.parametrize("width", [80, 100, 120])
def test_no_line_is_wider_than_the_terminal(judgement, hostile, width):
    for shown in (judgement, hostile):
        for only in ((), [shown.batches[0].batch, shown.batches[1].batch]):
            lines = print_judgement(shown, width, only=only).splitlines()
            assert max(map(cell_len, lines)) <= width


@pytest.mark.parametrize("width", [80, 120])
def test_each_batch_is_one_line_with_shape_word_and_chance(judgement, width):
    lines = print_judgement(judgement, width).replace("\N{NO-BREAK SPACE}", " ").splitlines()
    for batch, sign, share in (
        ("EX-2403", "■ Hold", "2 %"),
        ("EX-2401", "▲ Taste again", "67 %"),
        ("EX-2400", "● Release", "92 %"),
    ):
        (line,) = (line for line in lines if line.startswith(batch))
        assert sign in line
        assert share in line
    assert "9 batches: 2 hold, 2 taste again, 5 release." in lines


def test_the_wide_table_shows_all_three_costs_and_the_narrow_one_that_of_the_decision(judgement):
    held = next(v for v in judgement.batches if v.batch == "EX-2403")
    costs = {choice: f"{cost:.2f}" for choice, cost in held.expected_cost.items()}
    (narrow,) = (line for line in print_judgement(judgement, 80).splitlines() if line.startswith("EX-2403"))
    (wide,) = (line for line in print_judgement(judgement, 120).splitlines() if line.startswith("EX-2403"))
    assert [costs[c] in wide for c in ("hold", "taste_again", "release")] == [True, True, True]
    assert [costs[c] in narrow for c in ("hold", "taste_again", "release")] == [True, False, False]


def test_reasons_for_what_is_not_released_only(judgement):
    text = " ".join(print_judgement(judgement, 120).split())
    for verdict in judgement.batches:
        told = f"{verdict.batch}, {verdict.coffee}, roasted {verdict.roasted_on}" in text
        assert told == (verdict.decision != "release")
    assert "Smoky was heard in 4 of 12 reports" in text
    assert "no fault stands out" not in text


def test_a_named_batch_is_shown_with_all_that_stands_behind_it(judgement):
    text = print_judgement(judgement, 80, only=["EX-2400"])
    told = " ".join(text.split())
    assert "EX-2403" not in text
    for words in (
        "no fault stands out",
        "Profile, black",
        "Profile, milk",
        "coffee strength",
        "ashy",
        "EX-2400-1",
        "3 cups of 3 pulls",
    ):
        assert words in told
    assert "No batch of that name was judged." in print_judgement(judgement, 80, only=["nothing"])


def test_a_pull_that_was_not_judged_says_so(judgement):
    assert "Not judged. Time 3.6" in " ".join(print_judgement(judgement, 120, only=["EX-2401"]).split())


def test_a_pipe_gets_no_escape_and_a_terminal_gets_the_same_words(judgement):
    piped = print_judgement(judgement, 80)
    coloured = print_judgement(judgement, 80, force_terminal=True, color_system="standard")
    assert "\x1b" not in piped
    assert "\x1b[" in coloured
    bare = print_judgement(judgement, 80, force_terminal=True, color_system="standard", no_color=True)
    assert all(code not in bare for code in ("[31m", "[1;31m", "[32m", "[33m"))


def test_what_a_user_typed_is_printed_and_not_obeyed(judgement):
    nasty = replace(judgement.batches[3], coffee="[red]x[/red]\x1b[2J", reasons=("[bold]why[/bold]\x07",))
    text = print_judgement(replace(judgement, batches=(nasty,), title="[link=x]t[/link]"), 120)
    assert "[red]x[/red]\N{REPLACEMENT CHARACTER}[2J" in text
    assert "[bold]why[/bold]\N{REPLACEMENT CHARACTER}" in text
    assert "[link=x]t[/link]" in text
    assert "\x1b" not in text


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_a_terminal_without_unicode_gets_signs_that_it_knows(judgement, hostile, encoding):
    text = print_judgement(judgement, 80, encoding=encoding)
    assert "# Hold" in text
    assert "^ Taste again" in text
    assert "o Release" in text
    assert "?" not in text
    assert "W" * 60 in print_judgement(hostile, 80, encoding=encoding)


def test_warnings_the_invented_mark_and_cautions(judgement, build_judgement):
    text = " ".join(print_judgement(judgement, 80).split())
    assert "Warning: Only 6 batches of Long Ladder" in text
    assert "Invented data" in text
    assert "the most is 211 mg, Elm at table T2" in text
    assert "Invented" not in print_judgement(replace(judgement, invented=False), 80)
    assert "No batch was judged." in print_judgement(build_judgement(batches=0), 80)
