"""The pages of a table, from planning to what its codes were."""

import re

import numpy as np
import pytest
from django.urls import reverse
from pypdf import PdfReader

from evenhand.bench.hub import HUB
from evenhand.bench.models import TablePlan
from evenhand.bench.pull.recording import record_pull
from evenhand.bench.table import planning
from evenhand.records.audit import Pen
from evenhand.records.models import Batch, Cup, Person, Table, Verdict

pytestmark = pytest.mark.django_db


def _pks(model, field: str, *names: str) -> list[int]:
    return [model.objects.get(**{field: name}).pk for name in names]


def _typed(**changed):
    asked = {
        "batches": _pks(Batch, "label", "H-02", "F-02"),
        "tasters": _pks(Person, "name", "Wim", "Ida"),
        "black": "2",
        "milk": "1",
        "bowl": "",
        "note": "the new drum",
        "do": "plan",
    }
    return {**asked, **changed}


def test_tasters_are_not_let_in(client_as, plan):
    client = client_as("Ida")
    for name, keys in (
        ("tables", []), ("plan", []), ("table", [plan.table.pk]), ("watch", [plan.table.pk]),
        ("labels", [plan.table.pk]), ("close", [plan.table.pk]), ("replan", [plan.table.pk]),
    ):  # fmt: skip
        assert client.get(reverse(f"table:{name}", args=keys)).status_code == 403
    assert client.post(reverse("table:open", args=[plan.table.pk])).status_code == 403
    assert Table.objects.get(pk=plan.table.pk).state == "planned"


def test_the_list_tells_each_table_by_its_state(client_as, plan, pen):
    client = client_as("Wim")
    page = client.get("/tables/").content.decode()
    assert "by Una," in page
    assert page.count("●") == 2  # the two closed ones that came with the folder
    planning.open_table(pen, plan.table)
    assert "0 of 18 sheets in, 6 cups not pulled" in client.get("/tables/").content.decode()


def test_a_shop_without_batches_is_led_to_its_coffees(db, pen, hashed, client):
    from evenhand.bench.models import Account

    person = pen.make(Person(name="Una", role="owner"))
    account = Account.objects.create(person=person, password=hashed.password)
    client.force_login(account, backend="evenhand.bench.people.accounts.ByName")
    page = client.get("/tables/").content.decode()
    assert "No table yet" in page
    assert reverse("coffee:coffees") in page
    assert reverse("table:plan") not in page


def test_planning_by_the_form(client_as):
    client = client_as("Wim")
    answer = client.post(reverse("table:plan"), _typed())
    plan = TablePlan.objects.get()
    assert (answer.status_code, answer["Location"]) == (303, f"/tables/{plan.table.pk}/")
    assert (plan.planned_by, plan.note, plan.slots.count(), plan.seats.count()) == ("Wim", "the new drum", 6, 2)
    page = client.get(answer["Location"]).content.decode()
    assert "H-02" in page
    assert "planned" in page
    assert plan.join_code in page


def test_batches_that_are_named_in_the_address_are_ticked(client_as):
    (pk,) = _pks(Batch, "label", "F-01")
    page = client_as("Wim").get(f"/tables/plan/?batch={pk}&batch=99999&batch=no").content.decode()
    assert f'value="{pk}" checked' in page
    assert page.count(" checked>") == 1


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"batches": []}, "Choose at least one batch"),
        ({"batches": ["77777"]}, "not in the records"),
        ({"tasters": []}, "Choose at least one taster"),
        ({"black": "0", "milk": ""}, "needs a pull"),
        ({"black": "two"}, "Write a whole number"),
        ({"black": "30"}, "too many for one table"),
    ],
)
def test_a_plan_that_cannot_be_keeps_what_was_typed(client_as, changed, sentence):
    answer = client_as("Wim").post(reverse("table:plan"), _typed(**changed))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert "the new drum" in page
    assert "data-focus" in page
    if "black" in changed:
        assert f'value="{changed["black"]}"' in page
    assert not TablePlan.objects.exists()


def test_finding_a_batch_keeps_what_is_ticked_and_shows_no_error(client_as):
    client = client_as("Wim")
    ticked = _pks(Batch, "label", "F-02")
    answer = client.post(reverse("table:plan"), _typed(do="find", find="lantern", tasters=[], batches=ticked))
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "This needs mending" not in page
    assert all(label in page for label in ("F-02", "H-01", "H-02"))
    assert "F-01" not in page
    assert not TablePlan.objects.exists()
    part = client.post(reverse("table:choices"), {"find": "ferry 01", "batches": ticked}).content.decode()
    assert "F-01" in part
    assert f'value="{ticked[0]}" checked' in part
    assert "H-01" not in part
    none = client.post(reverse("table:choices"), {"find": "<nothing>"}).content.decode()
    assert "&lt;nothing&gt;" in none


