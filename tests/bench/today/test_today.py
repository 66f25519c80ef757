"""Today: what waits, why, and in which order."""

import datetime as dt
import json
from dataclasses import replace
from html import escape

import pytest
from django.utils import timezone

from evenhand.bench import judging, telling
from evenhand.bench._judging_text import keep_words, write_notes
from evenhand.bench.models import Judged, JudgingRun, SeasonRead, Seat, Slot, TablePlan
from evenhand.bench.today import waiting
from evenhand.records.models import Batch, Coffee, Person, Table
from evenhand.words import Tongue, join, say, tell

DAY = dt.date(2026, 6, 1)


@pytest.fixture
def judged(shop):
    judging.judge_now()


def labels(rows):
    return [one.batch.label for one in rows]


def test_never_tasted_batches_come_first_by_risk_then_those_to_taste_again_by_worth(judged):
    Judged.objects.filter(batch__label="H-02").update(p_good=0.8)
    Judged.objects.filter(batch__label="F-02").update(p_good=0.6)
    Judged.objects.filter(batch__label="H-01").update(decision="taste_again", net_worth=5.0)
    Judged.objects.filter(batch__label="F-01").update(decision="taste_again", net_worth=9.0)
    rows, more = waiting.to_taste(DAY)
    assert labels(rows) == ["F-02", "H-02", "F-01", "H-01"]
    assert more == 0
    assert rows[0].why == "Never tasted; 13 days since its roast; bad with 40\u00a0% before any sheet."
    assert "saves 9.00 more than it costs" in rows[2].why


def test_before_any_judging_the_shop_s_own_share_of_bad_batches_is_the_risk(shop):
    rows, _ = waiting.to_taste(DAY)
    assert labels(rows) == ["H-02", "F-02"]  # equally risky: the older roast first
    assert all("bad with 10\u00a0%" in one.why for one in rows)


def test_what_is_signed_or_on_a_table_does_not_wait(judged, pen):
    table = pen.make(Table(name="T09"))
    plan = TablePlan.objects.create(table=table, join_code="CDFHJK", planned_by="Una", planned_at=timezone.now())
    Slot.objects.create(plan=plan, number=1, batch=Batch.objects.get(label="H-02"), service="black", code="731")
    assert "H-02" not in labels(waiting.to_taste(DAY)[0])
    (row,) = waiting.tables_under_way()
    assert (row.table.name, row.sheets, row.expected, row.unpoured) == ("T09", 0, 0, 1)
    Seat.objects.create(plan=plan, taster=Person.objects.get(name="Ida"))
    assert waiting.tables_under_way()[0].expected == 1


def test_verdicts_to_sign_are_those_that_are_clear(judged):
    Judged.objects.filter(batch__label="H-01").update(decision="release", p_good=0.9)
    Judged.objects.filter(batch__label="F-01").update(decision="hold", p_good=0.2)
    rows, more = waiting.to_sign()
    assert [one.label for one in rows] == ["F-01", "H-01"]
    assert more == 0
    Judged.objects.filter(batch__label="F-01").update(decision="taste_again")
    assert [one.label for one in waiting.to_sign()[0]] == ["H-01"]


def test_the_season_is_named_where_somebody_should_look(shop):
    for name, state, action in (("Hollow Lantern", "alert", "carry on"), ("Grey Ferry", "steady", "taste sooner")):
        told = {
            "alerts": ["Acidity, black"] if state == "alert" else [],
            "lots": [{"lot": "Vantry 2", "current": True, "action": action, "says": "By August."}],
        }
        SeasonRead.objects.create(
            coffee=Coffee.objects.get(name=name), seen=1, read_at=timezone.now(), state=state, text=json.dumps(told)
        )
    first, second = waiting.season_needs()
    assert (first.name, first.says) == ("Hollow Lantern", ("Look at: Acidity, black.",))
    assert (second.name, second.says) == ("Grey Ferry", ("Green lot Vantry 2: taste sooner.",))


def test_the_page_links_into_a_plan_with_the_batches_chosen(client_as, judged):
    answer = client_as("Wim").get("/")
    text = answer.content.decode()
    assert answer.status_code == 200
    assert 'action="/tables/plan/"' in text
    assert f'name="batch" value="{Batch.objects.get(label="H-02").pk}" checked' in text
    assert client_as("Wim").get("/today/part/").status_code == 200


def test_a_taster_is_led_to_the_cups(client_as, shop):
    answer = client_as("Ida").get("/")
    assert (answer.status_code, answer["Location"]) == (302, "/taste/")
    assert client_as("Ida").get("/today/part/").status_code == 403


def test_an_empty_shop_says_what_to_do(db, pen, hashed):
    from django.test import Client

    from evenhand.bench.models import Account

    person = pen.make(Person(name="Una", role="owner"))
    account = Account.objects.create(person=person, password=hashed.password)
    client = Client()
    client.force_login(account, backend="evenhand.bench.people.accounts.ByName")
    assert "No coffee is written down yet." in client.get("/").content.decode()
    for page, words in (
        ("/verdicts/", "No verdict waits"),
        ("/coffees/", "No coffee is written down yet."),
        ("/coffees/season/", "No season yet."),
        ("/coffees/lots/", "No green lot is written down yet."),
    ):
        answer = client.get(page)
        assert answer.status_code == 200
        assert words in answer.content.decode()


