"""The records start where they are wanted, and nowhere else."""

import os
import subprocess
import sys

import pytest
from django.core.management import call_command


def run(code, **environment):
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("DJANGO_", "EVENHAND_"))}
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=clean | environment, check=False
    )


@pytest.mark.parametrize("module", ["evenhand", "evenhand.cli", "evenhand.records.folder", "evenhand.records.judging"])
def test_judging_a_folder_needs_no_django(module):
    found = run(
        f"import {module}, sys; print(*sorted(m for m in sys.modules if m.split('.')[0] in ('django', 'psycopg')))"
    )
    assert (found.returncode, found.stdout.strip()) == (0, ""), found.stderr


def test_a_wrong_address_is_told_at_the_start():
    found = run("from evenhand.records.opening import open_records; open_records()", EVENHAND_DATABASE_URL="nonsense")
    assert found.returncode == 1
    assert "does not begin with postgresql" in found.stderr


def test_opening_makes_the_tables_in_a_new_folder_and_loads_no_science(tmp_path):
    code = """
import datetime, sys
from evenhand.records.opening import open_records
print(open_records())
from evenhand.records.audit import Pen
from evenhand.records.models import Person
import evenhand.records.importing, evenhand.records.exporting, evenhand.records.signing
from evenhand.records.chain import verify_chain
Pen(who="Una", at=datetime.datetime.now(datetime.UTC)).make(Person(name="Una"))
print(verify_chain().broken, [m for m in ("scipy", "numpy") if m in sys.modules])
"""
    found = run(code, EVENHAND_DATA=str(tmp_path / "shop"))
    assert found.stdout.split("\n")[:2] == ["[]", "None []"], found.stderr
    assert {path.name for path in (tmp_path / "shop").iterdir()} >= {"evenhand.sqlite3", "history.key"}


@pytest.mark.django_db
def test_the_migrations_say_what_the_models_say():
    call_command("makemigrations", "records", check=True, dry_run=True, verbosity=0)
