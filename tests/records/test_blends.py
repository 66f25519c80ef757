"""A batch of several green lots keeps its lots and their masses through folder, workbook and records, and back."""
# ruff: noqa: E501 - a table of sentences reads best with one sentence a line

import dataclasses
import datetime as dt
import os

import numpy as np
import openpyxl
import pytest

from evenhand.errors import FolderError
from evenhand.records.folder import read
from evenhand.records.judging import arrange
from evenhand.records.rows import BatchLot

TODAY = dt.date(2026, 6, 1)

LOTS = "batch,green_lot,green_kg\nH-02,Osk 7,2.5\nH-02,Third 1,\nH-01,Vantry 2,6\n"
"""H-02 is a blend, half weighed, with a lot that nothing else names; H-01 is of one lot, weighed."""


@pytest.fixture
def blend(green) -> dict[str, str]:
    """Return the texts of a folder of two batches: one of two lots, and one of a lot whose mass is known."""
    batches = green["batches"].replace("2026-05-05,,,Osk 7", "2026-05-05,4,,").replace("6,5.1,", "6,5.1,Vantry 2")
    return green | {"batches": batches, "batch_lots": LOTS}


@pytest.fixture
def read_blend(read_told, blend):
    """Return a function that reads the folder with the blend, some files replaced; see `read_told`."""
    return lambda **changed: read_told({**blend, **changed})


@pytest.fixture
def pen(settings, tmp_path_factory):
    """Return a pen that seals with a key of this test alone."""
    from evenhand.records.audit import Pen

    settings.EVENHAND_KEY_FILE = os.fspath(tmp_path_factory.mktemp("keys") / "history.key")
    return Pen(who="Una", at=dt.datetime(2026, 6, 1, 9, 30, tzinfo=dt.UTC))


@pytest.fixture
def bring(db, pen, write):
    """Return a function that imports a folder of these texts, and gives its report."""
    from evenhand.records.importing import import_path

    return lambda texts, *, dry_run=False: import_path(pen, write(texts), dry_run=dry_run)


def lots_held() -> set[tuple[str, str, float | None]]:
    from evenhand.records.models import BatchLot as Held

    return set(Held.objects.values_list("batch__label", "lot__name", "green_kg"))


def head() -> tuple[int, str]:
    from evenhand.records.audit import head

    return head()


def listing(*lines: str) -> str:
    return "\n".join(("batch,green_lot,green_kg", *lines, ""))


