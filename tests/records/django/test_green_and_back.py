"""Green lots go into the records and come back the same, and a changed cell leaves its history."""

import dataclasses
import datetime as dt

import pytest

from evenhand.errors import FolderError
from evenhand.records.audit import head
from evenhand.records.chain import verify_chain
from evenhand.records.exporting import collect, write_folder, write_workbook
from evenhand.records.folder import read
from evenhand.records.importing import import_path
from evenhand.records.models import Batch, BatchLot, Entry, GreenLot, GreenReading, GreenStorage, LotProducer

TODAY = dt.date(2026, 6, 1)

pytestmark = pytest.mark.django_db


@pytest.fixture
def lots(db, pen, write, green):
    """Import the small invented folder that tells of its green lots too."""
    return import_path(pen, write(green), dry_run=False)


def test_they_go_in_and_come_back(lots, write, green, tmp_path):
    folder = read(write(green), today=TODAY)
    assert collect() == folder
    assert read(write_folder(collect(), tmp_path / "out" / "spring"), today=TODAY) == folder
    book = write_workbook(collect(), tmp_path / "out" / "spring.xlsx")
    assert read(book, today=TODAY) == folder
    for stem in ("green_lots", "green_readings", "green_storage"):
        assert (tmp_path / "out" / "spring" / f"{stem}.csv").read_text() == green[stem], stem
    assert {stem: count.new for stem, count in lots.counts.items() if stem.startswith("green")} == {
        "green_lots": 2,
        "green_readings": 2,
        "green_storage": 2,
    }
    assert verify_chain().broken is None


def test_a_folder_without_them_comes_back_without_them(db, pen, write, good, tmp_path):
    import_path(pen, write(good), dry_run=False)
    place = write_folder(collect(), tmp_path / "out")
    assert sorted(path.name for path in place.iterdir()) == sorted(f"{stem}.csv" for stem in good)
    assert "green_lot" not in (place / "batches.csv").read_text()


def test_again_changes_nothing(lots, pen, write, green):
    end = head()
    report = import_path(pen, write(green), dry_run=False)
    assert head() == end
    assert all(count.new == count.changed == 0 for count in report.counts.values())


def test_changed_cells_change_the_records_and_nothing_else(lots, pen_of, write, green):
    changed = dict(green)
    changed["green_lots"] = green["green_lots"].replace("Una & sons", "Wim").replace(",240,", ",180,")
    changed["green_readings"] = green["green_readings"].replace("10.8", "10.6")
    changed["green_storage"] += "Osk 7,2026-05-03,18,,\n"
    changed["batches"] = green["batches"].replace("Osk 7", "Vantry 2")
    report = import_path(pen_of("Ottilie"), write(changed), dry_run=False)
    assert [line for line in report.lines() if "green" in line or "batches" in line] == [
        "green_lots: 0 new, 1 changed, 1 as they were.",
        "green_readings: 0 new, 1 changed, 1 as they were.",
        "green_storage: 1 new, 0 changed, 2 as they were.",
        "batches: 0 new, 1 changed, 1 as they were.",
    ]
    assert collect() == read(write(changed), today=TODAY)
    removed = Entry.objects.get(action="removed")
    assert (removed.who, removed.title) == ("Ottilie", "Una & sons in Vantry 2")
    assert verify_chain().broken is None


def test_an_empty_cell_wipes_nothing(lots, pen, write, green):
    fewer = dict(green)
    fewer["green_lots"] = "green_lot\nVantry 2\n"
    fewer["green_readings"] = "green_lot,read_on,water_activity\nVantry 2,2026-04-03,0.55\n"
    fewer["green_storage"] = "green_lot,stored_from\nVantry 2,2026-04-02\n"
    fewer["batches"] = green["batches"].replace("Osk 7", "")
    before = collect()
    report = import_path(pen, write(fewer), dry_run=False)
    assert all(count.new == count.changed == 0 for count in report.counts.values())
    assert collect() == before


def test_a_lot_that_is_only_named_has_no_row_and_one_that_nothing_names_has_one(db, pen, write, green):
    texts = dict(green)
    texts["green_lots"] = "green_lot\nVantry 2\nSpare 1\n"
    texts["green_readings"] = "green_lot,read_on\n"
    texts["green_storage"] = "green_lot,stored_from\n"
    import_path(pen, write(texts), dry_run=False)
    assert [row.green_lot for row in collect().green_lots] == ["Spare 1"]
    assert GreenLot.objects.count() == 3


def test_a_blend_has_no_lot_in_the_column(lots, pen, write, green):
    batch, lot = Batch.objects.get(label="H-02"), GreenLot.objects.get(name="Vantry 2")
    pen.make(BatchLot(batch=batch, lot=lot, green_kg=3))
    folder = collect()
    assert [row.green_lot for row in folder.batches] == [None, None]
    assert folder.warnings == ()
    end = head()
    for lot_named in ("Vantry 2", "Osk 7"):
        texts = green | {"batches": green["batches"].replace("Osk 7", lot_named)}
        import_path(pen, write(texts), dry_run=False)
    assert head() == end
    with pytest.raises(FolderError, match='"H-02" is of "Osk 7" and "Vantry 2" in the records'):
        import_path(pen, write(green | {"batches": green["batches"].replace("Osk 7", "Third 1")}), dry_run=False)
    assert head() == end


def test_what_the_bench_writes_comes_back_in_a_folder(shop, pen, tmp_path):
    """The fixture writes lot, producer, variety and reading with a pen, as a page would."""
    lot = GreenLot.objects.get(name="Vantry 2")
    pen.make(GreenStorage(lot=lot, stored_from=dt.date(2026, 4, 20), temperature_c=15, packaging="airtight"))
    folder = collect()
    assert [(row.producers, row.varieties, row.harvest) for row in folder.green_lots] == [
        (("Hill group 4",), ("Amberleaf",), "2025/26")
    ]
    assert folder.batches[0].green_lot == "Vantry 2"
    again = read(write_folder(folder, tmp_path / "out"), today=TODAY)
    assert again == dataclasses.replace(folder, title="out")


def test_one_lot_has_one_reading_a_day(lots, pen):
    lot = GreenLot.objects.get(name="Osk 7")
    with pytest.raises(Exception, match="the records hold it already"):
        pen.make(GreenReading(lot=lot, read_on=dt.date(2026, 5, 2), water_activity=0.5))
    assert LotProducer.objects.filter(lot=lot).count() == 0