def test_signed_batches_are_found_only_by_name_unless_they_are_to_be_tasted_again(client_as, pen):
    from evenhand.records.signing import sign

    una = Person.objects.get(name="Una")
    for label, decision in (("H-01", "release"), ("F-01", "taste_again")):
        batch = Batch.objects.get(label=label)
        block = {"batch": label, "decision": decision}
        sign(pen, batch, decision=decision, judgement=block, seen=10**6, signer=una)
    assert Verdict.objects.count() == 2
    client = client_as("Wim")
    page = client.post(reverse("table:choices"), {}).content.decode()
    assert "H-01" not in page
    assert "F-01" in page
    assert "taste again" in page
    assert "H-01" in client.post(reverse("table:choices"), {"find": "H-01"}).content.decode()


def test_the_preview_adds_up_cups_and_caffeine_and_writes_nothing(client_as):
    client = client_as("Wim")
    page = client.post(reverse("table:preview"), _typed()).content.decode()
    assert "6 pulls, 6 cups" in page
    # six pulls of 18 g at 12 mg/g of which 0.8 is extracted, shared by two: 518 mg (EFSA bounds: 200 and 400 mg)
    assert "518 mg" in page
    assert "over 400 mg" in page
    assert "EFSA" in page
    assert "needs a batch" in client.post(reverse("table:preview"), _typed(batches=[])).content.decode()
    assert "needs a taster" in client.post(reverse("table:preview"), _typed(tasters=["x"])).content.decode()
    assert not TablePlan.objects.exists()


def test_a_large_table_is_told_in_flights(client_as):
    page = client_as("Wim").post(reverse("table:preview"), _typed(black="4")).content.decode()
    assert "8 cups are more than the 6" in page


def test_a_slow_double_press_plans_one_table(client_as, shop):
    client = client_as("Wim")
    once = re.search(r'name="once" value="([^"]+)"', client.get("/tables/plan/").content.decode())[1]
    first, second = (client.post("/tables/plan/", _typed(once=once)) for _ in range(2))
    assert (first.status_code, first["Location"]) == (second.status_code, second["Location"])
    assert TablePlan.objects.count() == 1
    looked = client.post("/tables/plan/", _typed(once=once, do="find", find="H-02")).content.decode()
    assert f'name="once" value="{once}"' in looked
    client.post("/tables/plan/", _typed(once="another"))
    assert TablePlan.objects.count() == 2


def test_changing_the_plan_draws_new_codes(client_as, plan):
    client = client_as("Wim")
    address = reverse("table:replan", args=[plan.table.pk])
    page = client.get(address).content.decode()
    assert page.count(" checked>") == 5  # two batches, three tasters
    assert 'value="2"' in page
    old = set(plan.slots.values_list("code", flat=True))
    answer = client.post(address, _typed(black="1"))
    assert answer.status_code == 303
    assert plan.slots.count() == 4
    assert not set(plan.slots.values_list("code", flat=True)) & old


@pytest.mark.parametrize("meanwhile", ["planned anew", "one more seat"])
def test_a_page_that_was_overtaken_does_not_void_another_leads_plan_unasked(client_as, plan, meanwhile):
    address = reverse("table:replan", args=[plan.table.pk])
    wim, una = client_as("Wim"), client_as("Una")
    mark = wim.get(address).context["form"]["mark"].value()
    if meanwhile == "planned anew":
        assert una.post(address, _typed(black="1")).status_code == 303
    else:
        assert (
            una.post(reverse("table:seat", args=[plan.table.pk]), {"taster": _pks(Person, "name", "Ana")}).status_code
            == 303
        )
    codes = set(plan.slots.values_list("code", flat=True))
    overtaken = wim.post(address, _typed(mark=mark))
    assert overtaken.status_code == 422
    assert "after you opened this page" in overtaken.content.decode()
    assert "the new drum" in overtaken.content.decode()
    assert set(plan.slots.values_list("code", flat=True)) == codes
    pressed_again = wim.post(address, _typed(mark=overtaken.context["form"]["mark"].value()))
    assert pressed_again.status_code == 303
    assert not codes & set(plan.slots.values_list("code", flat=True))


