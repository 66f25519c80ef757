"""What a good folder becomes, and what is accepted with a remark."""

import datetime as dt
import subprocess
import sys

import pytest

from evenhand.errors import FolderError
from evenhand.records.folder import read
from evenhand.records.rows import Costs, Cup, FaultReport, Pull, Sheet

TODAY = dt.date(2026, 6, 1)


def test_a_good_folder_becomes_rows(read_with):
    folder = read_with()
    assert folder.title == "spring"
    assert folder.warnings == ()
    assert not folder.invented
    assert folder.costs == Costs(wrong_release=400, wrong_hold=150, one_pull=3, one_taste=2, prior_bad=0.1)
    assert folder.pulls[0] == Pull(
        pull="P1",
        batch="H-01",
        pulled_at=dt.datetime(2026, 5, 11, 9, 5),
        dose_g=18.1,
        beverage_g=36.4,
        time_s=28.6,
        water_c=92.8,
        pressure_bar=None,
        grind_setting="4.2",
        tds_pct=9.41,
    )
    assert folder.cups[1] == Cup(cup="202", pull="P2", service="milk", table="T1", position=2)
    assert folder.sheets[0] == Sheet(cup="101", taster="Una", attribute="sweetness", score=6.5)
    assert folder.faults[1] == FaultReport(cup="101", taster="Wim", fault="smoky", heard=1)
    assert [len(rows) for rows in (folder.recipes, folder.coffees, folder.targets, folder.batches)] == [1, 2, 3, 2]


def test_zone_and_missing_time_of_a_pull_are_kept(read_with):
    pulls = read_with().pulls
    zone = dt.timezone(dt.timedelta(hours=2))
    assert pulls[1].pulled_at == dt.datetime(2026, 5, 11, 9, 15, tzinfo=zone)
    assert type(pulls[2].pulled_at) is dt.date


def test_faults_may_be_left_out(read_with):
    assert read_with(faults=None).faults == ()


def test_faults_may_be_a_header_only(read_with):
    assert read_with(faults="cup,taster,fault,heard\n").faults == ()


def test_today_is_allowed(read_with, good):
    pulls = good["pulls"].replace("2026-05-12", "2026-06-01")
    assert read_with(pulls=pulls).pulls[2].pulled_at == TODAY


def test_a_marked_folder_is_invented(write, good):
    place = write(good)
    (place / "INVENTED.txt").write_text("All invented.")
    assert read(place, today=TODAY).invented


def test_column_order_spaces_and_blank_lines_do_not_matter(read_with, good):
    costs = "\n value , name\n\n400, wrong_release \n150,wrong_hold\n,\n3,one_pull\n2,one_taste\n0.1,prior_bad\n\n"
    assert read_with(costs=costs) == read_with(costs=good["costs"])


def test_line_ends_of_every_system_are_read(read_with, good):
    plain = read_with()
    for end in ("\r\n", "\r"):
        assert read_with(**{stem: text.replace("\n", end) for stem, text in good.items()}) == plain


def test_a_byte_order_mark_is_skipped_and_told_once_for_all_files(read_with, good):
    folder = read_with(coffees="\ufeff" + good["coffees"], cups="\ufeff" + good["cups"])
    assert folder.coffees[0].coffee == "Hollow Lantern"
    assert folder.warnings == ("coffees.csv, cups.csv: a byte order mark stands before the header; skipped.",)


@pytest.mark.parametrize(("separator", "name"), [(";", "semicolons"), ("\t", "tabs")])
def test_other_separators_with_decimal_commas_are_read(read_with, good, separator, name):
    plain = read_with().pulls
    text = good["pulls"].replace(",", separator).replace(".", ",")
    folder = read_with(pulls=text)
    grind = [p.grind_setting for p in folder.pulls]
    assert grind == ["4,2", "4,2", None]  # a label is kept as it is written
    assert [(p.dose_g, p.beverage_g, p.time_s, p.tds_pct) for p in folder.pulls] == [
        (p.dose_g, p.beverage_g, p.time_s, p.tds_pct) for p in plain
    ]
    assert folder.warnings == (
        f"pulls.csv: the cells are separated by {name} instead of commas; read as such.",
        "pulls.csv: numbers with a decimal comma were read as such (1,5 as 1.5).",
    )


def test_a_quoted_decimal_comma_in_a_comma_file_is_read(read_with, good):
    folder = read_with(sheets=good["sheets"].replace("6.5", '"6,5"'))
    assert folder.sheets[0].score == 6.5
    assert folder.warnings == ("sheets.csv: numbers with a decimal comma were read as such (1,5 as 1.5).",)


@pytest.mark.parametrize(("cell", "value"), [('"0,125"', 0.125), ('"1234,567"', 1234.567), ("1e2", 100), ("7.", 7)])
def test_numbers_that_can_only_be_one_thing_are_read(read_with, good, cell, value):
    assert read_with(costs=good["costs"].replace("150", cell)).costs.wrong_hold == value


def test_three_decimals_after_a_comma_are_read_when_the_file_settles_it(read_with, good):
    text = good["costs"].replace(",", ";").replace("0.1", "0,1").replace("400", "1,234")
    assert read_with(costs=text).costs.wrong_release == 1.234


def test_unknown_columns_are_named_with_a_guess(read_with, good):
    text = good["cups"].replace("position", "Position").replace("table", "mood")
    assert read_with(cups=text).warnings == (
        'cups.csv: not read, because no such column is known: "mood", "Position"; did you mean "position"?',
    )


def test_unknown_files_and_costs_are_named(write, good):
    place = write({**good, "costs": good["costs"] + "rent,900\n", "notes": "a,b\n"})
    assert read(place, today=TODAY).warnings == (
        "not read, because no such file is known: notes.csv.",
        'costs.csv: not read, because no such cost is known: "rent".',
    )


def test_tasters_that_differ_only_in_capitals_are_pointed_out(read_with, good):
    folder = read_with(sheets=good["sheets"].replace("303,Wim", "303,wim"))
    assert folder.warnings == ('sheets.csv: "Wim" and "wim" are read as 2 different tasters.',)


def test_a_recipe_with_half_a_pair_is_pointed_out(read_with, good):
    folder = read_with(recipes=good["recipes"].replace(",93,1\n", ",93,\n"))
    assert folder.warnings == (
        "recipes.csv: row 2 gives water_c but not water_tol_c, so this deviation cannot be judged.",
    )


def test_composed_and_decomposed_letters_are_the_same_label(read_with, good):
    batches = good["batches"].replace("Grey Ferry", "Caf\u00e9")
    others = {stem: good[stem].replace("Grey Ferry", "Cafe\u0301") for stem in ("coffees", "targets")}
    assert read_with(batches=batches, **others).batches[1].coffee == "Caf\u00e9"


def test_the_folder_may_be_named_relatively(write, good, monkeypatch):
    monkeypatch.chdir(write(good))
    assert read(".", today=TODAY).title == "spring"


def test_nothing_is_written(write, good):
    place = write(good)
    before = sorted((p.name, p.stat().st_mtime_ns) for p in place.iterdir())
    read(place, today=TODAY)
    with pytest.raises(FolderError):
        read(place, today=dt.date(2020, 1, 1))
    assert sorted((p.name, p.stat().st_mtime_ns) for p in place.iterdir()) == before


def test_the_row_types_cost_no_pydantic():
    code = "import sys, evenhand.records.rows, evenhand.records.folder; sys.exit('pydantic' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
