"""`evenhand import`, `export`, `verify` and `backup` as a user runs them, each a program of its own."""

import datetime as dt
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from evenhand.records.folder import read

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo" / "season"
TODAY = dt.date.max
START = "from evenhand.cli import main; main()"

WEEK = {
    "recipes": "recipe,dose_g,dose_tol_g,beverage_g,beverage_tol_g,time_s,time_tol_s\nhouse,18,0.3,36,1.5,29,2\n",
    "coffees": "coffee,recipe,green_lot\nHollow Lantern,house,Vantry 2\n",
    "attributes": "attribute,scale_low,scale_high\nsweetness,0,10\n",
    "targets": "coffee,service,attribute,target,tolerance\nHollow Lantern,black,sweetness,6,1\n",
    "batches": "batch,coffee,roasted_on\nH-01,Hollow Lantern,2026-05-04\n",
    "pulls": "pull,batch,pulled_at,dose_g,beverage_g,time_s\nP1,H-01,2026-05-11T09:05,18.1,36.4,28.6\n",
    "cups": "cup,pull,service\n101,P1,black\n",
    "sheets": "cup,taster,attribute,score\n101,Una,sweetness,6.5\n",
    "costs": "name,value\nwrong_release,400\nwrong_hold,150\none_pull,3\none_taste,2\nprior_bad,0.1\n",
}


@pytest.fixture
def week(tmp_path):
    place = tmp_path / "week"
    place.mkdir()
    for stem, text in WEEK.items():
        (place / f"{stem}.csv").write_text(text)
    return place


@pytest.fixture
def environment(tmp_path):
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("DJANGO_", "EVENHAND_"))}
    return clean | {"EVENHAND_DATA": str(tmp_path / "data")}


@pytest.fixture
def evenhand(environment):
    """Return a function that runs the command with its words."""

    def _run(*words, **more):
        found = subprocess.run(
            [sys.executable, "-c", START, *map(str, words)],
            capture_output=True,
            text=True,
            env=environment | more,
            check=False,
        )
        assert "Traceback" not in found.stderr
        return found.returncode, found.stdout, found.stderr

    return _run


@pytest.fixture
def database(tmp_path):
    return tmp_path / "data" / "evenhand.sqlite3"


def test_the_demo_goes_in_and_comes_out_as_files_and_as_a_workbook(evenhand, tmp_path):
    code, out, _ = evenhand("import", DEMO, "--dry-run", "--as", "Una")
    assert (code, out.splitlines()[-1]) == (0, "Dry run: nothing was kept.")
    promised = out.splitlines()[:-1]
    code, out, _ = evenhand("import", DEMO, "--as", "Una")
    assert (code, out.splitlines()) == (0, [*promised, "Written down in the name of Una."])
    for words in ((tmp_path / "season",), (tmp_path / "season.xlsx", "--xlsx")):
        code, out, err = evenhand("export", *words)
        assert (code, err) == (0, "")
        assert out.startswith(f"Written: {words[0]}")
        assert read(words[0], today=TODAY) == read(DEMO, today=TODAY)


def test_an_export_tells_what_a_spreadsheet_would_run(evenhand, week, tmp_path):
    columns, *pulls = WEEK["pulls"].splitlines()
    (week / "pulls.csv").write_text("\n".join([f"{columns},grind_setting", *(f"{pull},=A1+1" for pull in pulls)]))
    assert evenhand("import", week, "--as", "Una")[0] == 0
    code, _, err = evenhand("export", tmp_path / "out")
    assert (code, "Warning: pulls.csv, grind_setting: 1 cell begins with =" in err) == (0, True)
    assert ",=A1+1" in (tmp_path / "out" / "pulls.csv").read_text()
    code, _, err = evenhand("export", tmp_path / "out.xlsx", "--xlsx")
    assert (code, err) == (0, "")


def test_whole_records_verify_and_broken_ones_say_where(evenhand, week, database):
    assert evenhand("import", week, "--as", "Una")[0] == 0
    code, out, _ = evenhand("verify")
    assert code == 0
    whole, last, _ = out.splitlines()
    assert whole.startswith("Whole: ")
    noted = last.removeprefix("Last entry ")
    assert evenhand("verify", "--noted", noted)[0] == 0
    code, _, err = evenhand("verify", "--noted", noted[:-1] + ("0" if noted[-1] != "0" else "1"))
    assert (code, "is not the one that was noted elsewhere" in err) == (1, True)
    code, _, err = evenhand("verify", "--noted", "last week")
    assert (code, "with a colon" in err) == (2, True)
    with sqlite3.connect(database) as spoilt:
        spoilt.execute("UPDATE records_score SET score = 8")
    code, out, err = evenhand("verify")
    assert (code, out) == (1, "")
    assert "sheet 101 by Una" in err
    assert "since then the record was altered without a pen" in err


def test_a_history_without_its_key_does_not_verify(evenhand, week, database):
    evenhand("import", week)
    (database.parent / "history.key").unlink()
    code, _, err = evenhand("verify")
    assert (code, "sealed with a key that is not here" in err) == (1, True)


