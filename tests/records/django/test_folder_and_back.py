"""What a folder says goes into the records and comes back the same; the dry run promises what the import does."""

import csv
import dataclasses
import datetime as dt
import io
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import FolderError
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen, head
from evenhand.records.chain import verify_chain
from evenhand.records.coffees import revise_coffee, revise_recipe
from evenhand.records.exporting import _cell, collect, write_folder
from evenhand.records.folder import Folder, read
from evenhand.records.importing import import_folder, import_path
from evenhand.records.models import Batch, Cup, Entry, GreenLot, Person, Pull, Sheet
from evenhand.records.sheets import take_sheet

DEMO = Path(__file__).parents[3] / "demo" / "season"
LATER = dt.datetime(2026, 11, 1, 12, tzinfo=dt.UTC)
TODAY = LATER.date()

pytestmark = pytest.mark.django_db


def tables(folder: Folder) -> dict[str, object]:
    """Return what a folder says, up to the order of its rows."""
    rows = {name: value for name, value in vars_of(folder).items() if isinstance(value, tuple) and name != "warnings"}
    return {name: sorted(value, key=repr) for name, value in rows.items()} | {"costs": folder.costs}


def vars_of(folder: Folder) -> dict[str, object]:
    return {f.name: getattr(folder, f.name) for f in dataclasses.fields(folder)}


@pytest.fixture
def later() -> Pen:
    return Pen(who="Una", at=LATER)


class TestDemo:
    def test_goes_in_and_comes_back(self, later, tmp_path):
        """Equal after reading: rows, numbers, dates as written, and the mark that the data are invented."""
        demo = read(DEMO, today=TODAY)
        report = import_path(later, DEMO, dry_run=False)
        assert collect() == demo
        place = write_folder(collect(), tmp_path / "season")
        assert read(place, today=TODAY) == demo
        assert (place / "INVENTED.txt").exists()
        made = {stem: count.new for stem, count in report.counts.items()}
        assert made["batches"] == len(demo.batches)
        assert made["pulls"] == len(demo.pulls)
        assert made["sheets"] == len({(row.cup, row.taster) for row in (*demo.sheets, *demo.faults)})
        assert all(count.changed == count.same == 0 for count in report.counts.values())
        assert verify_chain().broken is None

    def test_its_files_differ_from_the_originals_in_the_form_of_numbers_alone(self, later, tmp_path):
        import_path(later, DEMO, dry_run=False)
        place = write_folder(collect(), tmp_path / "season")

        def cells(path: Path) -> list[list[str]]:
            return sorted([as_number(cell) for cell in row] for row in csv.reader(path.open(encoding="utf-8")))

        def as_number(cell: str) -> str:
            try:
                return repr(float(cell))
            except ValueError:
                return cell

        for path in sorted(DEMO.glob("*.csv")):
            assert cells(place / path.name) == cells(path), path.name

    def test_as_a_workbook(self, later, tmp_path):
        book = openpyxl.Workbook()
        book.remove(book.active)
        for path in DEMO.glob("*.csv"):
            sheet = book.create_sheet(path.stem)
            for row in csv.reader(path.open(encoding="utf-8")):
                sheet.append(row)
        book.create_sheet("INVENTED")
        book.save(tmp_path / "season.xlsx")
        import_path(later, tmp_path / "season.xlsx", dry_run=False)
        assert tables(collect()) == tables(read(DEMO, today=TODAY))
        assert collect().invented

    def test_again_changes_nothing(self, later):
        import_path(later, DEMO, dry_run=False)
        end = head()
        report = import_path(later, DEMO, dry_run=False)
        assert head() == end
        assert all(count.new == count.changed == 0 for count in report.counts.values())


