"""Fills an empty data folder with an invented shop and one open table, and prints what a load test needs as JSON.

    .venv/bin/python benchmarks/lay_table.py FOLDER [--tasters 50] [--batches 5] [--pulls 2] [--state open]

Everybody has the same password. The table's pulls are poured already. Used by benchmarks/bench_table.py and by the
test that kills the server.
"""

import argparse
import datetime as dt
import json
import os
from pathlib import Path

PASSWORD = "seven quiet kettles"
SCALES = ("acidity", "sweetness", "bitterness")


def lay(folder: Path, tasters: int, batches: int, pulls: int) -> dict[str, object]:
    """Write the shop into the folder's database and return what was laid."""
    from evenhand.bench.serving import secret_key

    os.environ["EVENHAND_DATA"] = os.fspath(folder)
    os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
    os.environ["EVENHAND_SECRET_KEY"] = secret_key(folder)
    from evenhand.records.opening import open_records

    open_records()
    import numpy as np
    from django.contrib.auth.hashers import make_password
    from django.utils import timezone

    from evenhand.bench.models import Account
    from evenhand.bench.table.planning import fill_slot, open_table, plan_table
    from evenhand.records.audit import Pen
    from evenhand.records.coffees import revise_coffee, revise_costs, revise_recipe
    from evenhand.records.models import Attribute, Batch, Fault, Person, Pull, Shop

    now = timezone.localtime()
    pen = Pen(who="Una", at=now)
    pen.make(Shop(name="Bell Yard", is_invented=True))
    for name in SCALES:
        pen.make(Attribute(name=name, scale_low=0, scale_high=10))
    for name in ("smoky", "ashy"):
        pen.make(Fault(name=name))
    revise_recipe(pen, "house", dose_g=18, dose_tol_g=0.3, beverage_g=36, beverage_tol_g=1.5, time_s=29, time_tol_s=2)
    goals = {("black", name): (5.0, 1.0) for name in SCALES}
    version = revise_coffee(pen, "Hollow Lantern", recipe="house", targets=goals)
    revise_costs(pen, wrong_release=400, wrong_hold=150, one_pull=3, one_taste=2, prior_bad=0.1)
    hashed = make_password(PASSWORD)
    people = []
    for number in range(tasters + 1):
        name, role = ("Una", "owner") if number == 0 else (f"Taster {number:02d}", "taster")
        person = pen.make(Person(name=name, role=role))
        Account.objects.create(person=person, password=hashed)
        people.append(person)
    yesterday = now.date() - dt.timedelta(days=1)
    roasts = [pen.make(Batch(label=f"B-{n:02d}", version=version, roasted_on=yesterday)) for n in range(batches)]
    rng = np.random.default_rng(20260105)
    plan = plan_table(pen, batches=roasts, pulls={"black": pulls}, tasters=people[1:], rng=rng)
    for slot in plan.slots.order_by("number"):
        label = f"{slot.batch.label}-{slot.number}"
        pull = pen.make(Pull(label=label, batch=slot.batch, pulled_at=now, dose_g=18, beverage_g=36.2, time_s=28.5))
        fill_slot(pen, slot, pull)
    open_table(pen, plan.table)
    return {
        "table": plan.table.pk,
        "tasters": [{"pk": person.pk, "name": person.name} for person in people[1:]],
        "codes": list(plan.slots.order_by("number").values_list("code", flat=True)),
        "password": PASSWORD,
        "scales": SCALES,
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tasters", type=int, default=50)
    parser.add_argument("--batches", type=int, default=5)
    parser.add_argument("--pulls", type=int, default=2)
    asked = parser.parse_args()
    print(json.dumps(lay(asked.folder, asked.tasters, asked.batches, asked.pulls)))