def test_the_writer_is_named(evenhand, week, database):
    evenhand("import", week, LOGNAME="wim")
    with sqlite3.connect(database) as records:
        assert records.execute("SELECT DISTINCT who FROM records_entry").fetchall() == [("wim",)]
    code, _, err = evenhand("import", week, "--as", " ")
    assert (code, "Say who writes" in err) == (2, True)


def test_the_dry_run_keeps_nothing(evenhand, week, database):
    evenhand("import", week, "--dry-run")
    with sqlite3.connect(database) as records:
        assert records.execute("SELECT count(*) FROM records_entry").fetchone() == (0,)
    code, _, err = evenhand("export", week.parent / "out")
    assert (code, "No costs are written yet" in err) == (2, True)
    code, out, _ = evenhand("verify")
    assert (code, out) == (0, "Whole: 0 entries, and 0 records as they were written.\n")


def test_a_copy_holds_the_same_records(evenhand, week, database, tmp_path):
    evenhand("import", week)
    before = evenhand("verify")
    code, out, _ = evenhand("backup", tmp_path / "copy.sqlite3")
    assert code == 0
    assert str(database.parent / "history.key") in out
    code, _, err = evenhand("backup", tmp_path / "copy.sqlite3")
    assert (code, "there already" in err) == (2, True)
    database.unlink()
    (tmp_path / "copy.sqlite3").rename(database)
    assert evenhand("verify") == before


def test_where_there_are_no_records_none_are_begun(evenhand, tmp_path):
    for words in (
        ("verify",),
        ("export", tmp_path / "out"),
        ("backup", tmp_path / "copy"),
        ("import", tmp_path / "no"),
    ):
        code, out, err = evenhand(*words)
        assert (code, out) == (2, "")
        assert "there are no records yet" in err or "there is no such folder" in err
    assert list(tmp_path.iterdir()) == []


def test_bad_input_is_sentences_and_status_2(evenhand, week, tmp_path, database):
    (week / "pulls.csv").write_text(WEEK["pulls"].replace("18.1", "-1"))
    code, out, err = evenhand("import", week)
    assert (code, out) == (2, "")
    assert err == 'pulls.csv, row 2, dose_g: "-1" is not allowed; a dose is more than 0 g.\n'
    assert not database.exists()
    (week / "pulls.csv").write_text(WEEK["pulls"])
    evenhand("import", week)
    code, _, err = evenhand("export", tmp_path / "out.xlsx")
    assert (code, "add --xlsx" in err) == (2, True)
    code, _, err = evenhand("export", week)
    assert (code, "there already" in err) == (2, True)
    code, _, err = evenhand("verify", EVENHAND_DATABASE_URL="nonsense")
    assert (code, "does not begin with postgresql" in err) == (2, True)


def test_a_damaged_database_is_told_in_a_sentence(evenhand, database):
    database.parent.mkdir()
    database.write_bytes(b"no database, though it is long enough to look like one" * 100)
    for words in (("verify",), ("export", database.parent / "out")):
        code, _, err = evenhand(*words)
        assert (code, "The database of the records cannot be used (file is not a database)" in err) == (2, True)
    code, _, err = evenhand("backup", database.parent / "copy")
    assert (code, "cannot be written" in err) == (2, True)


def test_the_tables_of_the_bench_in_the_same_database_disturb_nothing(evenhand, environment, week, database, tmp_path):
    """The bench makes its tables before and after records come in; the commands see the records alone."""
    evenhand("import", week)
    records_only = tables_of(database)
    bench = environment | {"DJANGO_SETTINGS_MODULE": "evenhand.bench.settings"}
    subprocess.run([sys.executable, "-m", "django", "migrate", "-v", "0", "--skip-checks"], env=bench, check=True)
    assert tables_of(database) > records_only
    (week / "sheets.csv").write_text(WEEK["sheets"].replace("6.5", "7"))
    code, out, _ = evenhand("import", week)
    assert (code, "sheets: 0 new, 1 changed, 0 as they were." in out) == (0, True)
    assert evenhand("export", tmp_path / "out")[0] == 0
    assert read(tmp_path / "out", today=TODAY).sheets == read(week, today=TODAY).sheets
    assert evenhand("verify")[0] == 0
    assert evenhand("verify", DJANGO_SETTINGS_MODULE="evenhand.bench.settings")[0] == 0
    shutil.rmtree(database.parent)
    subprocess.run([sys.executable, "-c", MAKE_FOLDER], env=bench, check=True)
    subprocess.run([sys.executable, "-m", "django", "migrate", "-v", "0", "--skip-checks"], env=bench, check=True)
    assert evenhand("import", week)[0] == 0
    assert evenhand("verify")[0] == 0


MAKE_FOLDER = "import os; os.makedirs(os.environ['EVENHAND_DATA'])"


def tables_of(database: Path) -> set[str]:
    with sqlite3.connect(database) as records:
        return {name for (name,) in records.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