def test_the_plan_of_the_week_shows_each_row_with_its_worth(client_as, shop):
    judging.judge_now()
    judging.read_season_now()
    answer = client_as("Wim").get("/today/week/")
    plan = waiting.notes_at_hand().plan
    assert answer.status_code == 200
    text = answer.content.decode()
    assert plan.says in text
    assert text.count("price ") >= len(plan.planned) + len(plan.left_out) > 0
    assert plan.says in client_as("Wim").get("/").content.decode()
    assert client_as("Ida").get("/today/week/").status_code == 403


def test_the_plan_of_the_week_leaves_out_what_somebody_tastes_now(client_as, shop, pen):
    judging.judge_now()
    judging.read_season_now()
    label = "H-01"
    list_in_plan(label)
    table = pen.make(Table(name="T09", state="open", opened_at=timezone.now()))
    plan = TablePlan.objects.create(table=table, join_code="CDFHJK", planned_by="Una", planned_at=timezone.now())
    Slot.objects.create(plan=plan, number=1, batch=Batch.objects.get(label=label), service="black", code="731")
    Seat.objects.create(plan=plan, taster=Person.objects.get(name="Wim"))
    for name, is_told in (("Wim", False), ("Una", True)):
        assert (label in client_as(name).get("/today/week/").content.decode()) == is_told


def list_in_plan(label):
    """Put a batch into the plan that is kept, named as `plan_week` names it."""
    notes = waiting.notes_at_hand()
    row = replace(
        (*notes.plan.planned, *notes.plan.left_out)[0],
        kind="batch",
        batch=label,
        name=join((label, "Hollow Lantern")),
        why=say("It is in doubt."),
    )
    plan = replace(notes.plan, planned=(row,), left_out=())
    JudgingRun.objects.update(text=write_notes(replace(notes, plan=plan)))


def test_a_batch_in_the_plan_of_the_week_leads_to_its_verdict_and_onto_a_table(client_as, shop):
    judging.judge_now()
    judging.read_season_now()
    list_in_plan("H-01")
    number = Batch.objects.get(label="H-01").pk
    text = client_as("Wim").get("/today/week/").content.decode()
    assert f'<a href="/verdicts/{number}/"><b>H-01, Hollow Lantern</b>' in text
    assert f'<input type="hidden" name="batch" value="{number}">' in text


def test_a_plan_that_was_kept_without_the_labels_of_its_batches_is_not_shown(client_as, shop):
    """Nobody could tell whether it names a batch that somebody tastes just now."""
    judging.judge_now()
    judging.read_season_now()
    notes = json.loads(JudgingRun.objects.get().text)
    for row in (*notes["plan"]["planned"], *notes["plan"]["left_out"]):
        del row["batch"]
    JudgingRun.objects.update(text=json.dumps(notes))
    assert "No plan yet." in client_as("Wim").get("/today/week/").content.decode()


def test_the_plan_of_the_week_is_told_in_the_language_of_the_page(client_as, shop, monkeypatch):
    judging.judge_now()
    judging.read_season_now()
    list_in_plan("H-01")
    plan = waiting.notes_at_hand().plan
    tongue = Tongue(one=lambda text: f"[{text}]", many=lambda one, many, count: f"[{many}]")
    monkeypatch.setattr(telling, "tongue", lambda: tongue)
    text = client_as("Wim").get("/today/week/").content.decode()
    assert "[It is in doubt.]" in text
    for said in (plan.says, *plan.assumptions):
        assert escape(tell(said, tongue)) in text
    assert escape(tell(plan.says, tongue)) in client_as("Wim").get("/").content.decode()


def test_the_season_s_needs_are_told_in_the_language_of_the_page(client_as, shop, monkeypatch):
    told = {
        "line": say("{count} batches", count=4),
        "alerts": [say("Roast time"), say("{attribute}, black", attribute="Acidity")],
        "sentences": [say("Both rose.")],
        "off_target": [say("Too sour.")],
        "gaps": say("No chart yet."),
        "across": [say("All rose.")],
        "lots": [{"lot": "Vantry 2", "current": True, "action": "taste sooner", "says": say("By August.")}],
    }
    coffee = Coffee.objects.get(name="Grey Ferry")
    text = json.dumps(keep_words(told))
    SeasonRead.objects.create(coffee=coffee, seen=1, read_at=timezone.now(), state="alert", text=text, html="")
    marks = Tongue(one=lambda text: f"[{text}]", many=lambda one, many, count: f"[{many}]")
    monkeypatch.setattr(telling, "tongue", lambda: marks)
    (needs,) = waiting.season_needs()
    assert needs.says[0] == "Look at: [Roast time]; [Acidity, black]."
    said = ["[4 batches]", "[Roast time]; [Acidity, black]", "[Both rose.]", "[Too sour.]", "[No chart yet.]"]
    one, every = (client_as("Wim").get(at).content.decode() for at in (f"/coffees/{coffee.pk}/", "/coffees/season/"))
    assert [words for words in said if words not in one] == []
    assert [words for words in (*said, "[All rose.]", "[By August.]") if words not in every] == []
