"""A workbook that is written reads back equal, whatever the labels look like, and another library opens it."""

import dataclasses
import datetime as dt
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.records import _workbook_writer
from evenhand.records._refusals import RecordError
from evenhand.records._workbook import read_workbook
from evenhand.records._workbook_writer import save
from evenhand.records.folder import read

TODAY = dt.date(2026, 6, 1)
DEMO = Path(__file__).parents[2] / "demo" / "season"

ODD = [
    "=1+1",
    "+49",
    "-3",
    "@cup",
    "007",
    "1e5",
    "2026-05-04",
    "#DIV/0!",
    "TRUE",
    "_x0041_",
    "a_x005F_x",
    "Émile’s",
    "a\u00a0b",
]


@pytest.fixture
def write_workbook():
    """Return the writer of a folder; importing it takes Django, so it is fetched when it is wanted."""
    from evenhand.records.exporting import write_workbook

    return write_workbook


def cells_of(path: Path, name: str) -> list[list[object]]:
    return read_workbook(path.read_bytes(), [name])[1][name]


def test_odd_texts_come_back_letter_for_letter(tmp_path):
    save([("cups", ("cup",), [[text] for text in ODD])], tmp_path / "a.xlsx", empty_sheet=None)
    assert [row[0] for row in cells_of(tmp_path / "a.xlsx", "cups")] == ["cup", *ODD]


@given(
    texts=st.lists(
        st.text(
            st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"], exclude_characters="\ufffe\uffff"), min_size=1
        )
        .map(str.strip)
        .filter(bool),
        max_size=20,
    ),
    numbers=st.lists(st.floats(1e-6, 1e9) | st.floats(-1e9, -1e-6) | st.integers(1, 10**6), max_size=20),
)
def test_any_texts_and_numbers_come_back(tmp_path_factory, texts, numbers):
    path = tmp_path_factory.mktemp("book") / "a.xlsx"
    rows = [*([text] for text in texts), *([number] for number in numbers)]
    save([("sheets", ("x",), rows)], path, empty_sheet=None)
    assert cells_of(path, "sheets")[1:] == rows


def test_the_demo_as_a_workbook_is_the_demo(tmp_path, write_workbook):
    demo = read(DEMO, today=dt.date(2026, 11, 1))
    assert demo.invented
    path = write_workbook(demo, tmp_path / "season.xlsx")
    assert read(path, today=dt.date(2026, 11, 1)) == demo


def test_another_library_finds_days_numbers_and_texts_in_the_cells(tmp_path, write, green, write_workbook):
    path = write_workbook(read(write(green), today=TODAY), tmp_path / "spring.xlsx")
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == list(read_order(green))
    batch, pull = book["batches"], book["pulls"]
    assert batch["C2"].value == dt.datetime(2026, 5, 4)
    assert batch["C2"].is_date
    assert (pull["C2"].value, pull["D2"].value, pull["I2"].value) == ("2026-05-11T09:05", 18.1, "4.2")
    assert pull["G4"].value is None
    assert book["green_lots"]["C2"].value == "Hill group 4; Una & sons"
    assert "green_lot" in [cell.value for cell in batch[1]]


def read_order(texts):
    from evenhand.records.rows import FILES

    return [stem for stem in FILES if stem in texts]


def test_what_is_refused(tmp_path, write, good, write_workbook, monkeypatch):
    folder = read(write(good), today=TODAY)
    with pytest.raises(RecordError, match=r"ends in \.xlsx"):
        write_workbook(folder, tmp_path / "spring.xls")
    (tmp_path / "there.xlsx").write_text("")
    with pytest.raises(RecordError, match="there already"):
        write_workbook(folder, tmp_path / "there.xlsx")
    with pytest.raises(RecordError, match="cannot be written"):
        write_workbook(folder, tmp_path / "gone" / "spring.xlsx")
    monkeypatch.setattr(_workbook_writer, "MAX_ROWS", 4)
    with pytest.raises(RecordError, match="sheets: there are more rows than the 4 of a sheet"):
        write_workbook(folder, tmp_path / "spring.xlsx")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["spring", "there.xlsx"]


def test_a_day_before_the_calendar_of_spreadsheets_comes_back(tmp_path, write, good, write_workbook):
    old = read(write(good), today=TODAY)
    batches = tuple(dataclasses.replace(batch, roasted_on=dt.date(1899, 3, 1)) for batch in old.batches)
    path = write_workbook(dataclasses.replace(old, batches=batches), tmp_path / "spring.xlsx")
    assert read(path, today=TODAY).batches == batches
