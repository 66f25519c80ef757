"""A sheet is stored once for each client id; a correction names what it takes the place of."""

import datetime as dt

import pytest

from evenhand.records._refusals import RecordError
from evenhand.records.audit import head
from evenhand.records.chain import verify_chain
from evenhand.records.models import Cup, Person, Sheet
from evenhand.records.sheets import standing_sheets, take_sheet

pytestmark = pytest.mark.django_db


@pytest.fixture
def sheet(shop, pen):
    """Return a function that sends a sheet of Wim on cup 202, who has none there yet."""
    usual = {
        "client_id": "k1",
        "cup": Cup.objects.get(code="202"),
        "taster": Person.objects.get(name="Wim"),
        "scores": {"sweetness": 6.5, "bitterness": 3},
        "faults": {"smoky": False},
        "words": "plum,\nthen cocoa",
        "tasted_at": dt.datetime(2026, 5, 11, 9, 40, tzinfo=dt.UTC),
    }
    return lambda **changed: take_sheet(pen, **(usual | changed))


def test_a_replay_gets_the_first_answer_and_stores_nothing(sheet):
    first = sheet()
    end = head()
    again = sheet()
    assert (first.is_new, again.is_new, again.is_same) == (True, False, True)
    assert again.sheet == first.sheet
    assert head() == end


def test_a_replay_with_other_content_keeps_the_first_and_says_so(sheet):
    first = sheet()
    again = sheet(scores={"sweetness": 9})
    assert (again.sheet, again.is_new, again.is_same) == (first.sheet, False, False)
    assert dict(first.sheet.scores.values_list("attribute__name", "score")) == {"sweetness": 6.5, "bitterness": 3}


def test_a_correction_takes_the_place_of_the_sheet_it_names(sheet):
    first = sheet().sheet
    second = sheet(client_id="k2", supersedes="k1", scores={"sweetness": 7}).sheet
    third = sheet(client_id="k3", supersedes="k2", faults={"smoky": True}).sheet
    assert list(standing_sheets().filter(cup=first.cup, taster=first.taster)) == [third]
    assert [first.superseded_by, second.superseded_by] == [second, third]
    assert sheet(client_id="k2", supersedes="k1", scores={"sweetness": 7}).sheet == second, "a late replay is still one"
    assert verify_chain().broken is None


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"client_id": "k2"}, "Wim has a sheet on cup 202 already"),
        ({"client_id": "k2", "supersedes": "k0"}, "is not the one by Wim that stands on cup 202"),
        ({"client_id": "", "supersedes": "k1"}, "sheet, client_id"),
        ({"client_id": "k2", "supersedes": "k1", "scores": {"sweetness": 11}}, "sweetness is scored from 0 to 10"),
        ({"client_id": "k2", "supersedes": "k1", "scores": {"charm": 1}}, 'no attribute "charm"'),
        ({"client_id": "k2", "supersedes": "k1", "faults": {"bored": True}}, 'no fault "bored"'),
        ({"client_id": "k2", "supersedes": "k1", "words": "\x07"}, "control character"),
        ({"client_id": "k2", "supersedes": "k1", "words": "x" * 10_001}, "longer than 10,000"),
        ({"client_id": "k2", "supersedes": "k1", "scores": {}, "faults": {}, "words": ""}, "The sheet is empty"),
        ({"client_id": "k2", "supersedes": "k1", "scores": {"sweetness": float("nan")}}, "is not allowed"),
    ],
)
def test_what_is_refused_leaves_nothing(sheet, told_with, changed, sentence):
    sheet()
    end = head()
    with pytest.raises(RecordError, match=sentence) as refused:
        sheet(**changed)
    told_with(refused.value.args[0], "Wim charm bored sweetness nan")
    assert (head(), Sheet.objects.filter(cup__code="202", taster__name="Wim").count()) == (end, 1)


def test_the_database_stores_a_client_id_once_whatever_the_program_does(sheet):
    from django.db import IntegrityError, models, transaction

    first = sheet().sheet
    for twin in (
        Sheet(client_id="k1", cup=Cup.objects.get(code="303"), taster=first.taster),
        Sheet(client_id="k9", cup=first.cup, taster=first.taster),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            models.QuerySet(Sheet).bulk_create([twin])
