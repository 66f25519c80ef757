"""Sheets that phones send: each is taken once, under its taster's name, and while the table takes sheets."""

import datetime as dt
import json

import pytest
from django.test import Client
from django.utils import timezone

from evenhand.bench.hub import HUB
from evenhand.bench.table.planning import close_table, reopen_plan
from evenhand.records.audit import Pen
from evenhand.records.models import Entry, Person, Sheet


def first_poured(laid, name="Ida", service=None):
    return next(c for c in laid.order(name) if c in laid.poured() and service in (None, laid.service(c)))


def test_a_sheet_is_stored_as_it_was_sent(client_as, laid, sheet, send):
    code = first_poured(laid)
    answer = send(client_as("Ida"), laid, sheet("Ida", code))
    assert answer.status_code == 201
    assert answer.json() == {"client_id": f"{1:032x}", "is_late": False}
    stored = Sheet.objects.get(client_id=f"{1:032x}")
    assert (stored.cup.code, stored.taster.name, stored.words) == (f"{laid.table.name}-{code}", "Ida", "plum")
    assert dict(stored.scores.values_list("attribute__name", "score")) == {"sweetness": 6.5}
    assert dict(stored.answers.values_list("fault__name", "heard")) == {"smoky": False, "ashy": True}
    assert Entry.objects.get(kind="sheet", record=stored.pk).who == "Ida"


def test_a_sheet_that_is_sent_again_is_stored_once(client_as, laid, sheet, send):
    body = sheet("Ida", first_poured(laid))
    client = client_as("Ida")
    before = Sheet.objects.count()
    assert [send(client, laid, body).status_code for _ in range(3)] == [201, 200, 200]
    assert Sheet.objects.count() == before + 1


def test_other_content_under_the_same_id_is_refused_and_the_first_stays(client_as, laid, sheet, send):
    client = client_as("Ida")
    body = sheet("Ida", first_poured(laid))
    send(client, laid, body)
    answer = send(client, laid, body | {"scores": {"sweetness": 2}})
    assert answer.status_code == 409
    assert answer.json()["standing"] == body["client_id"]
    assert Sheet.objects.get(client_id=body["client_id"]).scores.get().score == 6.5


def test_an_id_of_somebody_else_is_not_told_to_stand_for_oneself(client_as, laid, sheet, send):
    code = first_poured(laid)
    send(client_as("Ida"), laid, sheet("Ida", code))
    answer = send(client_as("Bo"), laid, sheet("Bo", code))
    assert answer.status_code == 409
    assert "standing" not in answer.json()


def test_nobody_sends_under_another_name(client_as, laid, sheet, send):
    before = Sheet.objects.count()
    answer = send(client_as("Bo"), laid, sheet("Ida", first_poured(laid)))
    assert answer.status_code == 403
    assert answer.json()["code"] == "other-person"
    assert "Bo" in answer.json()["sentence"]
    assert Sheet.objects.count() == before


def test_who_does_not_sit_there_is_refused(client_as, laid, sheet, send):
    answer = send(client_as("Ana"), laid, sheet("Ana", first_poured(laid)))
    assert answer.status_code == 404
    assert "Ana does not sit at this table" in answer.json()["sentence"]
    assert client_as("Ana").get(f"/taste/{laid.table.pk}/").status_code == 404
    assert client_as("Ana").get(f"/taste/{laid.table.pk}/cups").status_code == 404


def test_without_a_log_in_a_script_gets_401_and_a_sentence(client, laid, sheet, send):
    answer = send(client, laid, sheet("Ida", first_poured(laid)))
    assert (answer.status_code, answer.json()["code"]) == (401, "log-in")
    assert client.get(f"/taste/{laid.table.pk}/cups").status_code == 401
    assert client.get(f"/taste/{laid.table.pk}/").status_code == 302