def test_labels_name_pulls_and_codes_and_no_batch(client_as, plan):
    from io import BytesIO

    client = client_as("Wim")
    for paper, size in (("a4", (595, 842)), ("us-letter", (612, 792))):
        answer = client.get(reverse("table:labels", args=[plan.table.pk]), {"paper": paper})
        assert answer["Content-Type"] == "application/pdf"
        first, *_ = PdfReader(BytesIO(answer.content)).pages
        assert (round(first.mediabox.width), round(first.mediabox.height)) == size
        text = first.extract_text()
        for slot in plan.slots.all():
            assert slot.code in text
            assert f"Pull {slot.number}" in text
        assert plan.join_code in text
        assert not any(word in text for word in ("H-02", "F-02", "Lantern", "Ferry"))
    assert client.get(reverse("table:labels", args=[plan.table.pk]), {"paper": "a0"}).status_code == 303


def test_from_open_to_closed(client_as, plan, pour, hand_in, monkeypatch):
    hints: list[str] = []
    monkeypatch.setattr(HUB, "publish", hints.append)
    client, pk = client_as("Wim"), plan.table.pk
    page = client.post(reverse("table:open", args=[pk]), follow=True).content.decode()
    assert "0 of 18 sheets in" in page
    assert "Undo the opening" in page
    cups = [pour(plan, number) for number in range(1, 7)]
    hand_in(cups[0], "Ida")
    part = client.get(reverse("table:watch", args=[pk])).content.decode()
    assert "1 of 18 sheets in" in part
    assert "<html" not in part
    assert "Undo the opening" not in client.get(reverse("table:table", args=[pk])).content.decode()
    asked = client.get(reverse("table:close", args=[pk])).content.decode()
    assert "Only 1 of 18 sheets are in" in asked
    assert "Ida: 5 sheets" in asked
    assert Table.objects.get(pk=pk).state == "open"
    for cup in cups:
        for name in ("Wim", "Bo", *(("Ida",) if cup is not cups[0] else ())):
            hand_in(cup, name)
    assert "Every sheet is in" in client.get(reverse("table:close", args=[pk])).content.decode()
    page = client.post(reverse("table:close", args=[pk]), follow=True).content.decode()
    for cup in cups:
        assert cup.code.removeprefix("T03-") in page
        assert cup.pull.label in page
    assert "In: Bo, Ida, Wim." in page
    assert reverse("verdict:verdict", args=[Batch.objects.get(label="H-02").pk]) in page
    assert client.get(reverse("table:watch", args=[pk]))["HX-Refresh"] == "true"


def test_hints_are_sent_when_a_table_opens_and_closes(client_as, plan, monkeypatch, django_capture_on_commit_callbacks):
    hints: list[str] = []
    monkeypatch.setattr(HUB, "publish", hints.append)
    client, pk = client_as("Wim"), plan.table.pk
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("table:open", args=[pk]))
    assert hints == [f"table-{pk}", "today"]
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("table:close", args=[pk]))
    assert hints[2:] == [f"table-{pk}", "today", "judged"]


def test_what_was_never_pulled_and_who_did_not_taste_is_told_after_closing(client_as, plan, pour, hand_in, pen):
    planning.open_table(pen, plan.table)
    hand_in(pour(plan, 1), "Bo")
    page = client_as("Wim").post(reverse("table:close", args=[plan.table.pk]), follow=True).content.decode()
    assert "In: Bo." in page
    assert "Missing: Ida, Wim." in page
    assert page.count("planned cups were not pulled") + page.count("planned cup was not pulled") == 2


def test_who_opened_the_labels_and_tasted_is_told_after_closing(client_as, plan, pour, hand_in, pen):
    wim, una, page = client_as("Wim"), client_as("Una"), reverse("table:table", args=[plan.table.pk])
    assert una.get(reverse("table:labels", args=[plan.table.pk])).status_code == 200
    batches, tasters = Batch.objects.filter(slots__plan=plan).distinct(), Person.objects.filter(seats__plan=plan)
    planning.replan(  # other codes: what Una read is void
        pen, plan, batches=list(batches), pulls={"black": 1}, tasters=list(tasters), rng=np.random.default_rng(2)
    )
    for client in (wim, wim):
        assert client.get(reverse("table:labels", args=[plan.table.pk])).status_code == 200
    planning.open_table(pen, plan.table)
    cup = pour(plan, 1)
    for name in ("Bo", "Wim", "Una"):
        hand_in(cup, name)
    assert "opened the labels" not in wim.get(page).content.decode()
    planning.close_table(pen, plan.table)
    told = wim.get(page).content.decode()
    assert "Wim opened the labels of this table and tasted at it" in told
    assert told.count("opened the labels") == 1


