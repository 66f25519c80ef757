"""Until a table closes no single response holds a batch together with a code, and none holds a score."""

import re

import pytest
from django.urls import reverse

from evenhand.bench.table import planning
from evenhand.errors import EvenhandError
from evenhand.records.models import Person, Table

pytestmark = pytest.mark.django_db

BATCH_WORDS = ("H-02", "F-02", "Hollow Lantern", "Grey Ferry", "Vantry")


def _answers(client, plan):
    pk = plan.table.pk
    bo = Person.objects.get(name="Bo").pk
    yield client.get(reverse("table:tables"))
    yield client.get(reverse("table:plan"))
    yield client.get(reverse("table:table", args=[pk]))
    yield client.get(reverse("table:replan", args=[pk]))
    yield client.get(reverse("table:watch", args=[pk]))
    yield client.get(reverse("table:close", args=[pk]))
    yield client.post(reverse("table:choices"), {"find": "0"})
    yield client.post(reverse("table:preview"), {"batches": [1, 2, 3, 4], "black": "1", "tasters": [bo]})
    yield client.post(reverse("table:seat", args=[pk]), {"taster": bo})
    yield client.post(reverse("table:unseat", args=[pk, bo]))
    yield client.post(reverse("table:replan", args=[pk]), {"do": "plan", "black": "1", "batches": [3], "tasters": [bo]})
    yield client.post(reverse("table:remove", args=[pk]))
    yield client.get(reverse("join", args=[plan.join_code]))


@pytest.mark.parametrize("name", ["Una", "Wim"])
@pytest.mark.parametrize("is_open", [False, True])
def test_no_response_names_a_batch_and_a_code(client_as, plan, pen, pour, hand_in, name, is_open):
    cups = [pour(plan, number) for number in (1, 2, 5)]
    if is_open:
        planning.open_table(pen, plan.table)
        hand_in(cups[0], "Bo")
    codes = [slot.code for slot in plan.slots.all()]
    seen_codes = seen_batches = 0
    for answer in _answers(client_as(name), plan):
        text = answer.content.decode() + str(answer.headers)
        has_code = any(re.search(rf"(?<![A-Za-z0-9.]){code}(?![A-Za-z0-9.])", text) for code in codes)
        has_batch = any(word in text for word in BATCH_WORDS)
        assert not (has_code and has_batch), answer.request["PATH_INFO"]
        assert "4.321" not in text
        assert "hidden plum" not in text
        seen_codes += has_code
        seen_batches += has_batch
    assert seen_batches  # the plan names batches, so the search above can find them
    assert bool(seen_codes) is is_open
    assert Table.objects.get(pk=plan.table.pk).state == ("open" if is_open else "planned")


def test_what_the_codes_were_is_refused_before_the_table_closes(plan, pen):
    from evenhand.bench.table.revealing import reveal

    with pytest.raises(EvenhandError, match="not closed"):
        reveal(plan.table)
    planning.open_table(pen, plan.table)
    with pytest.raises(EvenhandError, match="not closed"):
        reveal(plan.table)
