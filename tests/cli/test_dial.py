"""`evenhand dial` on a folder: the change, its probability, what is not known, and bad input as sentences."""

import csv
import datetime as dt
import io
import shutil
from pathlib import Path

import numpy as np
import pytest

from evenhand.cli.dialing import dial, run
from evenhand.errors import DesignError

DEMO = Path(__file__).parents[2] / "demo" / "season"
TODAY = dt.date(2026, 11, 1)


def write_season(tmp_path, show=lambda setting: f"{setting:.1f}", slope=-0.055):
    """Copy the invented season, with the time of every pull answering to its setting; 28 s are at 4.4."""
    copy = tmp_path / "season"
    shutil.copytree(DEMO, copy)
    rng = np.random.default_rng(5)
    with (copy / "pulls.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        setting = 4.6 + 0.1 * int(rng.integers(-3, 4))
        if row["batch"] == "Q26-085":  # the latest of Quarrow Slip
            setting = 4.6
        log_time = np.log(28) + slope * (setting - 4.4) / 0.1 + rng.normal(0, 0.03)
        log_time += np.log(float(row["dose_g"]) / 16) + 0.9 * np.log(float(row["beverage_g"]) / 32)
        row["time_s"] = f"{np.exp(log_time):.1f}"
        row["grind_setting"] = show(setting)
    with (copy / "pulls.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return copy


def shown(capsys):
    """Return what was printed, line breaks folded."""
    return " ".join(capsys.readouterr().out.split())


def test_two_steps_finer_with_its_time_and_probability(tmp_path, capsys):
    assert run(write_season(tmp_path), coffees=("Quarrow Slip",), today=TODAY) == 0
    text = shown(capsys)
    assert "Two steps finer (4.4): 2" in text
    assert "% inside tolerance; as it is, 25." in text
    assert "A higher number is coarser here" in text
    assert "two steps finer (proposed)" in text
    assert "Leave the water temperature" in text
    assert "scald" in text
    assert "Ninefold Stair" not in text


def test_every_coffee_has_its_advice(tmp_path, capsys):
    assert run(write_season(tmp_path), today=TODAY) == 0
    text = shown(capsys)
    for coffee in ("Quarrow Slip", "Ninefold Stair", "Bellhouse Dusk", "Mossgate", "Widdershore", "Oxter Light"):
        assert coffee in text
    assert text.count("Leave the water temperature") == 1
    assert "invented" in text


def test_decimal_comma_reads_as_the_same_number(tmp_path):
    point = dial(write_season(tmp_path / "a"), today=TODAY, coffees=("Mossgate",))
    comma = dial(
        write_season(tmp_path / "b", show=lambda s: f'{s:.1f}'.replace(".", ",")), today=TODAY, coffees=("Mossgate",)
    )  # fmt: skip
    assert comma.advice == point.advice


def test_settings_that_are_no_numbers_are_said_so(tmp_path, capsys):
    assert run(write_season(tmp_path, show=lambda s: f"mark {s:.1f}"), coffees=("Mossgate",), today=TODAY) == 0
    text = shown(capsys)
    assert "513 of 513 pulls have no setting that reads as a single number (such as 'mark 4." in text
    assert "steps finer" not in text
    assert "steps cannot be told" in text or "Leave the grind" in text


def test_the_demo_tells_which_way_its_numbers_run():
    """In the invented season a lower number is finer: six seconds of 28 a unit, behind the scatter of the pulls."""
    advice = dial(DEMO, coffees=("Quarrow Slip",), today=TODAY).advice[0]
    assert advice.p_higher_is_finer < 0.02


def test_a_grinder_that_moves_nothing_says_nothing(tmp_path, capsys):
    assert run(write_season(tmp_path, slope=0.0), coffees=("Quarrow Slip",), today=TODAY) == 0
    assert "do not say which way" in shown(capsys)


def test_what_the_shop_says_of_its_grinder_is_taken(tmp_path):
    folder = write_season(tmp_path, slope=0.0)
    by_say = [dial(folder, today=TODAY, finer=way).advice[0].p_higher_is_finer for way in ("higher", "lower")]
    assert by_say[0] > by_say[1]
    assert dial(folder, today=TODAY, step=0.2).advice[0].step == 0.2


def test_apart_learns_from_a_coffees_own_pulls(tmp_path):
    folder = write_season(tmp_path)
    together = dial(folder, today=TODAY, coffees=("Mossgate",))
    apart = dial(folder, today=TODAY, coffees=("Mossgate",), apart=True)
    assert any("one grinder" in note for note in together.notes)
    assert not any("one grinder" in note for note in apart.notes)
    assert apart.advice[0].now.time_s.sd > together.advice[0].now.time_s.sd


def test_an_unknown_coffee_is_one_sentence_and_status_2(capsys):
    assert run(DEMO, coffees=("Nothing",), today=TODAY) == 2
    streams = capsys.readouterr()
    assert "There is no coffee Nothing" in streams.err
    assert "Quarrow Slip" in streams.err
    assert streams.out == ""


def test_a_folder_that_is_not_there_is_status_2(tmp_path, capsys):
    assert run(tmp_path / "nowhere", today=TODAY) == 2
    assert "nowhere" in capsys.readouterr().err


def test_a_step_that_cannot_be_is_status_2(capsys):
    assert run(DEMO, step=-1.0, today=TODAY) == 2
    assert "step" in capsys.readouterr().err


def test_a_coffee_never_pulled_is_named(tmp_path):
    folder = write_season(tmp_path)
    text = (folder / "coffees.csv").read_text() + "Unpulled Moor,house,\n"
    (folder / "coffees.csv").write_text(text)
    with pytest.raises(DesignError, match="no pull of Unpulled Moor"):
        dial(folder, coffees=("Unpulled Moor",), today=TODAY)
    assert all(advice.coffee != "Unpulled Moor" for advice in dial(folder, today=TODAY).advice)


def test_a_terminal_that_knows_ascii_only(monkeypatch):
    out = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    monkeypatch.setattr("sys.stdout", out)
    assert run(DEMO, coffees=("Quarrow Slip",), today=TODAY) == 0
    out.seek(0)
    assert " +- " in out.read()