def test_who_pulled_what_they_tasted_is_told_after_closing(client_as, plan, hand_in, pen):
    planning.add_taster(pen, plan, Person.objects.get(name="Una"), np.random.default_rng(1))
    planning.open_table(pen, plan.table)
    slots = plan.slots.select_related("plan__table", "batch").order_by("number")
    shot = {"dose_g": 18.0, "beverage_g": 36.0, "time_s": 28.5}
    for slot, who in zip(slots, ("Una", "Una", "Wim", "Wim"), strict=False):
        record_pull(Pen(who=who, at=pen.at), slot.batch, shot, slot=slot)
    cups = list(Cup.objects.filter(table=plan.table).order_by("position"))
    for cup, names in zip(cups, (("Una", "Bo"), ("Una", "Wim"), ("Una",), ("Wim", "Ida")), strict=True):
        for name in names:
            hand_in(cup, name)
    client, page = client_as("Wim"), reverse("table:table", args=[plan.table.pk])
    assert "not blind" not in client.get(page).content.decode()
    planning.close_table(pen, plan.table)
    told = client.get(page).content.decode()
    assert "Una pulled 2 of these cups and tasted them too; these sheets were not blind." in told
    assert "Wim pulled 1 of these cups and tasted it too; this sheet was not blind." in told
    assert told.count("not blind") == 2  # Ida and Bo tasted only


def test_a_step_that_cannot_be_taken_is_told_on_the_page(client_as, plan, pour):
    client, pk = client_as("Wim"), plan.table.pk
    answer = client.post(reverse("table:close", args=[pk]))
    assert answer.status_code == 422
    assert b"only a table that is open can be closed" in answer.content
    pour(plan, 1)
    answer = client.post(reverse("table:remove", args=[pk]))
    assert answer.status_code == 422
    assert b"poured" in answer.content
    assert client.get(reverse("table:close", args=[pk]))["Location"] == f"/tables/{pk}/"


def test_undo_of_opening_and_removing(client_as, plan):
    client, pk = client_as("Wim"), plan.table.pk
    client.post(reverse("table:open", args=[pk]))
    client.post(reverse("table:back", args=[pk]))
    assert Table.objects.get(pk=pk).state == "planned"
    assert client.post(reverse("table:remove", args=[pk]))["Location"] == "/tables/"
    assert not Table.objects.filter(pk=pk).exists()
    assert client.get(reverse("table:table", args=[pk])).status_code == 404


def test_seats_come_and_go(client_as, plan, pen, pour, hand_in):
    client, pk = client_as("Wim"), plan.table.pk
    planning.open_table(pen, plan.table)
    (lev,) = _pks(Person, "name", "Lev")
    client.post(reverse("table:seat", args=[pk]), {"taster": lev})
    assert plan.seats.filter(taster=lev).exists()
    answer = client.post(reverse("table:seat", args=[pk]), {"taster": lev})
    assert answer.status_code == 422
    hand_in(pour(plan, 1), "Bo")
    client.post(reverse("table:unseat", args=[pk, lev]))
    assert not plan.seats.filter(taster=lev).exists()
    (bo,) = _pks(Person, "name", "Bo")
    answer = client.post(reverse("table:unseat", args=[pk, bo]))
    assert (answer.status_code, b"handed in a sheet" in answer.content) == (422, True)


def test_a_note_is_kept(client_as, plan):
    client, pk = client_as("Wim"), plan.table.pk
    client.post(reverse("table:note", args=[pk]), {"note": "the grinder was cold"})
    plan.refresh_from_db()
    assert plan.note == "the grinder was cold"
    assert client.post(reverse("table:note", args=[pk]), {"note": "x" * 2001}).status_code == 422


def test_a_table_that_came_with_a_folder_can_be_read(client_as):
    page = client_as("Wim").get(reverse("table:table", args=[Table.objects.get(name="T01").pk])).content.decode()
    assert all(word in page for word in ("417", "253", "H-01-1", "Hollow Lantern", "In: Ida, Una, Wim."))


def test_the_list_and_a_table_take_few_queries(client_as, plan, pen, pour, django_assert_max_num_queries):
    planning.open_table(pen, plan.table)
    for number in range(1, 7):
        pour(plan, number)
    client = client_as("Wim")
    client.get("/tables/")  # the first one looks for an account, once
    for address in ("/tables/", reverse("table:table", args=[plan.table.pk]), reverse("table:plan")):
        with django_assert_max_num_queries(20):
            client.get(address)
