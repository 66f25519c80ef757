"""`evenhand pull`: one pull in words, with directions as mild as their evidence."""

import datetime as dt
import io
import shutil
from pathlib import Path

import pytest

from evenhand.cli.pulling import explain, run, tell
from evenhand.errors import DesignError

DEMO = Path(__file__).parents[2] / "demo" / "season"
TODAY = dt.date(2026, 11, 1)


def shown(capsys):
    return " ".join(capsys.readouterr().out.split())


@pytest.fixture
def spoil(tmp_path):
    """Return a function that replaces cells of one pull of the invented season and gives the folder."""

    def _spoil(pull, **cells):
        copy = tmp_path / "season"
        shutil.copytree(DEMO, copy)
        lines = (copy / "pulls.csv").read_text().splitlines()
        names = lines[0].split(",")
        at = next(i for i, line in enumerate(lines) if line.startswith(f"{pull},"))
        row = dict(zip(names, lines[at].split(","), strict=True)) | cells
        lines[at] = ",".join(row[name] for name in names)
        (copy / "pulls.csv").write_text("\n".join(lines) + "\n")
        return copy

    return _spoil


def test_a_long_slow_pull_is_told_and_not_to_be_judged(capsys):
    """39.2 g for 32 ± 1.5 in 38.8 s for 28 ± 2: 4.8 and 5.4 tolerances, past the four that may be judged."""
    assert run(DEMO, "Q26-012-2", today=TODAY) == 0
    text = shown(capsys)
    assert "ran long by 7.2 g (4.8 tolerances) and slow by 10.8 s (5.4 tolerances)" in text
    assert "from the beverage mass" in text
    assert "more bitterness" in text
    assert "less acidity" in text
    assert "common practice and not this shop's own" in text
    assert "Do not judge it: beverage mass and time" in text
    assert "scald" in text
    assert "invented" in text


def test_a_good_pull_is_judged_as_it_is():
    reading = explain(DEMO, "Q26-001-4", today=TODAY)
    assert reading.off == ""
    assert reading.judgeable
    words = tell(reading)
    assert "within its tolerances" in words[0]
    assert words[-1] == "Judge it as it is."


def test_numbers_are_those_of_the_pull(capsys):
    """Q26-012-2: 39.2 g of 16.0 g at 8.77 %: ratio 2.45, extraction 21.5 %."""
    run(DEMO, "Q26-012-2", today=TODAY)
    text = shown(capsys)
    assert "Ratio 2.45" in text
    assert "Extraction 21.5 ± 0." in text
    assert "32 ± 1.5 g 39.2 g +4.8" in text


def test_a_little_off_may_be_judged_and_says_why(spoil):
    folder = spoil("Q26-020-1", time_s="31.0")
    words = tell(explain(folder, "Q26-020-1", today=TODAY))
    assert "slow by 3.0 s (1.5 tolerances)" in words[0]
    assert any("may be judged" in sentence for sentence in words)


def test_a_light_dose_is_named_as_the_cause_of_a_fast_pull(spoil):
    folder = spoil("Q26-020-1", dose_g="14.5", time_s="25.4")
    reading = explain(folder, "Q26-020-1", today=TODAY)
    parts = {part.cause: part.time_s for part in reading.time_parts}
    assert parts["the dose"].value < -0.5
    assert sum(part.value for part in parts.values()) == pytest.approx(25.4 - 28)
    assert any("from the dose" in sentence for sentence in tell(reading))


def test_fast_and_weak_is_read_as_uneven_flow(spoil):
    folder = spoil("Q26-012-1", time_s="23.0", tds_pct="8.40")
    words = tell(explain(folder, "Q26-012-1", today=TODAY))
    assert any("passed part of the bed by" in sentence for sentence in words)
    assert not any("passed part of the bed by" in s for s in tell(explain(DEMO, "Q26-012-1", today=TODAY)))


def test_hot_water_alone_gets_no_direction_of_taste(spoil):
    """Batali et al. (2020): at equal strength and extraction the temperature does little; no sign is claimed."""
    on_recipe = {"dose_g": "16.0", "beverage_g": "32.0", "time_s": "28.0", "pressure_bar": "7.0", "tds_pct": ""}
    reading = explain(spoil("Q26-020-1", water_c="95.5", **on_recipe), "Q26-020-1", today=TODAY)
    assert reading.deviations["water"] == pytest.approx(3.0)
    assert all(effect.points == 0 and not effect.is_told for effect in reading.effects)
    assert any("no likely direction" in sentence for sentence in tell(reading))
    assert "was hot by 3.0" in tell(reading)[0]


def test_effects_follow_the_services_it_was_served_in(capsys):
    assert {effect.service for effect in explain(DEMO, "Q26-012-1", today=TODAY).effects} == {"black"}
    assert {effect.service for effect in explain(DEMO, "Q26-012-5", today=TODAY).effects} == {"milk"}
    run(DEMO, "Q26-012-5", today=TODAY)
    assert "Milk is an allergen" in shown(capsys)
    run(DEMO, "Q26-012-1", today=TODAY)
    assert "Milk is an allergen" not in shown(capsys)


def test_an_unknown_pull_is_one_sentence_and_status_2(capsys):
    assert run(DEMO, "Q26-012-99", today=TODAY) == 2
    streams = capsys.readouterr()
    assert "There is no pull Q26-012-99 in this folder; is it Q26-012-" in streams.err
    assert streams.out == ""
    with pytest.raises(DesignError):
        explain(DEMO, "zzz", today=TODAY)


def test_a_broken_folder_is_status_2_with_every_problem(spoil, capsys):
    folder = spoil("Q26-012-1", time_s="0")
    (folder / "attributes.csv").unlink()
    assert run(folder, "Q26-012-1", today=TODAY) == 2
    err = " ".join(capsys.readouterr().err.split())
    assert "time_s" in err
    assert "attributes.csv" in err


def test_a_terminal_that_knows_ascii_only(monkeypatch):
    out = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    monkeypatch.setattr("sys.stdout", out)
    assert run(DEMO, "Q26-012-2", today=TODAY) == 0
    out.seek(0)
    assert " +- " in out.read()
