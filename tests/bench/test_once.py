"""A form that is sent twice makes one record, even where both are under way at the same moment."""

import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.test import RequestFactory

from evenhand.bench.once import made_before, make_once
from evenhand.errors import EvenhandError
from evenhand.records._refusals import RecordError
from evenhand.records.models import Table

pytestmark = pytest.mark.django_db


@pytest.fixture
def press():
    """Return a function that gives a request of one log-in, with the session as it is read at that moment."""
    kept = SessionStore()
    kept.create()

    def make(once):
        request = RequestFactory().post("/", {"once": once})
        request.session = SessionStore(kept.session_key)
        assert request.session.get("made_once", {}) is not None  # now it is read
        return request

    return make


@pytest.fixture
def write(pen):
    names = iter(("T91", "T92", "T93"))
    return lambda: pen.make(Table(name=next(names))).pk


def test_a_second_press_that_read_its_session_before_the_first_was_written_finds_it(press, write):
    one, two = press("abc"), press("abc")
    made, is_new = make_once(one, Table, write)
    assert is_new
    assert made_before(two, Table) is None  # as that request knows it
    assert make_once(two, Table, write) == (made, False)
    assert made_before(press("abc"), Table) == made
    assert Table.objects.count() == 1


def test_other_forms_and_forms_without_a_token_make_their_own(press, write):
    numbers = [make_once(press(once), Table, write)[0] for once in ("abc", "", "")]
    assert len(set(numbers)) == 3


def test_what_was_taken_away_may_be_made_again(press, write, pen):
    made, _ = make_once(press("abc"), Table, write)
    pen.remove(Table.objects.get(pk=made))
    assert make_once(press("abc"), Table, write)[1]


def test_what_is_refused_leaves_no_mark(press, write):
    def refuse():
        raise RecordError("No.")

    with pytest.raises(EvenhandError, match="No"):
        make_once(press("abc"), Table, refuse)
    assert make_once(press("abc"), Table, write)[1]