class TestReading:
    def test_the_file_becomes_rows(self, read_blend):
        folder = read_blend()
        assert folder.warnings == ()
        assert folder.batch_lots == (
            BatchLot(batch="H-02", green_lot="Osk 7", green_kg=2.5),
            BatchLot(batch="H-02", green_lot="Third 1"),
            BatchLot(batch="H-01", green_lot="Vantry 2", green_kg=6),
        )
        assert [row.green_lot for row in folder.batches] == ["Vantry 2", None]

    def test_without_it_a_folder_reads_as_before(self, write, green):
        assert read(write(green), today=TODAY).batch_lots == ()

    def test_it_needs_no_list_of_lots(self, write, good):
        folder = read(write(good | {"batch_lots": LOTS}), today=TODAY)
        assert (folder.green_lots, len(folder.batch_lots)) == ((), 3)

    @pytest.mark.parametrize(
        ("stem", "old", "new", "sentence"),
        [
            ("batch_lots", "H-02,Third 1", "h-02,Third 1", 'batch_lots.csv, row 3, batch: "h-02" is not listed in batches.csv; did you mean "H-02"?'),
            ("batch_lots", "Third 1", "Osk 7", 'batch_lots.csv, row 3: batch "H-02", green_lot "Osk 7" stands in row 2 already; each lot in a batch is listed once.'),
            ("batch_lots", "H-02,Third 1", ",Third 1", "batch_lots.csv, row 3, batch: the cell is empty; every lot in a batch names its batch."),
            ("batch_lots", "Third 1", "", "batch_lots.csv, row 3, green_lot: the cell is empty; every lot in a batch names its green lot."),
            ("batch_lots", "2.5", "0", 'batch_lots.csv, row 2, green_kg: "0" is not allowed; a mass is more than 0 kg.'),
            ("batch_lots", "2.5", "-2.5", 'batch_lots.csv, row 2, green_kg: "-2.5" is not allowed; a mass is more than 0 kg.'),
            ("batch_lots", "2.5", "2.5 kg", 'batch_lots.csv, row 2, green_kg: "2.5 kg" is not a number; write the number alone, the unit is in the column\'s name.'),
            ("batch_lots", "green_lot", "lot", "batch_lots.csv, row 1: the column green_lot is missing."),
            ("batches", "4,,", "4,,Osk 7", 'batches.csv, row 3, green_lot: "Osk 7" is not allowed; batch_lots.csv names "Third 1" for this batch: leave the cell empty, or mend batch_lots.csv.'),
            ("batches", "4,,", "4,,Vantry 2", 'batches.csv, row 3, green_lot: "Vantry 2" is not allowed; batch_lots.csv names "Osk 7" for this batch: leave the cell empty, or mend batch_lots.csv.'),
            ("batches", "5.1,Vantry 2", "5.1,Osk 7", 'batches.csv, row 2, green_lot: "Osk 7" is not allowed; batch_lots.csv names "Vantry 2" for this batch: leave the cell empty, or mend batch_lots.csv.'),
            ("green_lots", "Osk 7,,,,,,,,,", "Osk 7,,,,,,,,2026-05-06,", 'batch_lots.csv, row 2, green_lot: "Osk 7" is not allowed; the batch was roasted on 2026-05-05, before that lot was harvested, on 2026-05-06.'),
            ("batches", "H-01,Hollow Lantern,2026-05-04", "H-01,Hollow Lantern,2025-05-04", 'batches.csv, row 2, green_lot: "Vantry 2" is not allowed; the batch was roasted on 2025-05-04, before that lot was harvested, on 2025-12-15.'),
        ],
    )  # fmt: skip
    def test_what_is_wrong_is_told(self, read_blend, blend, stem, old, new, sentence):
        assert old in blend[stem]
        with pytest.raises(FolderError) as caught:
            read_blend(**{stem: blend[stem].replace(old, new, 1)})
        assert caught.value.problems == (sentence,)

    def test_a_workbook_names_its_sheets(self, write, blend, tmp_path):
        book = openpyxl.Workbook()
        book.remove(book.active)
        for stem, text in blend.items():
            sheet = book.create_sheet(stem)
            for line in text.replace('"oven, 105 C, 16 h"', "oven").replace("05,4,,", "05,4,,Osk 7").splitlines():
                sheet.append(line.split(","))
        book.save(tmp_path / "spring.xlsx")
        with pytest.raises(FolderError) as caught:
            read(tmp_path / "spring.xlsx", today=TODAY)
        assert caught.value.problems == (
            'spring.xlsx, sheet batches, row 3, green_lot: "Osk 7" is not allowed; spring.xlsx, sheet batch_lots names '
            '"Third 1" for this batch: leave the cell empty, or mend spring.xlsx, sheet batch_lots.',
        )

    def test_lots_on_the_day_of_the_roast_are_no_problem(self, read_blend, blend):
        lots = blend["green_lots"].replace("Osk 7,,,,,,,,,", "Osk 7,,,,,,,,2026-05-05,")
        assert read_blend(green_lots=lots).green_lots[1].harvested_on == dt.date(2026, 5, 5)

    def test_lots_that_weigh_more_than_the_batch_are_pointed_out(self, read_blend, blend):
        heavy = listing("H-02,Osk 7,2.5", "H-02,Third 1,1.6", "H-01,Vantry 2,6")
        assert read_blend(batch_lots=heavy).warnings == (
            "batch_lots.csv: the lots of 1 batch weigh more together than its green_in_kg in batches.csv: "
            '"H-02" with 4.1 kg of lots and 4 kg of green in.',
        )
        assert read_blend(batch_lots=heavy.replace("Vantry 2,6", "Vantry 2,6.1")).warnings == (
            "batch_lots.csv: the lots of 2 batches weigh more together than their green_in_kg in batches.csv; the first "
            'is "H-01", with 6.1 kg of lots and 6 kg of green in.',
        )

    @pytest.mark.parametrize("masses", [("2.5", "1.51"), ("2.5", "1"), ("4", ""), ("", "")])
    def test_a_rounding_less_or_a_lot_unweighed_is_not(self, read_blend, masses):
        rows = listing(f"H-02,Osk 7,{masses[0]}", f"H-02,Third 1,{masses[1]}")
        assert read_blend(batch_lots=rows).warnings == ()

    def test_lots_that_differ_only_in_capitals_are_pointed_out(self, read_blend):
        assert read_blend(batch_lots=LOTS.replace("Osk 7", "osk-7")).warnings == (
            'batches.csv: "Osk 7" and "osk-7" are read as 2 different green lots.',
        )

    def test_a_coffee_whose_lot_is_younger_tells_nothing_of_a_batch_that_names_its_own(self, read_blend, blend):
        """H-01 is of a coffee whose lot was picked after the roast: without its row here a warning says so."""
        lots = blend["green_lots"].replace("2025-12-15,2026-04-02", "2026-05-10,2026-05-20")
        batches = blend["batches"].replace("5.1,Vantry 2", "5.1,")
        own = LOTS.replace("H-01,Vantry 2", "H-01,Osk 7")
        assert read_blend(green_lots=lots, batches=batches, batch_lots=own).warnings == ()
        (warning,) = read_blend(green_lots=lots, batches=batches, batch_lots=listing("H-02,Osk 7,")).warnings
        assert "1 batch was roasted before green lot" in warning


