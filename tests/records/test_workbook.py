# ruff: noqa: E501 - a table of sentences reads best with one sentence a line
"""A workbook holds the same facts as the folder of CSV files, and its own ways of being wrong."""

import csv
import dataclasses
import datetime as dt
import io
import zipfile
from pathlib import Path

import openpyxl
import pytest

from evenhand.errors import FolderError
from evenhand.records.folder import Folder, read
from evenhand.records.rows import FILES

TODAY = dt.date(2026, 6, 1)
DEMO = Path(__file__).parents[2] / "demo" / "season"


def typed(cell: str) -> object:
    """Give a cell the type that a spreadsheet would give it on typing."""
    for read_as in (int, float, dt.date.fromisoformat, dt.datetime.fromisoformat):
        try:
            value = read_as(cell)
        except ValueError:
            continue
        return value.isoformat() if isinstance(value, dt.datetime) and value.tzinfo else value
    return cell or None


def workbook_of(texts: dict[str, str]) -> openpyxl.Workbook:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for stem, text in texts.items():
        sheet = book.create_sheet(stem)
        for row in csv.reader(io.StringIO(text)):
            sheet.append([typed(cell) for cell in row])
    return book


def problems_of(place: Path) -> tuple[str, ...]:
    with pytest.raises(FolderError) as caught:
        read(place, today=TODAY)
    return caught.value.problems


def test_what_is_wrong_with_a_workbook_can_be_told_in_another_language(good, tmp_path, untold, monkeypatch):
    monkeypatch.chdir(tmp_path)  # the words of a long path would hide others
    del good["costs"]
    workbook_of({**good, "cost": "name,value\n", "green_readings": "green_lot,read_on\n"}).save("spring.xlsx")
    Path("broken.xlsx").write_bytes(b"PK\x03\x04 no archive")
    found = [problem for name in ("spring.xlsx", "broken.xlsx", "nothing", ".") for problem in problems_of(Path(name))]
    for said in ("is it", "lists the lots", "no such folder", "no XLSX workbook", "holds 2 workbooks"):
        assert any(said in problem for problem in found), said
    data = {"spring", "broken", "nothing", "xlsx", "cost", *FILES}
    for problem in found:
        assert untold(problem) <= data, problem


def test_a_workbook_reads_as_the_csv_files_do(write, good, tmp_path):
    plain = read(write(good), today=TODAY)
    path = tmp_path / "spring.xlsx"
    workbook_of(good).save(path)
    assert read(path, today=TODAY) == plain
    (tmp_path / "one").mkdir()
    path.rename(tmp_path / "one" / "book.xlsx")
    (tmp_path / "one" / "~$book.xlsx").write_bytes(b"lock")
    assert read(tmp_path / "one", today=TODAY) == dataclasses.replace(plain, title="one")


def test_the_demo_as_a_workbook_is_the_demo(tmp_path):
    book = workbook_of({path.stem: path.read_text() for path in DEMO.glob("*.csv")})
    book.create_sheet("INVENTED")
    book.save(tmp_path / "season.xlsx")
    today = dt.date(2026, 11, 1)
    from_workbook, from_files = read(tmp_path / "season.xlsx", today=today), read(DEMO, today=today)
    assert as_numbers(from_workbook) == as_numbers(from_files)


def as_numbers(folder: Folder) -> Folder:
    """Write grind settings alike: a spreadsheet makes the label 4.0 a number and shows it as 4."""
    pulls = tuple(dataclasses.replace(pull, grind_setting=f"{float(pull.grind_setting):g}") for pull in folder.pulls)
    return dataclasses.replace(folder, pulls=pulls)


def test_labels_typed_as_numbers_are_labels(good, tmp_path):
    workbook_of(good).save(tmp_path / "spring.xlsx")
    assert [cup.cup for cup in read(tmp_path / "spring.xlsx", today=TODAY).cups] == ["101", "202", "303"]


