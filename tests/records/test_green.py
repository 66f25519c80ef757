"""Green lots in the folder: what the three files and the column become, and every way in which they can be wrong."""
# ruff: noqa: E501 - a table of sentences reads best with one sentence a line

import csv
import datetime as dt
import io

import openpyxl
import pytest

from evenhand.errors import FolderError
from evenhand.records.folder import read
from evenhand.records.rows import GreenLot, GreenReading, GreenStorage

TODAY = dt.date(2026, 6, 1)


@pytest.fixture
def read_green(read_told, green):
    """Return a function that reads the folder with green lots, some files replaced; see `read_told`."""
    return lambda **changed: read_told({**green, **changed})


@pytest.fixture
def problems_with(read_green):
    def _problems(**changed):
        with pytest.raises(FolderError) as caught:
            read_green(**changed)
        return caught.value.problems

    return _problems


def test_the_files_become_rows(read_green):
    folder = read_green()
    assert folder.warnings == ()
    assert folder.green_lots[0] == GreenLot(
        green_lot="Vantry 2",
        origin="Vantry hills",
        producers=("Hill group 4", "Una & sons"),
        varieties=("Amberleaf",),
        process="washed",
        elevation_low_m=1500,
        elevation_high_m=1720,
        harvest="2025/26",
        harvested_on=dt.date(2025, 12, 15),
        arrived_on=dt.date(2026, 4, 2),
        green_kg=240,
        bag_kg=60,
    )
    assert folder.green_lots[1] == GreenLot(green_lot="Osk 7", green_kg=120, bag_kg=30)
    assert folder.green_readings[0] == GreenReading(
        green_lot="Vantry 2",
        read_on=dt.date(2026, 4, 3),
        moisture_pct=10.8,
        moisture_method="oven, 105 C, 16 h",
        water_activity=0.55,
        water_activity_c=25,
    )
    assert folder.green_storage[1] == GreenStorage(
        green_lot="Vantry 2",
        stored_from=dt.date(2026, 5, 1),
        temperature_c=15,
        water_activity=0.55,
        packaging="airtight",
    )
    assert [batch.green_lot for batch in folder.batches] == [None, "Osk 7"]


def test_without_them_a_folder_reads_as_before(read_with):
    folder = read_with()
    assert folder.green_lots == folder.green_readings == folder.green_storage == ()
    assert [batch.green_lot for batch in folder.batches] == [None, None]


def test_a_lot_of_a_batch_or_coffee_need_not_be_listed(read_green, green):
    folder = read_green(green_lots=green["green_lots"].splitlines()[0] + "\n", green_readings=None, green_storage=None)
    assert (folder.warnings, folder.green_lots) == ((), ())
    assert folder.batches[1].green_lot == "Osk 7"


def test_names_between_semicolons_lose_their_spaces_and_doubles(read_green, green):
    lots = green["green_lots"].replace("Hill group 4; Una & sons", " Hill group 4 ;;Una & sons; Hill group 4;")
    assert read_green(green_lots=lots).green_lots[0].producers == ("Hill group 4", "Una & sons")


def test_many_producers_may_be_longer_together_than_one_label(read_green, green):
    names = [f"Hill group {n}, upper side" for n in range(40)]
    lots = green["green_lots"].replace("Hill group 4; Una & sons", '"' + "; ".join(names) + '"')
    assert read_green(green_lots=lots).green_lots[0].producers == tuple(names)


def test_a_coffee_whose_lot_is_younger_than_its_batches_is_pointed_out(read_green, green):
    lots = green["green_lots"].replace("2025-12-15,2026-04-02", "2026-05-10,2026-05-20")
    assert read_green(green_lots=lots).warnings == (
        'batches.csv: 1 batch was roasted before green lot "Vantry 2" of coffee "Hollow Lantern" was harvested; '
        "name their own lot in the column green_lot.",
    )


def test_lots_that_differ_only_in_capitals_are_pointed_out(read_green, green):
    assert read_green(batches=green["batches"].replace("Osk 7", "osk-7")).warnings == (
        'batches.csv: "Osk 7" and "osk-7" are read as 2 different green lots.',
    )