class TestThereAndBack:
    @pytest.fixture
    def collected(self, bring, blend):
        from evenhand.records.exporting import collect

        self.report = bring(blend)
        return collect()

    def test_as_files(self, collected, write, blend, tmp_path):
        from evenhand.records.exporting import write_folder

        folder = read(write(blend), today=TODAY)
        assert collected == folder
        place = write_folder(collected, tmp_path / "out" / "spring")
        assert (place / "batch_lots.csv").read_text() == LOTS
        assert read(place, today=TODAY) == folder

    def test_as_a_workbook(self, collected, write, blend, tmp_path):
        from evenhand.records.exporting import write_workbook

        place = write_workbook(collected, tmp_path / "out.xlsx")
        told = dataclasses.replace(read(place, today=TODAY), title="spring")
        assert told == read(write(blend), today=TODAY)

    def test_into_other_records(self, collected, pen, tmp_path):
        """What was exported is imported where nothing is yet, and comes out the same."""
        from evenhand.records.exporting import collect, write_folder
        from evenhand.records.importing import import_path
        from evenhand.records.models import BatchLot as Held

        held, place = lots_held(), write_folder(collected, tmp_path / "out" / "spring")
        for row in Held.objects.all():
            pen.remove(row)
        assert collect().batch_lots == ()
        import_path(pen, place, dry_run=False)
        assert (collect(), lots_held()) == (collected, held)

    def test_the_report_counts_them(self, bring, blend, all_told):
        dry = bring(blend, dry_run=True)
        assert lots_held() == set()
        assert "batch_lots: 3 new, 0 changed, 0 as they were." in dry.lines()
        all_told(dry.lines(), ())
        assert bring(blend) == dataclasses.replace(dry, is_dry=False)
        assert lots_held() == {("H-02", "Osk 7", 2.5), ("H-02", "Third 1", None), ("H-01", "Vantry 2", 6)}

    def test_again_changes_nothing(self, collected, bring, blend):
        end = head()
        report = bring(blend)
        assert head() == end
        assert all(count.new == count.changed == 0 for count in report.counts.values())
        assert report.counts["batch_lots"].same == 3

    def test_only_what_the_column_cannot_tell_is_written(self, bring, green, tmp_path):
        """One lot of unknown mass stands in the column alone, also where the folder listed it."""
        from evenhand.records.exporting import collect, write_folder

        bring(green | {"batch_lots": listing("H-01,Osk 7,")})
        folder = collect()
        assert [row.green_lot for row in folder.batches] == ["Osk 7", "Osk 7"]
        assert folder.batch_lots == ()
        assert not (write_folder(folder, tmp_path / "out") / "batch_lots.csv").exists()

    def test_a_folder_without_the_file_is_reported_without_it(self, bring, green):
        assert "batch_lots" not in bring(green).counts

    def test_a_window_gives_the_lots_of_its_batches(self, collected):
        from evenhand.records.exporting import collect_recent

        assert collect_recent(99) == collected
        window = collect_recent(1)
        assert window.batch_lots == collected.batch_lots[:2]
        assert [row.green_lot for row in window.green_lots] == ["Osk 7"]

    def test_the_history_is_whole(self, collected):
        from evenhand.records.chain import verify_chain

        assert verify_chain().broken is None


