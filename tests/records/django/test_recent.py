"""A window of the records holds the batches roasted last, whole, and costs no more queries in a larger database."""

import datetime as dt

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from evenhand.records._refusals import RecordError
from evenhand.records.coffees import revise_coffee, revise_recipe
from evenhand.records.exporting import collect, collect_recent
from evenhand.records.importing import import_path
from evenhand.records.judging import arrange
from evenhand.records.models import Batch, Cup, Person
from evenhand.records.sheets import take_sheet

TODAY = dt.date(2026, 6, 1)

pytestmark = pytest.mark.django_db


@pytest.fixture
def lots(db, pen, write, green):
    import_path(pen, write(green), dry_run=False)


def more_batches(pen, number):
    """Write further batches of the older coffee, each a day older than the last."""
    version = Batch.objects.get(label="H-01").version
    oldest = dt.date(2026, 4, 30)
    new = [Batch(label=f"A{n}", version=version, roasted_on=oldest - dt.timedelta(days=n)) for n in range(number)]
    return pen.make_many([(batch, {}) for batch in new])


def test_a_window_that_holds_everything_is_everything(lots):
    assert collect_recent(2) == collect_recent(99) == collect()


def test_the_batch_roasted_last_comes_with_what_was_done_with_it_and_no_more(lots):
    every, window = collect(), collect_recent(1)
    assert window.batches == every.batches[1:]
    assert window.pulls == every.pulls[2:]
    assert window.cups == every.cups[2:]
    assert window.sheets == every.sheets[3:]
    assert window.faults == ()
    assert [row.coffee for row in window.coffees] == ["Grey Ferry"]
    assert {row.coffee for row in window.targets} == {"Grey Ferry"}
    assert [row.recipe for row in window.recipes] == ["house"]
    assert [row.green_lot for row in window.green_lots] == ["Osk 7"]
    assert [row.green_lot for row in window.green_readings] == ["Osk 7"]
    assert window.green_storage == ()
    assert (window.attributes, window.costs, window.title) == (every.attributes, every.costs, every.title)


def test_of_one_day_the_batches_written_down_last_are_taken(lots, pen):
    version = Batch.objects.get(label="H-02").version
    day = dt.date(2026, 5, 20)
    pen.make_many([(Batch(label=name, version=version, roasted_on=day), {}) for name in ("X1", "X3", "X2")])
    assert [row.batch for row in collect_recent(2).batches] == ["X3", "X2"]


def test_batches_named_by_number_come_besides(lots, pen):
    old = more_batches(pen, 3)
    window = collect_recent(1, also=[old[2].pk, old[2].pk, 10**6])
    assert [row.batch for row in window.batches] == ["H-02", "A2"]
    assert collect_recent(0, also=[old[0].pk]).batches[0].batch == "A0"
    assert collect_recent(0).batches == ()


def test_the_number_of_queries_does_not_grow(lots, pen):
    with CaptureQueriesContext(connection) as few:
        collect_recent(10)
    more_batches(pen, 200)
    for n in range(5):
        revise_coffee(pen, f"Coffee {n}", recipe="house", targets={("black", "sweetness"): (5, 1)})
    with CaptureQueriesContext(connection) as many:
        assert len(collect_recent(150).batches) == 150
    assert len(many) == len(few) <= 20


def test_of_a_corrected_sheet_the_standing_one_is_given(lots, pen):
    cup, wim = Cup.objects.get(code="303"), Person.objects.get(name="Wim")
    take_sheet(
        pen,
        client_id="k2",
        cup=cup,
        taster=wim,
        scores={"sweetness": 7.5},
        faults={},
        supersedes=cup.sheets.get().client_id,
    )
    assert [row.score for row in collect_recent(1).sheets] == [7.5]


def test_a_batch_under_an_older_version_is_pointed_out_only_where_it_is_in_the_window(lots, pen):
    revise_recipe(pen, "house", dose_g=18.5)
    (warning,) = collect_recent(1).warnings
    assert 'coffee "Grey Ferry" is given in version 2, but written down under another: H-02.' in warning
    assert len(collect_recent(2).warnings) == 2


def test_it_can_be_arranged_and_holds_the_scores_of_its_batches(lots):
    tastings = arrange(collect_recent(1), judged_on=TODAY)
    assert list(tastings.recipes) == ["Grey Ferry"]
    np.testing.assert_array_equal(tastings.scores.score, [5.5])
    assert list(tastings.scores.batch) == ["H-02"]


def test_refusals(db, shop):
    with pytest.raises(RecordError, match="window of -1 batches"):
        collect_recent(-1)
