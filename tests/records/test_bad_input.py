# ruff: noqa: E501 - a table of sentences reads best with one sentence a line
"""Each kind of bad input is told in one sentence a barista understands: file, row, column, value, what is allowed."""

import ast
import datetime as dt
import os
from pathlib import Path

import pytest

from evenhand.errors import FolderError
from evenhand.records import folder as folder_module
from evenhand.records.folder import read

TODAY = dt.date(2026, 6, 1)

# file, text to replace, replacement, the one sentence
ONE_SENTENCE = [
    ("pulls", "P1,H-01,2026-05-11T09:05,18.1", "P1,H-01,2026-05-11T09:05,0", 'pulls.csv, row 2, dose_g: "0" is not allowed; a dose is more than 0 g.'),
    ("pulls", "36.4", "0", 'pulls.csv, row 2, beverage_g: "0" is not allowed; a pull is more than 0 g.'),
    ("pulls", "28.6", "-28.6", 'pulls.csv, row 2, time_s: "-28.6" is not allowed; a shot runs for more than 0 s.'),
    ("pulls", "36.4", "lots", 'pulls.csv, row 2, beverage_g: "lots" is not a number; a pull is more than 0 g.'),
    ("pulls", "36.4", "36 g", 'pulls.csv, row 2, beverage_g: "36 g" is not a number; write the number alone, the unit is in the column\'s name.'),
    ("pulls", "36.4", "", "pulls.csv, row 2, beverage_g: the cell is empty; a pull is more than 0 g."),
    ("pulls", "36.4", "nan", 'pulls.csv, row 2, beverage_g: "nan" is not a number; a pull is more than 0 g.'),
    ("pulls", "36.4", "inf", 'pulls.csv, row 2, beverage_g: "inf" is not a number; a pull is more than 0 g.'),
    ("pulls", "36.4", "1e400", 'pulls.csv, row 2, beverage_g: "1e400" is too large to be meant; a pull is more than 0 g.'),
    ("pulls", "36.4", "1e-300", 'pulls.csv, row 2, beverage_g: "1e-300" is too close to 0 to be meant; a pull is more than 0 g.'),
    ("pulls", "36.4", "3_6", 'pulls.csv, row 2, beverage_g: "3_6" is not a number; a pull is more than 0 g.'),
    ("pulls", "36.4", "٣٦", 'pulls.csv, row 2, beverage_g: "٣٦" is not a number; a pull is more than 0 g.'),
    ("pulls", "92.8", "199", 'pulls.csv, row 2, water_c: "199" is not allowed; water is between 0 and 130 degrees C (not Fahrenheit).'),
    ("pulls", "9.41", "941", 'pulls.csv, row 2, tds_pct: "941" is not allowed; dissolved solids are from 0 to 100 %.'),
    ("pulls", "36.4", '"1,234"', 'pulls.csv, row 2, beverage_g: "1,234" could be 1.234 or 1234; write it with a decimal point, or without a thousands sign.'),
    ("pulls", "H-02", "H-2", 'pulls.csv, row 4, batch: "H-2" is not listed in batches.csv.'),
    ("pulls", "H-02", "h-02", 'pulls.csv, row 4, batch: "h-02" is not listed in batches.csv; did you mean "H-02"?'),
    ("pulls", "2026-05-12", "2026-06-02", 'pulls.csv, row 4, pulled_at: "2026-06-02" is not allowed; a pull is not after today, 2026-06-01.'),
    ("pulls", "2026-05-12", "2026-05-04", 'pulls.csv, row 4, pulled_at: "2026-05-04" is not allowed; batch "H-02" was roasted later, on 2026-05-05.'),
    ("pulls", "2026-05-12", "12.05.2026", 'pulls.csv, row 4, pulled_at: "12.05.2026" is not allowed; a pull is dated year-month-day, with or without a time, as 2026-03-09T14:05.'),
    ("pulls", "2026-05-12", "2026-02-30", 'pulls.csv, row 4, pulled_at: "2026-02-30" is no day and time of the calendar; a pull is dated year-month-day, with or without a time, as 2026-03-09T14:05.'),
    ("pulls", "2026-05-11T09:05", "2026-05-11T25:05", 'pulls.csv, row 2, pulled_at: "2026-05-11T25:05" is no day and time of the calendar; a pull is dated year-month-day, with or without a time, as 2026-03-09T14:05.'),
    ("pulls", "P3,H-02", "P1,H-02,2026-05-12,18,36,29,,,\nP3,H-02", 'pulls.csv, row 4: pull "P1" stands in row 2 already; each pull is listed once.'),
    ("batches", "2026-05-05", "2026-06-02", 'batches.csv, row 3, roasted_on: "2026-06-02" is not allowed; a roast date is not after today, 2026-06-01.'),
    ("batches", "2026-05-05", "5/5/2026", 'batches.csv, row 3, roasted_on: "5/5/2026" is not allowed; a roast date is written year-month-day, as 2026-03-09.'),
    ("batches", "2026-05-05", "2026-05-05T10:00", 'batches.csv, row 3, roasted_on: "2026-05-05T10:00" is not allowed; a roast date is written year-month-day, as 2026-03-09.'),
    ("batches", "Grey Ferry", "Grey ferry", 'batches.csv, row 3, coffee: "Grey ferry" is not listed in coffees.csv; did you mean "Grey Ferry"?'),
    ("batches", "5.1", "6.1", 'batches.csv, row 2, roasted_out_kg: "6.1" is not allowed; a roast cannot weigh more than the 6 kg of green that went in.'),
    ("coffees", "Grey Ferry,house", "Grey Ferry,hose", 'coffees.csv, row 3, recipe: "hose" is not listed in recipes.csv; did you mean "house"?'),
    ("coffees", "Grey Ferry,house,", "Grey Ferry,,", "coffees.csv, row 3, recipe: the cell is empty; every coffee names its recipe."),
    ("recipes", "18,0.3", "18,0", 'recipes.csv, row 2, dose_tol_g: "0" is not allowed; a tolerance is more than 0 g.'),
    ("targets", "6,1\n", "6,0\n", 'targets.csv, row 2, tolerance: "0" is not allowed; a tolerance is more than 0 points.'),
    ("targets", "6,1\n", "11,1\n", 'targets.csv, row 2, target: "11" is not allowed; sweetness is scored from 0 to 10.'),
    ("targets", "black,sweetness,6", "neat,sweetness,6", 'targets.csv, row 2, service: "neat" is not allowed; a service is black, milk or bowl.'),
    ("targets", "milk,bitterness,3", "milk,bitternes,3", 'targets.csv, row 3, attribute: "bitternes" is not listed in attributes.csv; did you mean "bitterness"?'),
    ("attributes", "bitterness,0,10", "bitterness,10,10", 'attributes.csv, row 3, scale_high: "10" is not allowed; the high end of the scale is above its low end, 10.'),
    ("cups", "303,P3", "303,P9", 'cups.csv, row 4, pull: "P9" is not listed in pulls.csv.'),
    ("cups", "P3,black", "P3,Black", 'cups.csv, row 4, service: "Black" is not allowed; a service is black, milk or bowl.'),
    ("cups", "T1,2", "T1,2.5", 'cups.csv, row 3, position: "2.5" is not allowed; a position is a whole number from 1.'),
    ("cups", "T1,2", "T1,0", 'cups.csv, row 3, position: "0" is not allowed; a position is a whole number from 1.'),
    ("sheets", "6.5", "10.5", 'sheets.csv, row 2, score: "10.5" is not allowed; sweetness is scored from 0 to 10.'),
    ("sheets", "6.5", "-1", 'sheets.csv, row 2, score: "-1" is not allowed; sweetness is scored from 0 to 10.'),
    ("sheets", "101,Wim", "101,Una", 'sheets.csv, row 3: cup "101", taster "Una", attribute "sweetness" stands in row 2 already; each score is listed once.'),
    ("sheets", "303,Wim", "304,Wim", 'sheets.csv, row 5, cup: "304" is not listed in cups.csv.'),
    ("faults", "Wim,smoky,1", "Wim,smoky,2", 'faults.csv, row 3, heard: "2" is not allowed; heard is 1, not heard is 0.'),
    ("faults", "101,Wim,smoky", "101,Una,smoky", 'faults.csv, row 3: cup "101", taster "Una", fault "smoky" stands in row 2 already; each fault asked is listed once.'),
    ("faults", "101,Wim", "404,Wim", 'faults.csv, row 3, cup: "404" is not listed in cups.csv.'),
    ("costs", "0.1", "1", 'costs.csv, row 6, value: "1" is not allowed; prior_bad is a share above 0 and below 1.'),
    ("costs", "0.1", "0", 'costs.csv, row 6, value: "0" is not allowed; prior_bad is a share above 0 and below 1.'),
    ("costs", "150", "-150", 'costs.csv, row 3, value: "-150" is not allowed; a cost is 0 or more.'),
    ("costs", "wrong_hold,150\n", "", "costs.csv: the row wrong_hold is missing; the costs are wrong_release, wrong_hold, one_pull, one_taste, prior_bad."),
    ("costs", "wrong_hold,150\n", "wrong_hold,150\nwrong_hold,1\n", 'costs.csv, row 4: name "wrong_hold" stands in row 3 already; each cost is listed once.'),
    ("sheets", "cup,taster,attribute,score", "cup,taster,attribute,Score", 'sheets.csv, row 1: the column score is missing; is it the column that is named "Score"?'),
    ("sheets", "cup,taster,attribute,score", "cup,taster,taster,attribute,score", 'sheets.csv, row 1: the header names the column "taster" twice; every column has its own name.'),
    ("sheets", "cup,taster,attribute,score\n", "", "sheets.csv, row 1: the first row does not name the columns; it must name at least cup, taster, attribute, score."),
    ("sheets", "303,Wim,sweetness,5.5", "303,Wim,sweetness", "sheets.csv, row 5: this row has 3 cells, but the header names 4 columns."),
    ("sheets", "303,Wim,sweetness,5.5", "303,Wim,sweetness,5,5", "sheets.csv, row 5: this row has 5 cells, but the header names 4 columns; put a cell that holds a comma in quotes."),
    ("sheets", "303,Wim", '303,"Wim', "sheets.csv, row 5: a quotation mark is opened in this row and never closed."),
    ("sheets", "303,Wim", '303,"W"im', "sheets.csv, row 5: the quotation marks do not pair up; put a cell in quotes as a whole or not at all."),
    ("sheets", "303,Wim", '303,"W\nim"', 'sheets.csv, row 5, taster: "W\\nim" holds a line break or a control character; labels stand on one line.'),
    ("sheets", "303,Wim", "303,\x1b[31mWim", 'sheets.csv, row 5, taster: "\\x1b[31mWim" holds a line break or a control character; labels stand on one line.'),
    ("sheets", "303,Wim", "303," + "W" * 300, f'sheets.csv, row 5, taster: "{"W" * 37}..." is longer than 200 characters; shorten it.'),
]  # fmt: skip