class TestDryRun:
    def test_keeps_nothing_and_promises_what_the_import_does(self, pen, write, good, shop, told_with):
        changed = dict(good)
        changed["pulls"] = changed["pulls"].replace("P1,H-01,2026-05-11T09:05,18.1", "P1,H-01,2026-05-11T09:05,18.2")
        changed["pulls"] += "P4,H-02,2026-05-12,18.0,36.0,29.5,,,\n"
        changed["targets"] = changed["targets"].replace(
            "Grey Ferry,black,sweetness,5.5", "Grey Ferry,black,sweetness,6"
        )
        end, before = head(), collect()
        dry = import_path(pen, write(changed), dry_run=True)
        assert (head(), collect()) == (end, before)
        assert dry.is_dry
        assert "pulls: 1 new, 1 changed, 2 as they were." in dry.lines()
        assert "coffees: 0 new, 1 changed, 1 as they were." in dry.lines()
        for line in dry.lines():
            told_with(line, *dry.counts)
        wet = import_path(pen, write(changed), dry_run=False)
        assert wet == dataclasses.replace(dry, is_dry=False)
        assert head() != end

    def test_tells_the_problems_of_the_folder(self, pen, write, good, db):
        with pytest.raises(FolderError, match=r"pulls.csv, row 2, dose_g"):
            import_path(pen, write(good | {"pulls": good["pulls"].replace("18.1", "-1")}), dry_run=True)
        assert head()[0] == 0


class TestChanges:
    def test_a_changed_score_is_a_new_sheet_that_takes_the_place_of_the_old(self, shop, pen_of, write, good):
        old = Sheet.objects.get(cup__code="101", taster__name="Wim")
        for minutes, score in ((5, "5.5"), (9, "5")):  # there and back again
            changed = good | {"sheets": good["sheets"].replace("101,Wim,sweetness,5\n", f"101,Wim,sweetness,{score}\n")}
            report = import_path(pen_of("Ottilie", minutes), write(changed), dry_run=False)
            assert report.lines()[-1] == "sheets: 0 new, 1 changed, 3 as they were."
        assert old.superseded_by.superseded_by.scores.get().score == old.scores.get().score == 5
        assert Entry.objects.latest("seq").who == "Ottilie"
        assert len(collect().sheets) == 4
        assert verify_chain().broken is None

    def test_words_written_on_a_phone_outlive_an_import_that_corrects_the_score(self, shop, pen, write, good):
        cup, una = Cup.objects.get(code="303"), Person.objects.get(name="Una")
        take_sheet(pen, client_id="k", cup=cup, taster=una, scores={"sweetness": 4}, faults={}, words="plum")
        import_path(pen, write(good | {"sheets": good["sheets"] + "303,Una,sweetness,4.5\n"}), dry_run=False)
        sheet = Sheet.objects.get(supersedes__client_id="k")
        assert (sheet.words, sheet.scores.get().score) == ("plum", 4.5)

    def test_an_empty_cell_wipes_nothing(self, shop, pen, write, good):
        pulls = good["pulls"].replace(",9.41\n", ",\n")
        report = import_path(pen, write(good | {"pulls": pulls}), dry_run=False)
        assert report.counts["pulls"].same == 3
        assert Pull.objects.get(label="P1").tds_pct == 9.41

    def test_what_the_folder_does_not_list_is_left_alone(self, shop, pen, write, good):
        lot = GreenLot.objects.get(name="Vantry 2")
        fewer = {
            stem: good[stem].replace("303,P3,black,T2,1\n", "").replace("303,Wim,sweetness,5.5\n", "") for stem in good
        }
        import_path(pen, write(fewer), dry_run=False)
        assert Cup.objects.filter(code="303").exists()
        assert lot.producers.get().name == "Hill group 4"

    def test_a_batch_keeps_the_version_under_which_it_was_written_down(self, shop, pen, write, good):
        changed = good | {"recipes": good["recipes"].replace("house,18,18,", "house,18,18.5,")}
        changed["batches"] = good["batches"] + "H-03,Hollow Lantern,2026-05-20,,\n"
        import_path(pen, write(changed), dry_run=False)
        assert Batch.objects.get(label="H-01").version.recipe.dose_g == 18
        assert Batch.objects.get(label="H-03").version.recipe.dose_g == 18.5

    def test_a_scale_in_use_is_not_stretched_under_its_scores(self, shop, pen, write, good):
        attributes = good["attributes"].replace("sweetness,0,10", "sweetness,0,15")
        end = head()
        with pytest.raises(FolderError, match=r"sweetness.* is scored from 0 to 10 in the records"):
            import_path(pen, write(good | {"attributes": attributes}), dry_run=False)
        assert head() == end

    def test_a_folder_with_an_odd_name_is_taken_all_the_same(self, db, pen, write, good, tmp_path):
        place = write(good).rename(tmp_path / f" E\u0301t\u00e9  {'x' * 220}")
        import_path(pen, place, dry_run=False)
        assert collect().title.startswith("\u00c9t\u00e9 xxx")

    def test_invented_data_do_not_mix_with_a_shops_own(self, shop, later):
        end = head()
        with pytest.raises(FolderError, match="the folder is marked as invented and the records are not"):
            import_folder(later, read(DEMO, today=TODAY), dry_run=False)
        assert head() == end


