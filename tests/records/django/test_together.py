"""Programs write at once, and one is killed: every sheet that was answered is there, once, in a whole history."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

WORKER = Path(__file__).with_name("_worker.py")

SHOP = """
import datetime, sys
from evenhand.records.opening import open_records
open_records()
from django.core.management import call_command
call_command("flush", interactive=False, verbosity=0)
from evenhand.records.audit import Pen
from evenhand.records.importing import import_path
from evenhand.records.models import Cup, Pull
pen = Pen(who="Una", at=datetime.datetime(2026, 6, 1, tzinfo=datetime.UTC))
import_path(pen, sys.argv[1], dry_run=False)
pull = Pull.objects.get(label="P1")
pen.make_many([(Cup(code=f"c{n}", pull=pull, service="black"), {}) for n in range(400)])
"""

LOOK = """
from evenhand.records.opening import open_records
open_records()
from evenhand.records.chain import verify_chain
from evenhand.records.models import Sheet
print(verify_chain().broken)
print(*Sheet.objects.filter(client_id__startswith="c").order_by("pk").values_list("client_id", flat=True))
"""


VERIFY_OFTEN = """
from evenhand.records.opening import open_records
open_records()
from evenhand.records.chain import verify_chain
print("ready", flush=True)
found = [verify_chain() for _ in range(25)]
print(found[0].entries, found[-1].entries, [f.broken for f in found if f.broken])
"""


@pytest.fixture
def environment(write, good, tmp_path):
    """Make a shop in a database of its own: a file, or the PostgreSQL database of the environment, emptied first."""
    found = os.environ | {
        "EVENHAND_DATA": str(tmp_path / "data"),
        "DJANGO_SETTINGS_MODULE": "evenhand.records.settings",
    }
    found.pop("EVENHAND_KEY_FILE", None)
    subprocess.run([sys.executable, "-c", SHOP, str(write(good))], env=found, check=True)
    return found


def start(environment, client_ids):
    worker = subprocess.Popen(
        [sys.executable, WORKER, ",".join(client_ids)],
        env=environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert worker.stdout.readline() == "ready\n"
    return worker


def go(worker):
    worker.stdin.write("go\n")
    worker.stdin.flush()


def look(environment):
    run = subprocess.run([sys.executable, "-c", LOOK], env=environment, capture_output=True, text=True, check=True)
    broken, stored = run.stdout.rstrip("\n").split("\n")
    return broken, stored.split()


def test_the_same_sheets_from_three_programs_are_stored_once(environment):
    ids = [f"c{n}" for n in range(25)]
    workers = [start(environment, ids) for _ in range(3)]
    for worker in workers:
        go(worker)
    answers = [line.split() for worker in workers for line in worker.communicate()[0].splitlines()]
    assert all(worker.returncode == 0 for worker in workers)
    assert len(answers) == 75
    assert sorted(client_id for client_id, is_new in answers if is_new == "True") == sorted(ids)
    broken, stored = look(environment)
    assert broken == "None"
    assert sorted(stored) == sorted(ids)


def test_what_was_answered_outlives_a_kill(environment):
    ids = [f"c{n}" for n in range(400)]
    worker = start(environment, ids)
    go(worker)
    answered = [worker.stdout.readline().split()[0] for _ in range(30)]
    worker.send_signal(signal.SIGKILL)
    answered += [line.split()[0] for line in worker.stdout.read().splitlines() if line.endswith("True")]
    worker.wait()
    assert 30 <= len(answered) < 400
    broken, stored = look(environment)
    assert broken == "None"
    assert len(stored) == len(set(stored))
    assert set(answered) <= set(stored)
    assert len(stored) - len(answered) <= 1, "at most the one under way was stored without an answer"


def test_looking_for_tampering_while_somebody_writes_finds_none(environment):
    worker = start(environment, [f"c{n}" for n in range(400)])
    looker = subprocess.Popen([sys.executable, "-c", VERIFY_OFTEN], env=environment, stdout=subprocess.PIPE, text=True)
    assert looker.stdout.readline() == "ready\n"
    go(worker)
    first, last, broken = looker.communicate()[0].split(" ", 2)
    worker.kill()
    worker.communicate()
    assert (looker.returncode, broken) == (0, "[]\n")
    assert int(last) > int(first), "somebody wrote in the meantime"