@pytest.mark.parametrize(("stem", "old", "new", "sentence"), ONE_SENTENCE, ids=lambda v: str(v)[:24])
def test_one_slip_gives_its_one_sentence(problems_with, good, stem, old, new, sentence):
    assert old in good[stem]
    assert problems_with(**{stem: good[stem].replace(old, new, 1)}) == (sentence,)


def test_a_missing_file(problems_with):
    assert problems_with(pulls=None) == ("pulls.csv: this file is missing from the folder.",)


def test_a_misnamed_file_is_guessed(write, good):
    place = write(good)
    (place / "sheets.csv").rename(place / "Sheets.csv")
    with pytest.raises(FolderError) as caught:
        read(place, today=TODAY)
    assert caught.value.problems == ('sheets.csv: this file is missing from the folder; is it "Sheets.csv"?',)


@pytest.mark.parametrize("content", [b"", b"\n \r\n", b"\xef\xbb\xbf", b"\xef\xbb\xbf\n", b",,,\n"])
def test_an_empty_file(problems_with, content):
    assert problems_with(pulls=content) == (
        "pulls.csv: the file is empty; its first row must name the columns (pull, batch, pulled_at, ...).",
    )


def test_a_header_without_rows(problems_with, good):
    header = good["pulls"].split("\n")[0]
    assert problems_with(pulls=header) == (
        "pulls.csv: the file has a header and no rows; at least one pull is needed.",
    )


