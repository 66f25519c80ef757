"""What every test run shares: how a test left out is told, a silent tongue, a browser, an event loop, a PostgreSQL.

A test that needs a browser or a server skips itself with one sentence where that is absent. The closing lines then say
how many were left out and why. With EVENHAND_FORBID_SKIPS=1, as in the project's own check, each is a failure, and so
is a run that leaves tests out by selection.
"""

import asyncio
import os
import pwd
import re
import runpy
import shutil
import socket
import subprocess
import tempfile
from collections import Counter
from collections.abc import Callable, Coroutine, Generator, Iterator
from concurrent.futures import ThreadPoolExecutor
from importlib.util import find_spec
from pathlib import Path
from string import Formatter
from typing import Any

import pytest
from hypothesis import settings

from evenhand.words import Tongue, Words, tell

FORBID = os.environ.get("EVENHAND_FORBID_SKIPS", "") not in ("", "0")

# Examples are drawn the same way on every machine, and no example is timed: a slow machine is not a defect.
# HYPOTHESIS_PROFILE=explore looks for new ones.
settings.register_profile("same", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("explore", deadline=None, print_blob=True, max_examples=1000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))

_left_out: Counter[str] = Counter()
_deselected = 0


def _told(report: Any) -> str:
    """Return the sentence with which a test was left out."""
    reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    return reason.removeprefix("Skipped: ")


def _count(report: Any) -> None:
    """Note a test that was left out, and fail it where leaving out is forbidden."""
    if report.skipped and not hasattr(report, "wasxfail"):
        reason = _told(report)
        _left_out[reason] += 1
        if FORBID:
            report.outcome = "failed"
            report.longrepr = f"left out, which EVENHAND_FORBID_SKIPS forbids: {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, Any, Any]:
    report = yield
    _count(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, Any, Any]:
    report = yield
    _count(report)
    return report


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Run the tests with a browser last: its driver holds the loop of the thread, and Django refuses to work in one."""
    items.sort(key=lambda item: item.get_closest_marker("browser") is not None)


def pytest_deselected(items: list[pytest.Item]) -> None:
    global _deselected
    _deselected += len(items)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    if FORBID and _deselected and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: Any) -> None:
    for reason, times in _left_out.most_common():
        terminalreporter.write_line(f"left out: {times} test(s) or file(s): {reason}")
    if _deselected:
        terminalreporter.write_line(f"left out: {_deselected} test(s), by selection")
    terminalreporter.write_line(f"left out in all: {_left_out.total() + _deselected}")


# A tongue without words. What is left of a sentence that is told in it was put into a pattern, and stays English in
# every language: it must be data.

_UNTOLD = re.compile(r"[^\W\d_][\w-]*|\d+\.\d+")


def _silence(pattern: str) -> str:
    """Take letters, figures and braces out of a pattern, and leave its fields and the signs between them."""
    return "".join(
        re.sub(r"[\w{}]", "", text)
        + ("" if name is None else f"{{{name}{f'!{conversion}' if conversion else ''}:{form}}}")
        for text, name, form, conversion in Formatter().parse(pattern)
    )


@pytest.fixture(scope="session")
def silent() -> Tongue:
    """Return the tongue; no sign of its numbers is a point, so that a number with one was put in as text."""
    return Tongue(
        one=_silence,
        many=lambda one, many, count: _silence(one if count == 1 else many),
        decimal=",",
        group="\N{NARROW NO-BREAK SPACE}",
    )


@pytest.fixture(scope="session")
def untold(silent: Tongue) -> Callable[[str], set[str]]:
    """Return a function that gives the words of a sentence that no catalogue can reach, and numbers with a point.

    It fails where the sentence is plain text, which can be told in no other language. A word goes on over figures and
    hyphens: B07 is one, and so is two-handed.
    """

    def find(said: str) -> set[str]:
        assert isinstance(said, Words), f"{said!r} can be told in no other language"
        return set(_UNTOLD.findall(tell(said, silent)))

    return find


# A browser: one for the whole run, since its driver can be started once in a thread.


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """Start Debian's Chromium once."""
    how = runpy.run_path(os.fspath(Path(__file__).parent / "browser.py"))
    if find_spec("playwright") is None or find_spec("axe_playwright_python") is None or not how["CHROMIUM"].exists():
        pytest.skip("needs playwright, axe-playwright-python and /usr/bin/chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=os.fspath(how["CHROMIUM"]), args=how["FLAGS"])
        yield started
        started.close()


@pytest.fixture(scope="session")
def axe(chromium: Any) -> str:
    """Return the text of axe-core."""
    import axe_playwright_python

    return (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture
def run_apart() -> Callable[[Coroutine[Any, Any, Any]], Any]:
    """Return a function that runs a coroutine in a thread of its own: the browser's driver holds this thread's loop."""

    def run(coroutine: Coroutine[Any, Any, Any]) -> Any:
        with ThreadPoolExecutor(1) as pool:
            return pool.submit(asyncio.run, coroutine).result()

    return run


# A PostgreSQL server that is started for the tests that want one and thrown away.


def _programs() -> Path | None:
    """Return the folder of the server's programs, the newest if there are several, or None."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else (Path(on_path).resolve().parent if on_path else None)


def _unprivileged() -> pwd.struct_passwd | None:
    """Return the user to run the server as: initdb refuses root, so root hands it to somebody who may do nothing."""
    if os.getuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    pytest.skip("needs a user other than root to run PostgreSQL as")


@pytest.fixture(scope="session")
def postgresql_databases() -> Iterator[Callable[[], str]]:
    """Start a private server that listens on a socket in its own folder alone; each call makes a database in it."""
    bin_folder = _programs()
    if bin_folder is None or find_spec("psycopg") is None:
        pytest.skip("needs the programs of PostgreSQL (initdb, pg_ctl) and psycopg")
    user = _unprivileged()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    folder = Path(tempfile.mkdtemp(prefix="eh-pg-", dir="/tmp"))  # the path of a socket must be short
    data = folder / "data"

    def run(program: str, *words: str | Path) -> None:
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

    made: list[str] = []

    def make() -> str:
        made.append(f"evenhand{len(made)}")
        run("createdb", "-h", folder, "-p", str(port), "-U", "evenhand", made[-1])
        return f"postgresql://evenhand@/{made[-1]}?host={folder}&port={port}"

    if user is not None:
        os.chown(folder, user.pw_uid, user.pw_gid)
    try:
        run("initdb", "-D", data, "-U", "evenhand", "--auth=trust", "-E", "UTF8", "--locale=C", "--no-sync")
        options = f"-p {port} -k {folder} -c listen_addresses='' -c fsync=off"
        run("pg_ctl", "-D", data, "-w", "-l", folder / "log", "-o", options, "start")
        try:
            yield make
        finally:
            run("pg_ctl", "-D", data, "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def postgresql(postgresql_databases: Callable[[], str]) -> str:
    """Return the address of a database of this test's own."""
    return postgresql_databases()
