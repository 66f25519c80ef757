"""Times every page of the bench with 5,000 batches in the records, against its bound of 300 ms and an empty page.

    OPENBLAS_NUM_THREADS=1 .venv/bin/python benchmarks/bench_pages.py [--batches 5000] [--repeats 20] [--keep FOLDER]

The shop is invented and marked as such; it is written into a SQLite file in a folder of its own and served as always,
by `evenhand serve`. Each page is asked for over one connection, in the name of an owner or of a taster at the table,
again and again; the first answer of each page is left out, since it loads what later ones find loaded. Prints the times
of each page in ms, p95 as a share of the bound, and p50 as a multiple of the emptiest page of the same run. Ends with
status 1 if a page is late.
"""

import argparse
import http.client
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

BOUND_MS = 300.0
EMPTY = "taste:choose"  # an owner who sits at no table: the frame of a page and one sentence
OF_A_TASTER = {"taste:table", "taste:cups"}  # these ask for a seat at the table
LEFT_OUT = {"live", "join"}  # a stream, and a door that counts guesses
# Files that are made when asked for, and the check of the whole history: long by nature, and no pages.
FILES = {"verdict:paper", "table:labels", "setup:export-file", "setup:backup", "setup:verify"}

CHILD = "--fill"


def main():
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("--batches", type=int, default=5000)
    reader.add_argument("--repeats", type=int, default=20)
    reader.add_argument("--keep", type=Path, help="a folder to keep the shop in, or to find it in again")
    asked = reader.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        place = asked.keep or Path(passing)
        told = place / "pages.json"
        environment = {**os.environ, "EVENHAND_DATA": os.fspath(place), "LC_ALL": "C.UTF-8"}
        if not told.exists():
            place.mkdir(parents=True, exist_ok=True)
            started = time.perf_counter()
            subprocess.run([sys.executable, __file__, CHILD, str(asked.batches)], env=environment, check=True)
            size = (place / "evenhand.sqlite3").stat().st_size if (place / "evenhand.sqlite3").exists() else 0
            print(f"The shop was written in {time.perf_counter() - started:.0f} s ({size / 2**20:.0f} MB).")
        sys.exit(measure(json.loads(told.read_text()), environment, asked.repeats))


def measure(told, environment, repeats):
    """Serve, ask for each page, print its times; return 1 if one is late."""
    command = [sys.executable, "-m", "evenhand", "serve", "--port", "0"]
    server = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        port = next(
            int(found[1]) for line in server.stdout if (found := re.search(r"open at http://[^:]+:(\d+)/", line))
        )
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        taken, other = {}, {}
        for name, address in told["pages"].items():
            spent = []
            session = told["sessions"]["Ida" if name in OF_A_TASTER else "Una"]
            headers = {"Cookie": f"evenhand_session={session}", "Connection": "keep-alive"}
            for _ in range(repeats + 1):
                started = time.perf_counter()
                line.request("GET", address, headers=headers)
                answer = line.getresponse()
                body = answer.read()
                spent.append(1000 * (time.perf_counter() - started))
                if answer.status != 200 or not answer.headers.get("Content-Type", "").startswith("text/html"):
                    other[name] = answer.status
                    break
            else:
                taken[name] = (sorted(spent[1:]), spent[0], len(body))
    finally:
        server.terminate()
        server.wait(20)
    empty = percentile(taken[EMPTY][0], 0.5)
    print(f"{told['batches']} batches, {told['sheets']} sheets, {told['entries']} entries; {repeats} answers a page.")
    print(f"{'page':28} {'p50 ms':>8} {'p95 ms':>8} {'of bound':>9} {'of empty':>9} {'first ms':>9} {'kB':>6}")
    late = []
    for name, (spent, first, size) in sorted(taken.items(), key=lambda one: -percentile(one[1][0], 0.95)):
        p50, p95 = percentile(spent, 0.5), percentile(spent, 0.95)
        print(
            f"{name:28} {p50:8.1f} {p95:8.1f} {p95 / BOUND_MS:9.2f} {p50 / empty:9.1f} {first:9.0f} {size / 1024:6.1f}"
        )
        if p95 > BOUND_MS:
            late.append(name)
    print("No page of its own (answers only to a form, leads elsewhere, or is data):")
    print("  " + ", ".join(f"{name} ({status})" for name, status in sorted(other.items())))
    print(f"Late: {', '.join(late)}" if late else f"{len(taken)} pages, all within {BOUND_MS:.0f} ms at p95.")
    return 1 if late else 0