class TestImport:
    def test_a_mass_is_corrected_and_an_empty_cell_wipes_nothing(self, bring, blend):
        bring(blend)
        again = listing("H-02,Osk 7,2.4", "H-02,Third 1,", "H-01,Vantry 2,")
        report = bring(blend | {"batch_lots": again})
        assert "batch_lots: 0 new, 1 changed, 2 as they were." in report.lines()
        assert lots_held() == {("H-02", "Osk 7", 2.4), ("H-02", "Third 1", None), ("H-01", "Vantry 2", 6)}

    @pytest.mark.parametrize(
        ("rows", "named"),
        [
            (("H-02,Osk 7,", "H-02,Vantry 2,"), '"Osk 7" and "Vantry 2"'),
            (("H-02,Osk 7,", "H-02,Third 1,", "H-02,Vantry 2,"), '"Osk 7" and "Third 1" and "Vantry 2"'),
            (("H-02,Vantry 2,",), '"Vantry 2"'),
        ],
    )
    def test_a_blend_takes_no_other_lots(self, bring, blend, rows, named, all_told):
        bring(blend)
        end, held = head(), lots_held()
        with pytest.raises(FolderError) as caught:
            bring(blend | {"batch_lots": listing(*rows)})
        (problem,) = caught.value.problems
        assert problem == (
            f'batch_lots: "H-02" is of "Osk 7" and "Third 1" in the records; a folder cannot change a blend into {named}, '
            "so list the lots of the records, or leave the rows of this batch out."
        )
        all_told([problem], blend.values())
        assert (head(), lots_held()) == (end, held)

    @pytest.mark.parametrize("rows", [("H-02,Third 1,", "H-02,Osk 7,2.5"), ("H-02,Third 1,",), ()])
    def test_its_own_lots_in_any_order_or_left_out_change_nothing(self, bring, blend, rows):
        bring(blend)
        end = head()
        bring(blend | {"batch_lots": listing(*rows)})
        assert head() == end

    def test_a_column_names_no_other_lot_than_the_blend_has(self, bring, blend):
        bring(blend)
        end = head()
        with pytest.raises(
            FolderError,
            match=r'^batches: "H-02" is of "Osk 7" and "Third 1" in the records; .* leave its green_lot empty\.$',
        ):
            bring(blend | {"batches": blend["batches"].replace("4,,", "4,,Vantry 2"), "batch_lots": listing()})
        assert head() == end

    @pytest.mark.parametrize(
        ("rows", "held", "line"),
        [
            (("H-02,Osk 7,4", "H-02,Third 1,"), {("Osk 7", 4.0), ("Third 1", None)}, "batch_lots: 1 new, 1 changed, 0 as they were."),
            (("H-02,Osk 7,",), {("Osk 7", 3.5)}, "batch_lots: 0 new, 0 changed, 1 as they were."),
            (("H-02,Third 1,",), {("Third 1", 3.5)}, "batch_lots: 0 new, 1 changed, 0 as they were."),
            (("H-02,Third 1,2",), {("Third 1", 2.0)}, "batch_lots: 0 new, 1 changed, 0 as they were."),
            (("H-02,Third 1,", "H-02,Vantry 2,1"), {("Third 1", None), ("Vantry 2", 1.0)}, "batch_lots: 1 new, 1 changed, 0 as they were."),
        ],
    )  # fmt: skip
    def test_a_single_lot_gives_way_to_what_the_folder_names(self, bring, blend, rows, held, line):
        bring(blend | {"batch_lots": listing("H-02,Osk 7,3.5")})
        report = bring(blend | {"batch_lots": listing(*rows)})
        assert line in report.lines()
        assert {(lot, kg) for batch, lot, kg in lots_held() if batch == "H-02"} == held

    def test_a_batch_whose_own_column_changes_is_counted_as_changed(self, bring, blend):
        bring(blend)
        batches = blend["batches"].replace("5.1,Vantry 2", "5.1,Osk 7")
        report = bring(blend | {"batches": batches, "batch_lots": LOTS.replace("H-01,Vantry 2", "H-01,Osk 7")})
        assert "batches: 0 new, 1 changed, 1 as they were." in report.lines()
        assert "batch_lots: 0 new, 1 changed, 2 as they were." in report.lines()
        assert ("H-01", "Osk 7", 6) in lots_held()