def test_text_that_is_not_utf_8(problems_with, good):
    text = good["coffees"].replace("Grey", "Gr\u00e9y")
    assert problems_with(coffees=text.encode("cp1252")) == (
        "coffees.csv, row 3: the file is not written in UTF-8 (byte 0xe9); save it as CSV in UTF-8.",
    )
    for codec in ("utf-16", "utf-16-be"):
        (sentence,) = problems_with(coffees=text.encode(codec))
        assert sentence.startswith("coffees.csv")
        assert sentence.endswith("save it as CSV in UTF-8.")


def test_a_nul_byte(problems_with, good):
    assert problems_with(coffees=good["coffees"].replace("Grey", "Gr\0y")) == (
        "coffees.csv, row 3: the file holds a NUL byte, so it is no text in UTF-8; save it as CSV in UTF-8.",
    )


def test_a_point_that_could_be_a_thousands_sign_beside_decimal_commas(problems_with, good):
    text = good["costs"].replace(",", ";").replace("0.1", "0,1").replace("400", "1.234")
    assert problems_with(costs=text) == (
        'costs.csv, row 2, value: "1.234" could be 1.234 or 1234; '
        "write it with a decimal point, or without a thousands sign.",
    )


def test_a_file_that_is_too_large_is_not_read(write, good, monkeypatch):
    place = write(good)
    monkeypatch.setattr("pathlib.Path.read_bytes", _refuse_large)
    with open(place / "pulls.csv", "ab") as sparse:
        sparse.truncate(200_000_000)
    with pytest.raises(FolderError) as caught:
        read(place, today=TODAY)
    assert caught.value.problems == ("pulls.csv: the file is larger than 50 MB; a season of tastings takes far less.",)