def test_a_sheet_without_the_token_is_refused(laid, sheet, send):
    from evenhand.bench.models import Account

    client = Client(enforce_csrf_checks=True)
    client.force_login(Account.objects.get(person__name="Ida"), backend="evenhand.bench.people.accounts.ByName")
    body = sheet("Ida", first_poured(laid))
    assert send(client, laid, body).status_code == 403
    client.get(f"/taste/{laid.table.pk}/")
    token = client.cookies["evenhand_csrf"].value  # what the page's script reads
    assert send(client, laid, body, headers={"X-CSRFToken": token}).status_code == 201


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"scores": {"sweetness": 11}}, "0 to 10"),
        ({"scores": {"sweetness": "6"}}, "scores"),
        ({"scores": {"sweetness": True}}, "scores"),
        ({"scores": {"sweet\x00ness": 6}}, "scores"),
        ({"scores": {"sweetness": 10**400}}, "scores"),
        ({"scores": {"bloom": 4}}, "bloom"),
        ({"scores": [6]}, "scores"),
        ({"faults": {"smoky": 1}}, "faults"),
        ({"faults": {"sooty": True}}, "sooty"),
        ({"words": None}, "words"),
        ({"words": "a\x07b"}, "control character"),
        ({"code": "999x99"}, "999x99"),
        ({"code": 417}, "code"),
        ({"client_id": "short"}, "client_id"),
        ({"tasted_at": "yesterday"}, "finished"),
        ({"tasted_at": "2026-05-04T10:00"}, "zone"),
        ({"supersedes": 4}, "supersedes"),
        ({"batch": "H-02"}, "batch"),
        ({"scores": {}, "faults": {"smoky": False}, "words": " "}, "Nothing is on this sheet"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(client_as, laid, sheet, send, other, said):
    before = Sheet.objects.count()
    answer = send(client_as("Ida"), laid, sheet("Ida", first_poured(laid)) | other)
    assert answer.status_code == 422
    assert said in answer.json()["sentence"]
    assert answer.json()["again"] is False
    assert Sheet.objects.count() == before


def test_what_the_records_refuse_is_told_in_the_language_of_the_phone(client_as, laid, sheet, send, monkeypatch):
    monkeypatch.setattr("evenhand.bench.telling.gettext", lambda text: f"⟦{text}⟧")
    answer = send(client_as("Ida"), laid, sheet("Ida", first_poured(laid)) | {"scores": {"sweetness": 11}})
    said = '⟦score: ⟦"11" is not allowed; sweetness is scored from 0 to 10.⟧⟧'
    assert answer.json()["sentence"] == said


@pytest.mark.parametrize("text", ["", "[]", "{", '"a"', "[" * 100_000, "NaN"])
def test_what_is_no_sheet_at_all_is_refused(client_as, laid, text):
    answer = client_as("Ida").post(laid.address, text, content_type="application/json")
    assert answer.status_code == 422
    assert answer.json()["sentence"]


def test_a_cup_that_is_not_poured_yet_makes_the_sheet_wait(client_as, laid, sheet, send):
    code = next(c for c in laid.order("Ida") if c not in laid.poured())
    answer = send(client_as("Ida"), laid, sheet("Ida", code))
    assert (answer.status_code, answer.json()["again"]) == (409, True)


def test_a_table_that_is_not_open_yet_makes_the_sheet_wait(client_as, laid, sheet, send, pen):
    reopen_plan(pen, laid.table)
    answer = send(client_as("Ida"), laid, sheet("Ida", first_poured(laid)))
    assert (answer.status_code, answer.json()["again"]) == (409, True)


def test_a_correction_takes_the_place_of_the_sheet_that_it_names(client_as, laid, sheet, send):
    client = client_as("Ida")
    code = first_poured(laid)
    send(client, laid, sheet("Ida", code))
    second = send(client, laid, sheet("Ida", code, 2))
    assert second.status_code == 409
    assert second.json()["standing"] == f"{1:032x}"
    third = send(client, laid, sheet("Ida", code, 3, supersedes=f"{1:032x}", scores={"sweetness": 5}))
    assert third.status_code == 201
    cups = client.get(f"/taste/{laid.table.pk}/cups").json()["cups"]
    own = next(cup["sheet"] for cup in cups if cup["code"] == code)
    assert own == {
        "client_id": f"{3:032x}",
        "scores": {"sweetness": 5.0},
        "faults": {"smoky": False, "ashy": True},
        "words": "plum",
    }


class TestAfterTheClosing:
    """The rule is stated in evenhand.bench.taste.taking."""

    @pytest.fixture
    def closed(self, laid, pen):
        close_table(Pen(who="Wim", at=timezone.localtime() - dt.timedelta(hours=1)), laid.table)
        return laid

    def test_a_sheet_that_was_finished_before_is_taken_and_marked_as_late(self, client_as, closed, sheet, send, later):
        body = sheet("Ida", first_poured(closed), tasted_at=later(-75).isoformat())
        answer = send(client_as("Ida"), closed, body)
        assert (answer.status_code, answer.json()["is_late"]) == (201, True)
        stored = Sheet.objects.get(client_id=body["client_id"])
        entry = Entry.objects.get(kind="sheet", record=stored.pk)
        assert entry.who == "late sheet by Ida"
        assert entry.at > closed.table.closed_at > stored.tasted_at
        assert send(client_as("Ida"), closed, body).status_code == 200

    def test_a_sheet_that_was_finished_later_is_refused(self, client_as, closed, sheet, send, later):
        for minutes in (-57, 0):
            body = sheet("Ida", first_poured(closed), tasted_at=later(minutes).isoformat())
            answer = send(client_as("Ida"), closed, body)
            assert (answer.status_code, answer.json()["again"]) == (409, False)
            assert "closed before" in answer.json()["sentence"]

    def test_nobody_corrects_a_sheet_any_more(self, client_as, laid, pen, sheet, send, later):
        client, code = client_as("Ida"), first_poured(laid)
        first = sheet("Ida", code, tasted_at=later(-80).isoformat())
        send(client, laid, first)
        close_table(Pen(who="Wim", at=timezone.localtime() - dt.timedelta(hours=1)), laid.table)
        anew = sheet("Ida", code, 2, supersedes=first["client_id"], tasted_at=later(-75).isoformat())
        answer = send(client, laid, anew)
        assert (answer.status_code, answer.json()["again"]) == (409, False)
        assert "not corrected any more" in answer.json()["sentence"]
        assert list(Sheet.objects.filter(cup__table=laid.table).values_list("client_id", flat=True)) == [
            first["client_id"]
        ]

    @pytest.mark.parametrize("role", ["lead", "owner"])
    def test_who_can_read_the_codes_hands_nothing_in_any_more(self, client_as, closed, pen, sheet, send, later, role):
        pen.change(Person.objects.get(name="Wim"), role=role)
        body = sheet("Wim", first_poured(closed, "Wim"), tasted_at=later(-75).isoformat())
        answer = send(client_as("Wim"), closed, body)
        assert (answer.status_code, answer.json()["again"]) == (409, False)
        assert "can read what its codes were" in answer.json()["sentence"]
        assert not Sheet.objects.filter(cup__table=closed.table).exists()

    @pytest.mark.parametrize(("hours", "status"), [(11.9, 201), (12.1, 409)])
    def test_a_sheet_that_comes_half_a_day_later_is_refused(self, client_as, laid, sheet, send, later, hours, status):
        close_table(Pen(who="Wim", at=timezone.localtime() - dt.timedelta(hours=hours)), laid.table)
        body = sheet("Ida", first_poured(laid), tasted_at=later(-60 * hours - 5).isoformat())
        answer = send(client_as("Ida"), laid, body)
        assert answer.status_code == status
        assert status == 201 or "12 hours ago" in answer.json()["sentence"]

    def test_what_arrived_before_is_still_acknowledged(self, client_as, laid, pen, sheet, send):
        body = sheet("Ida", first_poured(laid))
        client = client_as("Ida")
        send(client, laid, body)
        close_table(Pen(who="Wim", at=timezone.localtime() - dt.timedelta(hours=1)), laid.table)
        assert send(client, laid, body).status_code == 200

    def test_a_cup_that_was_never_poured_is_refused(self, client_as, closed, sheet, send, later):
        code = next(c for c in closed.order("Ida") if c not in closed.poured())
        answer = send(client_as("Ida"), closed, sheet("Ida", code, tasted_at=later(-75).isoformat()))
        assert (answer.status_code, answer.json()["again"]) == (409, False)


def test_a_sheet_from_the_future_is_refused(client_as, laid, sheet, send, later):
    answer = send(client_as("Ida"), laid, sheet("Ida", first_poured(laid), tasted_at=later(30).isoformat()))
    assert answer.status_code == 422


@pytest.mark.django_db(transaction=True)
def test_a_new_sheet_tells_the_pages_that_are_open_and_a_replay_does_not(client_as, laid, sheet, send, monkeypatch):
    told = []
    monkeypatch.setattr(HUB, "publish", told.append)
    client = client_as("Ida")
    body = sheet("Ida", first_poured(laid))
    send(client, laid, body)
    assert sorted(told) == [f"table-{laid.table.pk}", "today"]
    send(client, laid, body)
    assert len(told) == 2


def test_a_taster_sees_the_own_order_and_no_sheet_of_others(client_as, laid, sheet, send):
    code = first_poured(laid)
    send(client_as("Bo"), laid, sheet("Bo", code, 7, words="orange peel of Bo"))
    answer = client_as("Ida").get(f"/taste/{laid.table.pk}/cups")
    told = answer.json()
    assert [cup["code"] for cup in told["cups"]] == laid.order("Ida")
    assert {cup["code"] for cup in told["cups"] if cup["is_poured"]} == laid.poured()
    assert all(cup["sheet"] is None and not cup["is_done"] for cup in told["cups"])
    assert "orange peel of Bo" not in answer.content.decode()
    assert "orange peel of Bo" not in client_as("Ida").get(f"/taste/{laid.table.pk}/").content.decode()


def test_no_answer_before_the_closing_tells_what_a_code_is(client_as, laid, sheet, send):
    client = client_as("Ida")
    code = first_poured(laid)
    unpoured = next(c for c in laid.order("Ida") if c not in laid.poured())
    answers = [
        client.get("/taste/"),
        client.get("/taste/list/"),
        client.get(f"/taste/{laid.table.pk}/"),
        client.get(f"/taste/{laid.table.pk}/?cup=end"),
        client.get(f"/taste/{laid.table.pk}/cups"),
        send(client, laid, sheet("Ida", code)),
        send(client, laid, sheet("Ida", code)),
        send(client, laid, sheet("Ida", code, 2)),
        send(client, laid, sheet("Ida", unpoured, 3)),
        send(client, laid, sheet("Ida", code, 4, supersedes="f" * 32)),
        send(client, laid, sheet("Ida", code, 5, scores={"sweetness": 99}, supersedes=f"{1:032x}")),
        client.post(f"/taste/{laid.table.pk}/?cup={unpoured}", {"client_id": "a" * 32, "words": "plum"}),
        client.get(f"/taste/{laid.table.pk}/?cup={code}"),
    ]
    assert code in answers[2].content.decode()  # these pages do show codes, so the search below means something
    for answer in answers:
        text = answer.content.decode() + json.dumps(dict(answer.headers))
        for secret in laid.secrets():
            assert secret not in text, answer.request["PATH_INFO"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"words": "\ud83d"},  # half of a pair: no text that a database can hold
        {"scores": {"\ud83d": 5}},
        {"faults": {"\ud83d": True}},
        {"supersedes": "\ud83d"},
        {"tasted_at": "0001-01-01T00:00:00+23:00"},  # before the calendar begins, in UTC
    ],
)
def test_what_no_database_can_hold_is_refused_and_not_asked_for_again(client_as, laid, sheet, send, wrong):
    """An answer of 500 would make the phone send the sheet for ever, and hold up those behind it."""
    answer = send(client_as("Ida"), laid, sheet("Ida", first_poured(laid), **wrong))
    assert answer.status_code == 422
    assert answer.json()["sentence"]