class TestJudging:
    @pytest.mark.parametrize(
        ("listed", "lots"),
        [
            (LOTS, ["Vantry 2", None]),
            (listing("H-02,Osk 7,2", "H-01,Vantry 2,2"), ["Vantry 2", "Osk 7"]),
            (listing("H-02,Third 1,"), ["Vantry 2", "Third 1"]),
            (listing("H-01,Vantry 2,", "H-02,Third 1,", "H-02,Vantry 2,1"), ["Vantry 2", None]),
        ],
    )
    def test_a_folder_is_judged_as_its_records_are(self, bring, write, blend, listed, lots):
        """Everything that a judgement and a season are made from is the same, straight or by way of the records."""
        from evenhand.records.exporting import collect

        texts = blend | {"batch_lots": listed}
        straight = arrange(read(write(texts), today=TODAY), judged_on=TODAY)
        bring(texts)
        kept = arrange(collect(), judged_on=TODAY)
        assert [batch.green_lot for batch in straight.batches] == lots
        for field in dataclasses.fields(straight):
            one, other = getattr(straight, field.name), getattr(kept, field.name)
            if field.name in ("scores", "reports"):
                for column in dataclasses.fields(one):
                    np.testing.assert_array_equal(getattr(one, column.name), getattr(other, column.name))
            else:
                assert one == other, field.name

    def test_a_lot_listed_alone_wins_over_the_one_of_the_coffee(self, read_blend, blend):
        batches = blend["batches"].replace("5.1,Vantry 2", "5.1,")
        of_coffee = arrange(read_blend(batches=batches, batch_lots=listing()), judged_on=TODAY)
        assert of_coffee.batches[0].green_lot == "Vantry 2"
        own = arrange(read_blend(batches=batches, batch_lots=listing("H-01,Osk 7,")), judged_on=TODAY)
        assert own.batches[0].green_lot == "Osk 7"
        blended = arrange(
            read_blend(batches=batches, batch_lots=listing("H-01,Osk 7,", "H-01,Third 1,")), judged_on=TODAY
        )
        assert blended.batches[0].green_lot is None