def _refuse_large(path):
    assert path.stat().st_size <= folder_module.MAX_FILE_BYTES
    with open(path, "rb") as stream:
        return stream.read()


def test_a_cell_without_end(problems_with, good):
    text = good["sheets"] + '303,"' + "x" * 200_000 + '",sweetness,5\n'
    assert problems_with(sheets=text) == (
        "sheets.csv, row 6: a cell is longer than 130,000 characters; is a quotation mark left open?",
    )


def test_a_directory_or_pipe_in_place_of_a_file(write, good):
    place = write({k: v for k, v in good.items() if k not in ("cups", "costs")})
    (place / "cups.csv").mkdir()
    os.mkfifo(place / "costs.csv")
    with pytest.raises(FolderError) as caught:
        read(place, today=TODAY)
    assert caught.value.problems == (
        "cups.csv: this is not a file that can be read.",
        "costs.csv: this is not a file that can be read.",
    )


def test_a_file_that_may_not_be_read(write, good, monkeypatch):
    place = write(good)
    real = type(place).read_bytes

    def refuse(path):
        if path.name == "cups.csv":
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(type(place), "read_bytes", refuse)
    with pytest.raises(FolderError) as caught:
        read(place, today=TODAY)
    assert caught.value.problems == ("cups.csv: the file cannot be read (permission denied).",)