class TestExport:
    def test_gives_the_standing_version_or_the_one_asked_for(self, shop, pen, told_with):
        revise_recipe(pen, "house", dose_g=18.5)
        revise_coffee(pen, "Hollow Lantern", targets={("black", "sweetness"): (7, 0.5)})
        now = collect()
        assert [row.dose_g for row in now.recipes] == [18.5]
        assert [row.target for row in now.targets if row.coffee == "Hollow Lantern"] == [7]
        assert any('coffee "Hollow Lantern" is given in version 3' in warning for warning in now.warnings)
        for warning in now.warnings:
            told_with(warning, "Hollow Lantern Grey Ferry H-01 H-02")
        past = collect(versions={"Hollow Lantern": 1, "Grey Ferry": 1})
        assert [row.dose_g for row in past.recipes] == [18]
        assert [row.target for row in past.targets] == [6, 3, 5.5]
        assert past.warnings == ()

    def test_refuses_what_a_folder_cannot_hold(self, shop, pen):
        revise_recipe(pen, "house", dose_g=18.5)
        with pytest.raises(RecordError, match='different versions of recipe "house"'):
            collect(versions={"Hollow Lantern": 1})
        with pytest.raises(RecordError, match="no version 9"):
            collect(versions={"Hollow Lantern": 9})

    def test_refuses_without_costs(self, db):
        with pytest.raises(RecordError, match="No costs are written yet"):
            collect()

    def test_never_writes_over_a_folder_and_leaves_no_half(self, shop, tmp_path):
        (tmp_path / "there").mkdir()
        with pytest.raises(RecordError, match="there already"):
            write_folder(collect(), tmp_path / "there")
        (tmp_path / "file").write_text("")
        with pytest.raises(RecordError, match="cannot be written"):
            write_folder(collect(), tmp_path / "file" / "season")
        assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "spring", "there"]

    def test_moments_come_back_as_they_were_written(self, shop):
        assert [str(row.pulled_at) for row in collect().pulls] == [
            "2026-05-11 09:05:00",
            "2026-05-11 09:15:00+02:00",
            "2026-05-12",
        ]

    def test_labels_that_a_spreadsheet_would_bend_come_back(self, db, pen, write, good, tmp_path):
        odd = ['"Lantern, ""late"""', "=1+1", "007", "Émile’s", "1e5", "2026-05-04"]
        texts = dict(good)
        texts["coffees"] += "".join(f"{name},house,\n" for name in odd)
        import_path(pen, write(texts), dry_run=False)
        before = collect()
        assert [row.coffee for row in before.coffees][2:] == ['Lantern, "late"', *odd[1:]]
        assert tables(read(write_folder(before, tmp_path / "out"), today=TODAY)) == tables(before)


@given(st.floats(1e-6, 1e9) | st.floats(-1e9, -1e-6))
def test_numbers_are_read_back_to_the_last_bit(value):
    from evenhand.records._cells import _NumberStyle

    assert _NumberStyle(commas=False, points=True, comma_is_free=False).read(_cell(value)) == value
    assert io.StringIO(_cell(value)).read().isascii()
