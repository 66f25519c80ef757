"""The same tests again, on a PostgreSQL server that is started for them and thrown away."""

import os
import pwd
import shutil
import socket
import subprocess
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path

import pytest

pytestmark = [pytest.mark.database, pytest.mark.slow]

# What speaks to the database; the other files test what SQLite alone has, or nothing that is stored.
FILES = [
    "test_audit.py",
    "test_chain.py",
    "test_coffees.py",
    "test_folder_and_back.py",
    "test_sheets.py",
    "test_signing.py",
    "test_together.py",
]


def programs():
    """Return the folder of the server's programs, the newest if there are several, or None."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else (Path(on_path).resolve().parent if on_path else None)


def unprivileged():
    """Return the user to run the server as: initdb refuses root, so root hands it to somebody who may do nothing."""
    if os.getuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    pytest.skip("needs a user other than root to run PostgreSQL as")


@pytest.fixture(scope="module")
def server():
    """Start a private server on a port of its own; it listens on a socket in its own folder and on nothing else."""
    bin_folder = programs()
    if bin_folder is None or find_spec("psycopg") is None:
        pytest.skip("needs the programs of PostgreSQL (initdb, pg_ctl) and psycopg")
    user = unprivileged()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    folder = Path(tempfile.mkdtemp(prefix="eh-pg-", dir="/tmp"))  # the path of a socket must be short
    data = folder / "data"

    def run(program, *words):
        done = subprocess.run(
            [bin_folder / program, *words],
            user=None if user is None else user.pw_uid,
            group=None if user is None else user.pw_gid,
            extra_groups=None if user is None else [],
            cwd=folder,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert done.returncode == 0, f"{program}: {done.stderr}"

    if user is not None:
        os.chown(folder, user.pw_uid, user.pw_gid)
    try:
        run("initdb", "-D", data, "-U", "evenhand", "--auth=trust", "-E", "UTF8", "--locale=C", "--no-sync")
        options = f"-p {port} -k {folder} -c listen_addresses='' -c fsync=off"
        run("pg_ctl", "-D", data, "-w", "-l", folder / "log", "-o", options, "start")
        try:
            run("createdb", "-h", folder, "-p", str(port), "-U", "evenhand", "evenhand")
            yield f"postgresql://evenhand@/evenhand?host={folder}&port={port}"
        finally:
            run("pg_ctl", "-D", data, "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def test_the_records_keep_their_promises_on_postgresql(server):
    here = Path(__file__).parent
    run = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *(here / file for file in FILES)],
        cwd=here.parents[2],
        env=os.environ | {"EVENHAND_DATABASE_URL": server},
        capture_output=True,
        text=True,
    )
    assert run.returncode == 0, run.stdout[-6000:] + run.stderr[-2000:]
    assert " passed" in run.stdout
    assert "skipped" not in run.stdout