def test_places_that_are_no_folder(tmp_path):
    def told(place):
        with pytest.raises(FolderError) as caught:
            read(place, today=TODAY)
        (sentence,) = caught.value.problems
        return sentence.removeprefix(str(place))

    assert told(tmp_path / "nowhere") == ": there is no such folder or file."
    (tmp_path / "a.txt").write_text("a")
    assert told(tmp_path / "a.txt") == ": name a folder of CSV files or an XLSX workbook; this is neither."
    (tmp_path / "empty").mkdir()
    assert told(tmp_path / "empty") == (
        ": the folder holds no CSV file and no workbook; needed are recipes.csv, coffees.csv, attributes.csv, "
        "targets.csv, batches.csv, pulls.csv, cups.csv, sheets.csv, costs.csv."
    )


def test_all_problems_of_a_folder_are_told_as_one(problems_with, good, untold):
    problems = problems_with(pulls=good["pulls"].replace("18.1", "-1").replace("36.4", "x"))
    told = FolderError(problems)
    assert str(told) == "\n".join(problems)
    assert untold(told.args[0]) == {"pulls", "csv", "dose_g", "beverage_g", "x"}


REFUSALS = {"RecordError", "FieldError", "FolderError", "DesignError", "WorkbookError", "refuse"}


def test_every_refusal_of_the_records_is_made_of_words():
    """A sentence that is glued together as it is raised can be told in no other language."""
    source = Path(folder_module.__file__).parent
    glued = [
        f"{file.name}:{node.lineno}"
        for file in sorted(source.rglob("*.py"))
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", getattr(node.func, "attr", "")) in REFUSALS
        for said in (*node.args, *(one for given in node.args if isinstance(given, ast.List) for one in given.elts))
        if isinstance(said, ast.JoinedStr | ast.BinOp)
        or (isinstance(said, ast.Constant) and " " in str(said.value))
        or (isinstance(said, ast.Call) and isinstance(said.func, ast.Name) and said.func.id == "str")
    ]
    assert glued == []


def test_all_problems_of_all_files_come_together_in_order(problems_with, good):
    found = problems_with(
        cups=None,
        pulls=good["pulls"].replace("18.1", "0").replace("36.0", "x"),
        recipes=good["recipes"].replace("0.3", "-1"),
        costs=good["costs"].replace("0.1", "2"),
    )
    assert found == (
        'recipes.csv, row 2, dose_tol_g: "-1" is not allowed; a tolerance is more than 0 g.',
        'pulls.csv, row 2, dose_g: "0" is not allowed; a dose is more than 0 g.',
        'pulls.csv, row 4, beverage_g: "x" is not a number; a pull is more than 0 g.',
        "cups.csv: this file is missing from the folder.",
        'costs.csv, row 6, value: "2" is not allowed; prior_bad is a share above 0 and below 1.',
    )


def test_a_broken_file_is_one_problem_and_not_a_flood(problems_with, good):
    assert len(problems_with(coffees=b"\xff\xfe\x00")) == 1
    assert len(problems_with(batches=good["batches"].replace("batch,coffee", "lot,coffee"))) == 1
    assert len(problems_with(pulls=good["pulls"].replace("P1,H-01", "P1,,H-01"))) == 1  # ragged: cup 101 is not accused
    assert len(problems_with(attributes=good["attributes"].replace("sweetness,0", "sweetness,x"))) == 1


def test_a_long_list_is_cut_with_its_count(problems_with, good):
    rows = "".join(f"999{i},Una,sweetness,5\n" for i in range(362))
    found = problems_with(sheets=good["sheets"] + rows, costs=good["costs"].replace("0.1", "2"))
    assert len(found) == 50 + 1 + 1
    assert found[50] == "sheets.csv: and 312 more."
    assert found[51].startswith("costs.csv")


def test_thousands_of_problems_are_found_quickly_enough_to_wait_for(problems_with, good):
    """Guards against guessing at every one of them: comparing 20,000 slips with 5,000 names would take minutes."""
    cups = good["cups"] + "".join(f"c{i},P1,black,T1,\n" for i in range(1900))
    rows = "".join(f"C {i}x,Una,sweetness,5\n" for i in range(20_000))
    assert problems_with(cups=cups, sheets=good["sheets"] + rows)[-1] == "sheets.csv: and 19950 more."
