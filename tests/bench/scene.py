"""Lays a scene into the records of an invented shop: a planned, an open and a closed table, a signed verdict, a pull.

Loaded by path from tests and from scripts/screenshots.py, or run on a data folder:
``python tests/bench/scene.py '{"pen": "Wim", "tasters": ["Ida", "Bo"], "outside": "Una"}'`` prints what was laid as
JSON; without tasters it sets up a new shop that has no batch yet.
"""

import datetime as dt
import json
import os
import re
import sys
from typing import Any

import numpy as np


def lay_scene(pen: Any, tasters: list[str], *, outside: str = "Una") -> dict[str, Any]:
    """Lay the scene.

    Parameters
    ----------
    pen
        Who writes, and when.
    tasters
        Names of who sits at the tables; the first one has all sheets in at the open table, the last one none.
    outside
        Who signs; sits at no table.

    Returns
    -------
    dict
        Numbers of what the addresses of pages need, and what is secret while a table is not closed.
    """
    from evenhand.bench import judging
    from evenhand.bench.models import Account
    from evenhand.bench.pull.recording import record_pull
    from evenhand.bench.table.planning import close_table, open_table, plan_table
    from evenhand.records.models import Batch, Coffee, Cup, Fault, Person, Sheet, Word

    rng = np.random.default_rng(20260112)
    for name in ("smoky", "ashy", "baked"):
        if not Fault.objects.filter(name=name).exists():
            pen.make(Fault(name=name))
    coffees = list(Coffee.objects.order_by("pk")[:2])
    rounds = [[_roast(pen, coffee) for coffee in coffees] for _ in range(4)]
    people = [Person.objects.get(name=name) for name in tasters]
    lot, reading, storage = _lot(pen)

    def plan(batches: list[Any]) -> Any:
        return plan_table(pen, batches=batches, pulls={"black": 1, "milk": 1}, tasters=people, rng=rng)

    closed = plan(rounds[0])
    open_table(pen, closed.table)
    for slot in closed.slots.order_by("number"):
        record_pull(pen, slot.batch, _shot(slot.batch, rng), slot=slot)
    _taste(pen, closed, people, rng)
    close_table(pen, closed.table)
    judging.judge_now()
    unsigned, signed = rounds[0]
    _sign(pen, signed, outside)

    running = plan(rounds[1])
    open_table(pen, running.table)
    *poured, unpoured = running.slots.order_by("number")
    for slot in poured:
        record_pull(pen, slot.batch, _shot(slot.batch, rng), slot=slot)
    _taste(pen, running, people[:1], rng)
    _taste(pen, running, people[1:-1], rng, leave=1)

    planned = plan(rounds[2])
    loose, other = rounds[3]
    kept = [record_pull(pen, loose, _shot(loose, rng)) for _ in range(3)][-1]
    judging.read_season_now()
    first = Account.objects.get(person=people[0])
    labels = {"running": rounds[1], "planned": rounds[2]}
    return {
        "closed": closed.table.pk,
        "open": running.table.pk,
        "planned": planned.table.pk,
        "join_code": running.join_code,
        "slot": unpoured.pk,
        "slot_of_planned": planned.slots.order_by("number").first().pk,
        "batch": unsigned.pk,
        "signed_batch": signed.pk,
        "loose_batch": loose.pk,
        "other_batch": other.pk,
        "pull": kept.pk,
        "coffee": coffees[0].pk,
        "recipe": coffees[0].versions.order_by("-pk").first().recipe.recipe_id,
        "lot": lot.pk,
        "reading": reading.pk,
        "storage": storage.pk,
        "person": people[0].pk,
        "account": first.pk,
        "attribute": _first_attribute(coffees[0]),
        "fault": Fault.objects.order_by("pk").first().pk,
        "word": Word.objects.order_by("pk").first().pk,
        "names": {plan.table.name: plan.table.pk for plan in (closed, running, planned)},
        "codes": {
            plan.table.pk: list(plan.slots.order_by("number").values_list("code", flat=True))
            for plan in (closed, running, planned)
        },
        "labels": {
            planned.table.pk: [batch.label for batch in labels["planned"]],
            running.table.pk: [batch.label for batch in labels["running"]],
            closed.table.pk: [batch.label for batch in rounds[0]],
        },
        "coffees": [coffee.name for coffee in coffees],
        "lots": [lot.name],
        "counts": {"sheets": Sheet.objects.count(), "cups": Cup.objects.count(), "batches": Batch.objects.count()},
    }


def _roast(pen: Any, coffee: Any) -> Any:
    """Write a roast of a week ago down under the next free label."""
    from evenhand.bench.coffee.writing import write_batch
    from evenhand.records.models import Batch

    last = Batch.objects.filter(version__coffee=coffee).order_by("-pk").first()
    start, number = re.fullmatch(r"(.*?)(\d+)", last.label).groups()
    count = int(number)
    while Batch.objects.filter(label=f"{start}{count:0{len(number)}d}").exists():
        count += 1
    values = {
        "label": f"{start}{count:0{len(number)}d}",
        "roasted_on": pen.at.date() - dt.timedelta(days=7),
        "green_in_kg": 6.0,
        "roasted_out_kg": 5.1,
    }
    lots = [last.version.green_lot_id] if last.version.green_lot_id else []
    return write_batch(pen, coffee, lots, values)