@pytest.mark.parametrize("is_poured_again", [True, False])
def test_a_sheet_on_a_cup_that_was_thrown_away_does_not_land_on_the_next_one(
    client_as, laid, sheet, send, is_poured_again
):
    """The network was gone: the lead saw no sheet, took the cup off the table and pulled it again, under its code."""
    from evenhand.bench.pull.recording import record_pull, take_off_table

    code = first_poured(laid)
    slot = laid.plan.slots.select_related("plan__table", "batch", "pull").get(code=code)
    now = timezone.now()
    old = sheet("Ida", code, tasted_at=(now - dt.timedelta(minutes=4)).isoformat())
    take_off_table(Pen(who="Una", at=now - dt.timedelta(minutes=3)), slot.pull)
    if is_poured_again:
        values = {"dose_g": 18.0, "beverage_g": 36.0, "time_s": 29.0}
        record_pull(Pen(who="Una", at=now - dt.timedelta(minutes=2)), slot.batch, values, slot=slot)
    client = client_as("Ida")
    refused = send(client, laid, old)
    assert refused.status_code == 409
    assert refused.json()["again"] is False
    assert "taken off the table" in refused.json()["sentence"]
    assert not Sheet.objects.filter(client_id=old["client_id"]).exists()
    new = sheet("Ida", code, 2, tasted_at=(now - dt.timedelta(minutes=1)).isoformat())
    assert send(client, laid, new).status_code == (201 if is_poured_again else 409)