def percentile(ordered, share):
    """The value below which a share of the sorted values lies (nearest rank)."""
    return ordered[max(0, -(-int(1000 * share * len(ordered)) // 1000) - 1)]


# The shop: written by a process of its own, so that the one that measures holds nothing of it.


def fill(batches):
    """Write the shop, and what to ask for."""
    os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
    place = Path(os.environ["EVENHAND_DATA"])
    from evenhand.bench.serving import secret_key

    os.environ["EVENHAND_SECRET_KEY"] = secret_key(place)
    from evenhand.records.opening import open_records

    open_records()
    from evenhand.records.models import Entry, Sheet

    write_aims()
    write_tastings(batches)
    write_judgements()
    told = {
        "sessions": {name: open_session(name) for name in ("Una", "Ida")},
        "pages": find_pages(),
        "batches": batches,
        "sheets": Sheet.objects.count(),
        "entries": Entry.objects.count(),
    }
    (place / "pages.json").write_text(json.dumps(told, indent=1))


TASTERS = ("Una", "Wim", "Ida", "Bo", "Ana", "Teo", "Lev")
COFFEES = 12
CHUNK = 250


def pen():
    from django.utils import timezone

    from evenhand.records.audit import Pen

    return Pen(who="Una", at=timezone.localtime())


def write_aims():
    """People, scales, recipe, costs, lots and coffees."""
    from evenhand.bench.people.accounts import make_account
    from evenhand.records.coffees import revise_coffee, revise_costs, revise_recipe
    from evenhand.records.models import Attribute, Fault, GreenLot, GreenReading, GreenStorage, Shop, Word

    hand = pen()
    hand.make(Shop(name="Quarrow (invented)", is_invented=True))
    for name in TASTERS:
        make_account(hand, name, "owner" if name == "Una" else "taster", pin="2468")
    for name in ("acidity", "sweetness", "bitterness", "body"):
        hand.make(Attribute(name=name, scale_low=0, scale_high=10))
    for name in ("smoky", "ashy", "baked"):
        hand.make(Fault(name=name))
    for number in range(60):
        hand.make(Word(name=f"word {number}"))
    revise_costs(hand, wrong_release=400, wrong_hold=150, one_pull=3, one_taste=2, prior_bad=0.1)
    house = {"dose_g": 18, "dose_tol_g": 0.3, "beverage_g": 36, "beverage_tol_g": 1.5, "time_s": 29, "time_tol_s": 2}
    revise_recipe(hand, "house", **house)
    for number in range(COFFEES):
        lots = [hand.make(GreenLot(name=f"Lot {number}-{k}", harvest="2025/26", green_kg=4000)) for k in range(4)]
        for lot in lots:
            hand.make(GreenStorage(lot=lot, stored_from="2026-01-01", temperature_c=18, packaging="breathing"))
            for month in range(1, 7):
                reading = GreenReading(lot=lot, read_on=f"2026-0{month}-01", moisture_pct=11, moisture_method="oven")
                hand.make(reading)
        goals = {("black", name): (5.0, 1.0) for name in ("acidity", "sweetness", "body")}
        goals[("milk", "bitterness")] = (4.0, 1.2)
        revise_coffee(hand, f"Coffee {number}", recipe="house", green_lot=lots[0], targets=goals)


def write_tastings(batches):
    """Batches with pulls, cups and sheets, on tables of four batches each; the last four are on an open table."""
    import datetime as dt

    import numpy as np

    from evenhand.records.models import Attribute, Batch, CoffeeVersion, Fault, Person

    rng = np.random.default_rng(1)
    world = {
        "versions": list(CoffeeVersion.objects.order_by("pk")),
        "people": [Person.objects.get(name=name) for name in TASTERS],
        "attributes": {row.name: row for row in Attribute.objects.all()},
        "faults": list(Fault.objects.order_by("pk")),
    }
    last = dt.date.today() - dt.timedelta(days=2)
    for start in range(0, batches, CHUNK):
        numbers = range(start, min(start + CHUNK, batches))
        roasts = []
        for number in numbers:
            day = last - dt.timedelta(days=(batches - 1 - number) // 8)
            batch = Batch(
                label=f"B{number:05d}",
                version=world["versions"][number % COFFEES],
                roasted_on=day,
                green_in_kg=6.0,
                roasted_out_kg=round(5.1 + 0.05 * rng.standard_normal(), 2),
                roast_time_s=float(round(660 + 8 * rng.standard_normal())),
            )
            roasts.append((batch, {}))
        made = pen().make_many(roasts)
        write_cups(made[: len(made) - (4 if numbers[-1] == batches - 1 else 0)], rng, world, f"{start:05d}")
        if numbers[-1] == batches - 1:
            write_open_table(made[-4:], world["people"])


def write_cups(made, rng, world, mark):
    """Three pulls a batch (two black, one in milk), each tasted by three."""
    from django.utils import timezone

    from evenhand.records.models import Cup, FaultAnswer, Pull, Score, Sheet, Table

    hand = pen()
    tables = hand.make_many(
        [(Table(name=f"T{mark}-{k}", state="closed", closed_at=timezone.now()), {}) for k in range(len(made) // 4 + 1)]
    )
    pulls = []
    for batch in made:
        for n in (1, 2, 3):
            values = {"dose_g": 18.0, "beverage_g": round(36 + rng.standard_normal(), 1), "time_s": 29.0}
            pulls.append((Pull(label=f"{batch.label}-{n}", batch=batch, pulled_at=batch.roasted_on, **values), {}))
    cups = []
    for number, pull in enumerate(hand.make_many(pulls)):
        service = "milk" if number % 3 == 2 else "black"
        cups.append((Cup(code=f"C{pull.pk}", pull=pull, service=service, table=tables[number // 12]), {}))
    sheets = []
    for cup in hand.make_many(cups):
        names = ("bitterness",) if cup.service == "milk" else ("acidity", "sweetness", "body")
        for person in rng.permutation(world["people"])[:3]:
            scores = [
                Score(attribute=world["attributes"][name], score=float(np_round(rng.normal(5, 0.8)))) for name in names
            ]
            answers = [FaultAnswer(fault=fault, heard=bool(rng.random() < 0.05)) for fault in world["faults"]]
            sheet = Sheet(client_id=f"{cup.code}-{person.pk}", cup=cup, taster=person)
            sheets.append((sheet, {"scores": scores, "answers": answers}))
    hand.make_many(sheets)


def np_round(value):
    """A score as a taster gives it: in halves, on the scale."""
    return min(10.0, max(0.0, round(2 * value) / 2))


def write_open_table(made, people):
    """A table that is open, with half of its pulls made, at which Una does not sit."""
    import numpy as np

    from evenhand.bench.table import planning
    from evenhand.records.models import Pull

    plan = planning.plan_table(
        pen(), batches=made, pulls={"black": 2, "milk": 1}, tasters=people[1:6], rng=np.random.default_rng(2)
    )
    for slot in list(plan.slots.order_by("number"))[:6]:
        label = f"{slot.batch.label}-open-{slot.number}"
        pull = Pull(label=label, batch=slot.batch, pulled_at=slot.batch.roasted_on, dose_g=18, beverage_g=36, time_s=29)
        planning.fill_slot(pen(), slot, pen().make(pull))
    planning.open_table(pen(), plan.table)


def timed(work):
    """Do some work; say how long it took by the clock, and on the processor."""
    clock, processor = time.perf_counter(), time.process_time()
    work()
    return f"{time.perf_counter() - clock:.1f} s, {time.process_time() - processor:.1f} s of them on the processor"


def write_judgements():
    """The latest hundred judged as always; older ones with the same text, and signed."""
    from django.utils import timezone

    from evenhand.bench import judging
    from evenhand.bench._judging_text import read_verdict
    from evenhand.bench.models import Judged, JudgingRun, SeasonRead
    from evenhand.output.judgement_file import to_block
    from evenhand.records.audit import head
    from evenhand.records.canonical import canonical
    from evenhand.records.coffees import current_costs
    from evenhand.records.models import Batch, Person, Verdict

    spent = timed(judging.judge_now)
    print(f"Judging {Judged.objects.count()} batches (the latest, and older unsigned ones) and keeping it: {spent}.")
    print(f"Reading the season and planning the week: {timed(judging.read_season_now)}.")
    run = JudgingRun.objects.get()
    assert not run.problem, run.problem
    sample = Judged.objects.filter(batch__pulls__isnull=False).first()
    block = canonical(to_block(read_verdict(sample.text))).decode()
    old = list(Batch.objects.filter(judged__isnull=True).select_related("version").order_by("pk"))
    Judged.objects.bulk_create(
        [
            Judged(
                batch=batch,
                seen=run.seen,
                judged_at=timezone.now(),
                decision="release",
                p_good=0.9,
                net_worth=-1,
                text=sample.text,
            )
            for batch in old
        ],
        batch_size=CHUNK,
    )
    costs, una = current_costs(), Person.objects.get(name="Una")
    for start in range(0, len(old), CHUNK):
        signed = [
            Verdict(
                batch=batch,
                version=batch.version,
                costs=costs,
                decision="release",
                advised="release",
                signed_by=una,
                signed_at=timezone.now(),
                seen=run.seen,
                judgement_text=block,
            )
            for batch in old[start : start + CHUNK]
        ]
        pen().make_many([(one, {}) for one in signed])
    # Nothing is left to do for the process that judges, so that it takes no time from the pages.
    JudgingRun.objects.update(seen=head()[0])
    SeasonRead.objects.update(seen=head()[0])


def open_session(name):
    """Log somebody in; return the session's key."""
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore

    from evenhand.bench.models import Account

    account = Account.objects.get(person__name=name)
    session = SessionStore()
    session[SESSION_KEY] = str(account.pk)
    session[BACKEND_SESSION_KEY] = "evenhand.bench.people.accounts.ByName"
    session[HASH_SESSION_KEY] = account.get_session_auth_hash()
    session.save()
    return session.session_key


def find_pages():
    """Return the address of every page by its name, with numbers that exist where an address holds one."""
    from django.urls import get_resolver

    from evenhand.bench.models import Slot
    from evenhand.records import models
    from evenhand.records.models import Batch, Coffee, GreenLot, GreenReading, Person, Pull, Recipe, Table

    middle = Batch.objects.order_by("pk")[Batch.objects.count() // 2].pk
    newest = Batch.objects.filter(pulls__isnull=False).order_by("-pk").first().pk
    table = Table.objects.get(state="open").pk
    pull = Pull.objects.order_by("-pk").first().pk
    free = Slot.objects.filter(pull__isnull=True).first().pk
    coffee, recipe, person = Coffee.objects.first().pk, Recipe.objects.first().pk, Person.objects.last().pk
    lot, reading = GreenLot.objects.first().pk, GreenReading.objects.first().pk
    # What a number in an address stands for, by the start of the page's name.
    numbers = {
        "verdict:withdraw": middle,
        "verdict:": newest,
        "coffee:batch": newest,
        "coffee:drop-batch": newest,
        "coffee:lot": lot,
        "coffee:add-reading": lot,
        "coffee:add-storage": lot,
        "coffee:reading": reading,
        "coffee:drop-reading": reading,
        "coffee:storage": models.GreenStorage.objects.first().pk,
        "coffee:": coffee,
        "table:": table,
        "taste:": table,
        "pull:slot": free,
        "pull:batch": middle,
        "pull:history": coffee,
        "pull:": pull,
        "people:pin": person,
        "setup:person": person,
        "setup:recipe": recipe,
        "setup:coffee": coffee,
        "setup:name": models.Fault.objects.first().pk,
        "setup:": 1,
    }
    texts = {"sort": "faults", "form": "zip", "code": "X"}
    found = {}
    for name, route in sorted(named(get_resolver().url_patterns)):
        if name in LEFT_OUT or name in FILES:
            continue
        number = next((value for start, value in numbers.items() if name.startswith(start)), 1)
        address = re.sub(r"<int:\w+>", str(number), route)
        address = re.sub(r"<str:(\w+)>", lambda text: texts.get(text[1], "x"), address)
        found[name] = "/" + address + ("?decision=release" if name == "verdict:sign" else "")
    found["verdict:verdicts (all)"] = "/verdicts/?state=all"
    found["verdict:verdicts (last)"] = "/verdicts/?state=all&page=9999"
    found["verdict:verdicts (signed)"] = "/verdicts/?state=release"
    found["verdict:verdict (old)"] = f"/verdicts/{middle}/"
    return found


def named(patterns, before="", space=""):
    """Yield each page's name with its room, and its route."""
    for one in patterns:
        if hasattr(one, "url_patterns"):
            inner = f"{one.namespace}:" if one.namespace else ""
            yield from named(one.url_patterns, before + str(one.pattern), space + inner)
        elif one.name:
            yield space + one.name, before + str(one.pattern)


if __name__ == "__main__":
    if CHILD in sys.argv:
        fill(int(sys.argv[-1]))
    else:
        main()
