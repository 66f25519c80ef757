"""The same tests again, on a PostgreSQL server that is started for them and thrown away."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = [pytest.mark.database, pytest.mark.slow]

# What speaks to the database; the other files test what SQLite alone has, or nothing that is stored.
FILES = [
    "test_audit.py",
    "test_chain.py",
    "test_coffees.py",
    "test_folder_and_back.py",
    "test_green_and_back.py",
    "test_recent.py",
    "test_sheets.py",
    "test_signing.py",
    "test_together.py",
]


def test_the_records_keep_their_promises_on_postgresql(postgresql):
    here = Path(__file__).parent
    run = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *(here / file for file in FILES)],
        cwd=here.parents[2],
        env=os.environ | {"EVENHAND_DATABASE_URL": postgresql},
        capture_output=True,
        text=True,
    )
    assert run.returncode == 0, run.stdout[-6000:] + run.stderr[-2000:]
    assert " passed" in run.stdout
    assert "skipped" not in run.stdout