def _lot(pen: Any) -> tuple[Any, Any, Any]:
    """Return a green lot with a reading and a spell of storage, written down where they are missing."""
    from evenhand.records.models import GreenLot, GreenReading, GreenStorage

    lot = GreenLot.objects.order_by("pk").first()
    day = pen.at.date() - dt.timedelta(days=40)
    reading = lot.readings.order_by("pk").last() or pen.make(
        GreenReading(
            lot=lot, read_on=day, moisture_pct=10.6, moisture_method="oven", water_activity=0.56, water_activity_c=25.0
        )
    )
    storage = lot.storage.order_by("pk").last() or pen.make(
        GreenStorage(lot=lot, stored_from=day, temperature_c=19.0, packaging="breathing")
    )
    return lot, reading, storage


def _shot(batch: Any, rng: np.random.Generator) -> dict[str, Any]:
    """Draw a shot near the recipe of a batch."""
    aim = batch.version.recipe
    return {
        "dose_g": round(aim.dose_g + float(rng.normal(0, 0.12)), 1),
        "beverage_g": round(aim.beverage_g + float(rng.normal(0, 0.6)), 1),
        "time_s": round(aim.time_s + float(rng.normal(0, 1.0)), 1),
        "grind_setting": "4.6",
    }


def _taste(pen: Any, plan: Any, people: list[Any], rng: np.random.Generator, *, leave: int = 0) -> None:
    """Hand sheets in for each poured cup of a table, but for the last few of each taster."""
    from evenhand.bench.table.planning import served_cups
    from evenhand.records.models import Cup, Fault, Target
    from evenhand.records.sheets import take_sheet

    faults = list(Fault.objects.order_by("pk").values_list("name", flat=True))
    for person in people:
        cups = [cup for cup in served_cups(plan.seats.get(taster=person)) if cup.is_poured]
        for served in cups[: len(cups) - leave]:
            cup = Cup.objects.get(pk=served.cup)
            aims = Target.objects.filter(version=cup.pull.batch.version, service=served.service)
            take_sheet(
                pen,
                client_id=f"{int(rng.integers(2**60)):032x}",
                cup=cup,
                taster=person,
                scores={
                    aim.attribute.name: float(np.clip(np.round(2 * (aim.target + rng.normal(0, 0.7))) / 2, 0, 10))
                    for aim in aims
                },
                faults=dict.fromkeys(faults, False),
                words="plum" if rng.random() < 0.5 else "",
                tasted_at=pen.at,
            )


def _sign(pen: Any, batch: Any, signer: str) -> None:
    """Sign what is advised for a batch."""
    from evenhand.bench.verdict.page import at_hand
    from evenhand.bench.verdict.signing import mark_of, sign_what_was_seen
    from evenhand.records.audit import Pen
    from evenhand.records.models import Person

    found = at_hand(batch)
    assert found.verdict is not None
    sign_what_was_seen(
        Pen(who=signer, at=pen.at),
        Person.objects.get(name=signer),
        batch,
        found,
        decision=found.verdict.decision,
        note="As advised.",
        mark=mark_of(found.verdict),
    )


def _first_attribute(coffee: Any) -> int:
    from evenhand.records.models import Target

    return Target.objects.filter(version__coffee=coffee).order_by("pk").first().attribute_id


def set_up_shop(pen: Any) -> dict[str, Any]:
    """Answer the five questions of the first run, and nothing else: a shop without a batch."""
    from evenhand.bench.start import suggestions
    from evenhand.bench.start.first import Answers, Owner, write_answers
    from evenhand.records.models import Coffee

    names = [one.name for one in suggestions.ATTRIBUTES]
    answers = Answers(
        shop="Bell Yard",
        coffee="Hollow Lantern",
        recipe_name="house",
        recipe=dict(suggestions.RECIPE),
        attributes=names,
        scale=suggestions.SCALE,
        targets={("black", names[0]): (4.0, 1.0), ("milk", names[1]): (6.0, 1.2)},
        faults=list(suggestions.FAULTS),
        costs=dict(suggestions.COSTS),
    )
    write_answers(pen, Owner(pen.who, "seven quiet kettles", "2468"), answers)
    return {"coffee": Coffee.objects.get().pk}


def make_sessions() -> dict[str, str]:
    """Log everybody in who has an account; return the session of each by name."""
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore

    from evenhand.bench.models import Account

    sessions = {}
    for account in Account.objects.select_related("person"):
        store = SessionStore()
        store[SESSION_KEY] = str(account.pk)
        store[BACKEND_SESSION_KEY] = "evenhand.bench.people.accounts.ByName"
        store[HASH_SESSION_KEY] = account.get_session_auth_hash()
        store.create()
        sessions[account.person.name] = store.session_key
    return sessions


def main() -> None:
    """Lay the scene on the data folder that the environment names; sessions are sealed with the server's own key."""
    from pathlib import Path

    from evenhand.bench.serving import secret_key

    told = json.loads(sys.argv[1])
    os.environ["EVENHAND_SECRET_KEY"] = secret_key(Path(os.environ["EVENHAND_DATA"]))
    os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
    from evenhand.records.opening import open_records

    open_records()
    from django.utils import timezone

    from evenhand.records.audit import Pen

    pen = Pen(who=told["pen"], at=timezone.localtime())
    laid = lay_scene(pen, told["tasters"], outside=told["outside"]) if told.get("tasters") else set_up_shop(pen)
    print(json.dumps(laid | {"sessions": make_sessions()}))


if __name__ == "__main__":
    main()