@pytest.mark.parametrize(
    ("stem", "old", "new", "sentence"),
    [
        ("green_lots", "1500,1720", "1500,1400", 'green_lots.csv, row 2, elevation_high_m: "1400" is not allowed; the high end of the elevation is not below its low end, 1500 m.'),
        ("green_lots", "1500,", "-3,", 'green_lots.csv, row 2, elevation_low_m: "-3" is not allowed; an elevation is from 0 to 9000 m.'),
        ("green_lots", "2025-12-15", "2026-06-02", 'green_lots.csv, row 2, harvested_on: "2026-06-02" is not allowed; a harvest is not after today, 2026-06-01.'),
        ("green_lots", "2026-04-02", "2026-06-02", 'green_lots.csv, row 2, arrived_on: "2026-06-02" is not allowed; an arrival is not after today, 2026-06-01.'),
        ("green_lots", "2026-04-02", "2025-04-02", 'green_lots.csv, row 2, arrived_on: "2025-04-02" is not allowed; the lot was harvested later, on 2025-12-15.'),
        ("green_lots", ",240,60", ",0,60", 'green_lots.csv, row 2, green_kg: "0" is not allowed; a mass is more than 0 kg.'),
        ("green_lots", "120,30\n", "120,30\nVantry 2,,,,,,,,,,,\n", 'green_lots.csv, row 4: green_lot "Vantry 2" stands in row 2 already; each green lot is listed once.'),
        ("green_lots", "Hill group 4", "Hill group " + "4" * 200, f'green_lots.csv, row 2, producers: "Hill group {"4" * 26}..." is longer than 200 characters; shorten it.'),
        ("green_readings", '"oven, 105 C, 16 h"', "", "green_readings.csv, row 2, moisture_method: the cell is empty; name the method of the moisture, or nobody can compare it."),
        ("green_readings", "0.58", "", "green_readings.csv, row 3: this row gives neither moisture_pct nor water_activity; give one."),
        ("green_readings", "0.55", "55", 'green_readings.csv, row 2, water_activity: "55" is not allowed; a water activity is above 0 and below 1 (not in percent).'),
        ("green_readings", "2026-05-02", "2026-07-02", 'green_readings.csv, row 3, read_on: "2026-07-02" is not allowed; a reading is not after today, 2026-06-01.'),
        ("green_readings", "Osk 7", "Osk7", 'green_readings.csv, row 3, green_lot: "Osk7" is not listed in green_lots.csv; did you mean "Osk 7"?'),
        ("green_storage", "2026-05-01", "2026-04-02", 'green_storage.csv, row 3: green_lot "Vantry 2", stored_from "2026-04-02" stands in row 2 already; each spell of storage is listed once.'),
        ("green_storage", "2026-05-01", "2026-07-01", 'green_storage.csv, row 3, stored_from: "2026-07-01" is not allowed; a spell of storage does not begin after today, 2026-06-01.'),
        ("green_storage", "airtight", "sealed", 'green_storage.csv, row 3, packaging: "sealed" is not allowed; a packaging is breathing or airtight.'),
        ("green_storage", ",24,", ",75,", 'green_storage.csv, row 2, temperature_c: "75" is not allowed; a store is between -40 and 60 degrees C (not Fahrenheit).'),
        ("batches", "2026-05-04,6,5.1,", "2025-11-04,6,5.1,Vantry 2", 'batches.csv, row 2, green_lot: "Vantry 2" is not allowed; the batch was roasted on 2025-11-04, before that lot was harvested, on 2025-12-15.'),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told(problems_with, green, stem, old, new, sentence):
    assert old in green[stem]
    assert problems_with(**{stem: green[stem].replace(old, new, 1)}) == (sentence,)


def test_readings_and_storage_ask_for_the_list_of_lots(problems_with):
    assert problems_with(green_lots=None) == (
        "green_lots.csv: this file is missing; green_readings.csv and green_storage.csv need it, for it lists the lots.",
    )


def test_a_broken_list_of_lots_is_one_problem(problems_with):
    (problem,) = problems_with(green_lots=b"\xff\xfe")
    assert problem == "green_lots.csv: the file is written in UTF-16; save it as CSV in UTF-8."


def test_a_workbook_holds_them_too(write, green, tmp_path):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for stem, text in green.items():
        sheet = book.create_sheet(stem)
        for row in csv.reader(io.StringIO(text)):
            sheet.append(row)
    sheet = book["green_storage"]
    sheet["B2"] = dt.date(2026, 4, 2)
    sheet["C2"] = 24
    book.save(tmp_path / "spring.xlsx")
    assert read(tmp_path / "spring.xlsx", today=TODAY) == read(write(green), today=TODAY)
    book.remove(book["green_lots"])
    book.create_sheet("Green lots")
    book.save(tmp_path / "spring.xlsx")
    with pytest.raises(FolderError, match=r"sheet green_lots: this sheet is missing; .*is it \"Green lots\"\?"):
        read(tmp_path / "spring.xlsx", today=TODAY)