@pytest.mark.parametrize(
    ("place", "value", "sentence"),
    [
        (("pulls", "D2"), 0, 'row 2, dose_g: "0" is not allowed; a dose is more than 0 g.'),
        (("pulls", "D2"), True, 'row 2, dose_g: "True" is not a number; a dose is more than 0 g.'),
        (("pulls", "D2"), dt.date(2026, 1, 18), 'row 2, dose_g: "2026-01-18" is not a number; a dose is more than 0 g.'),
        (("batches", "C2"), 46146, 'row 2, roasted_on: "46146" is not allowed; a roast date is written year-month-day, as 2026-03-09.'),
        (("cups", "D2"), dt.date(2026, 3, 4), 'row 2, table: the cell holds a date or time, "2026-03-04"; a table is a name, as text: format the cell as text.'),
        (("faults", "D2"), True, 'row 2, heard: "True" is not a number; heard is 1, not heard is 0.'),
    ],
)  # fmt: skip
def test_cells_of_the_wrong_type(good, tmp_path, place, value, sentence):
    book = workbook_of(good)
    book[place[0]][place[1]] = value
    if isinstance(value, int):
        book[place[0]][place[1]].number_format = "General"
    book.save(tmp_path / "spring.xlsx")
    assert problems_of(tmp_path / "spring.xlsx") == (f"spring.xlsx, sheet {place[0]}, {sentence}",)


def test_a_spreadsheet_error_is_not_read_as_unmeasured(good, tmp_path):
    book = workbook_of(good)
    book["pulls"]["G2"] = "#DIV/0!"
    book["pulls"]["G2"].data_type = "e"
    book.save(tmp_path / "spring.xlsx")
    assert problems_of(tmp_path / "spring.xlsx") == (
        "spring.xlsx, sheet pulls: cell G2 holds a spreadsheet error; mend its formula or leave the cell empty.",
    )


def test_missing_misnamed_and_unknown_sheets(good, tmp_path):
    book = workbook_of(good)
    book["pulls"].title = "x"  # two steps, because the writer calls Pulls taken as long as pulls is there
    book["x"].title = "Pulls"
    book.remove(book["cups"])
    book.save(tmp_path / "spring.xlsx")
    assert problems_of(tmp_path / "spring.xlsx") == (
        'spring.xlsx, sheet pulls: this sheet is missing from the workbook; is it "Pulls"?',
        "spring.xlsx, sheet cups: this sheet is missing from the workbook.",
    )
    book = workbook_of(good)
    book.create_sheet("notes")
    book.save(tmp_path / "spring.xlsx")
    assert read(tmp_path / "spring.xlsx", today=TODAY).warnings == (
        'spring.xlsx: not read, because no such sheet is known: "notes".',
    )


def test_a_forgotten_cell_far_out_is_refused_before_it_fills_the_memory(good, tmp_path):
    book = workbook_of(good)
    book["pulls"]["XFD1048576"] = "x"
    book.save(tmp_path / "spring.xlsx")
    assert problems_of(tmp_path / "spring.xlsx") == (
        "spring.xlsx: the workbook cannot be read; sheet pulls spreads over 1,048,576 rows and 16,384 columns; "
        "delete what stands far outside.",
    )


def test_a_workbook_that_unpacks_without_end_is_refused(tmp_path):
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("xl/workbook.xml", "w") as part:
        for _ in range(51):
            part.write(bytes(10_000_000))
    assert path.stat().st_size < 1_000_000
    assert problems_of(path) == ("bomb.xlsx: the workbook cannot be read; it unpacks to more than 500 MB.",)


@pytest.mark.parametrize("content", [b"", b"text", b"PK\x03\x04" + bytes(200)])
def test_what_is_no_workbook(tmp_path, content):
    (tmp_path / "x.xlsx").write_bytes(content)
    assert problems_of(tmp_path / "x.xlsx") == (
        "x.xlsx: the workbook cannot be read; it is no XLSX workbook; open it in a spreadsheet and save it as XLSX.",
    )


def test_a_workbook_with_a_hole(good, tmp_path):
    workbook_of(good).save(tmp_path / "whole.xlsx")
    with zipfile.ZipFile(tmp_path / "whole.xlsx") as whole, zipfile.ZipFile(tmp_path / "x.xlsx", "w") as holed:
        for name in whole.namelist():
            if name != "xl/workbook.xml":
                holed.writestr(name, whole.read(name))
    assert problems_of(tmp_path / "x.xlsx") == (
        "x.xlsx: the workbook cannot be read; it is damaged; open it in a spreadsheet and save it again as XLSX.",
    )


def test_too_large_and_too_many(good, tmp_path):
    with open(tmp_path / "x.xlsx", "wb") as sparse:
        sparse.truncate(50_000_001)
    assert problems_of(tmp_path / "x.xlsx") == (
        "x.xlsx: the workbook is larger than 50 MB; a season of tastings takes far less.",
    )
    (tmp_path / "y.xlsx").write_bytes(b"")
    assert problems_of(tmp_path) == (f"{tmp_path}: the folder holds 2 workbooks; name the one to read.",)
