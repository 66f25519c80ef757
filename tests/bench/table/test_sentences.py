"""What planning and seating refuse is said in the language of whoever reads: none of it is in English alone."""

import numpy as np
import pytest
from django.utils import translation
from django.utils.translation import trans_real

from evenhand.bench.table import planning
from evenhand.bench.table.drawing import count_cups
from evenhand.bench.table.revealing import reveal
from evenhand.records._refusals import RecordError
from evenhand.records.models import Person


class Marking(trans_real.DjangoTranslation):
    """Puts each text that is asked for between marks."""

    def gettext(self, message):
        return f"⟦{message}⟧"


@pytest.fixture
def marked(monkeypatch):
    monkeypatch.setattr(trans_real, "translation", lambda language: Marking(language))
    with translation.override("en"):
        yield


def test_every_refusal_can_be_translated(plan, pen, pour, marked):
    cup, rng, wim = pour(plan, 1), np.random.default_rng(1), Person.objects.get(name="Wim")
    slot = plan.slots.select_related("plan__table", "batch").get(number=1)
    other = {"batches": [slot.batch], "pulls": {"black": 1}, "tasters": [wim], "rng": rng}
    refused = [
        lambda: planning.replan(pen, plan, **other),
        lambda: planning.remove_table(pen, plan.table),
        lambda: planning.close_table(pen, plan.table),
        lambda: planning.reopen_plan(pen, plan.table),
        lambda: planning.add_taster(pen, plan, wim, rng),
        lambda: planning.remove_taster(pen, plan, Person.objects.get(name="Teo")),
        lambda: planning.fill_slot(pen, plan.slots.get(number=2), cup.pull),
        lambda: planning.plan_table(pen, **other | {"batches": [slot.batch] * 2}),
        lambda: planning.plan_table(pen, **other | {"tasters": [wim] * 2}),
        lambda: reveal(plan.table),
        lambda: count_cups(0, {"black": 1}, 1),
        lambda: count_cups(1, {"black": 1}, 0),
        lambda: count_cups(1, {"black": 1}, 99),
        lambda: count_cups(1, {"cold": 1}, 1),
        lambda: count_cups(1, {}, 1),
        lambda: count_cups(9, {"black": 9}, 1),
    ]
    for step in refused:
        with pytest.raises(RecordError) as caught:
            step()
        assert str(caught.value).startswith("⟦"), caught.value
        assert str(caught.value).endswith("⟧")
        assert "%(" not in str(caught.value)
