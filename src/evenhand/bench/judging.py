"""The process that judges beside the pages: it looks for new entries in the history and judges what changed.

Run as ``python -m evenhand.bench.judging``. It prints a topic for each thing that the pages should ask for again, and
ends when its standard input is closed, so that it never outlives the server.
"""

import contextlib
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

_POLL_S = 0.5
_QUIET_S, _PATIENCE_S = 1.0, 5.0
_SEASON_EVERY_S = 60.0
_NICE = 10
_GRACE_S = 3.0
_SEASON = "--season"

JUDGED_KINDS = frozenset(
    {"sheet", "pull", "cup", "batch", "coffeeversion", "recipeversion", "costsversion", "attribute", "shop"}
)
"""Kinds of entry after which the batches are judged again."""

SEASON_KINDS = JUDGED_KINDS | {"batchlot", "greenlot", "greenreading", "greenstorage"}
"""Kinds of entry after which the season is read again."""

Say = Callable[[str], None]


def judge_now() -> tuple[str, ...]:
    """Judge the batches at hand and keep the verdicts, so that every page finds them ready.

    Returns
    -------
    tuple of str
        Topics that pages should ask for again. What keeps it from judging is kept as a sentence, never raised.
    """
    from django.utils import timezone

    from evenhand.bench import _judging_keep as keep
    from evenhand.bench._judging_window import collect_to_judge
    from evenhand.errors import EvenhandError
    from evenhand.records.judging import arrange
    from evenhand.verdict.judge import judge

    run = keep.begin(timezone.now())
    try:
        seen, folder = collect_to_judge(run.seen)
        judgement = judge(arrange(folder, judged_on=timezone.localdate())) if folder.batches else None
    except EvenhandError as error:
        keep.give_up(run, error.args[0], timezone.now())
        return ("judged", "today")
    keep.keep_judgement(run, judgement, seen, timezone.now())
    return ("judged", "today")


def read_season_now() -> tuple[str, ...]:
    """Read the season of every coffee and keep it; as `judge_now`."""
    from django.utils import timezone

    from evenhand.bench import _judging_season as season
    from evenhand.errors import EvenhandError

    try:
        return season.read_and_keep(timezone.now(), timezone.localdate())
    except EvenhandError as error:
        season.note_problem(error.args[0])
        return ("today",)


class SeasonJob(Protocol):
    """A reading of the season under way."""

    def topics(self) -> tuple[str, ...] | None:
        """Return the topics that changed once it is done; None until then."""

    def stop(self) -> None:
        """Give it up; nothing is half kept."""


class SeasonProcess:
    """Reads the season in a process of its own: it takes far longer than a judging, which must not wait for it."""

    def __init__(self) -> None:
        command = [sys.executable, "-m", "evenhand.bench.judging", _SEASON]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def topics(self) -> tuple[str, ...] | None:
        """Return the topics that changed once it is done; None until then."""
        if self._process.poll() is None:
            return None
        return tuple(self._process.communicate()[0].split())

    def stop(self) -> None:
        """Give it up; nothing is half kept."""
        self._process.terminate()
        self._process.communicate()


@dataclass
class Watch:
    """Looks at the history and decides when to judge: after a moment of quiet, but never much later.

    The season is read at most once a minute, and only while no table is open.

    Attributes
    ----------
    clock
        Seconds that only grow.
    start_season
        Starts a reading of the season.
    """

    clock: Callable[[], float] = time.monotonic
    start_season: Callable[[], SeasonJob] = SeasonProcess
    _looked: int | None = field(default=None, init=False)
    _last_new: float = field(default=0.0, init=False)
    _first_new: float | None = field(default=None, init=False)
    _season_seen: int = field(default=-1, init=False)
    _season_at: float | None = field(default=None, init=False)
    _job: SeasonJob | None = field(default=None, init=False)
    _job_seen: int = field(default=0, init=False)

    def look(self) -> tuple[str, ...]:
        """Judge if it is time to; return the topics that changed."""
        from evenhand.bench.models import JudgingRun
        from evenhand.records.audit import head

        now, last = self.clock(), head()[0]
        run = JudgingRun.objects.order_by("pk").first() or JudgingRun()
        if self._looked is None:
            self._looked = run.seen
            if not _is_of_this_engine(run):
                self._first_new = self._last_new = now - _QUIET_S
                self._season_seen = 0  # what was kept of the season is in another engine's words
        if last > self._looked:
            if _is_there(self._looked, JUDGED_KINDS):
                self._first_new = now if self._first_new is None else self._first_new
                self._last_new = now
            self._looked = last
        waiting = self._first_new
        if waiting is not None and (now - self._last_new >= _QUIET_S or now - waiting >= _PATIENCE_S):
            self._first_new = None
            return judge_now()
        return self._look_at_season(now, last, is_quiet=waiting is None)

    def stop(self) -> None:
        """Give up what is under way."""
        if self._job is not None:
            self._job.stop()
            self._job = None

    def _look_at_season(self, now: float, last: int, *, is_quiet: bool) -> tuple[str, ...]:
        from evenhand.bench._judging_season import season_seen
        from evenhand.records.models import Table

        if self._job is None and self._season_at is not None and now - self._season_at < _SEASON_EVERY_S:
            return ()
        if self._season_seen < 0:
            self._season_seen = season_seen()
        if self._job is None and last <= self._season_seen:
            return ()
        if Table.objects.filter(state="open").exists():
            self.stop()  # whoever tastes now waits for nothing
            return ()
        if self._job is None:
            if not _is_there(self._season_seen, SEASON_KINDS):
                self._season_seen = last
            elif is_quiet:
                self._job, self._job_seen = self.start_season(), last
            return ()
        topics = self._job.topics()
        if topics is None:
            return ()
        self._job, self._season_at, self._season_seen = None, now, self._job_seen
        return topics


def _is_there(after: int, kinds: frozenset[str]) -> bool:
    from evenhand.records.models import Entry

    return Entry.objects.filter(seq__gt=after, kind__in=kinds).exists()


def _is_of_this_engine(run: object) -> bool:
    from evenhand.bench._judging_text import ENGINE, read_notes

    return read_notes(getattr(run, "text", "")).engine == ENGINE


def run(stopped: threading.Event, say: Say) -> None:
    """Look at the history twice a second until told to stop; an error is said and the looking goes on."""
    from django.db import close_old_connections

    from evenhand.bench._judging_keep import note_crash

    watch = Watch()
    while not stopped.is_set():
        try:
            for topic in watch.look():
                say(topic)
        except Exception as error:  # whatever it is: the pages must hear of it, and the next sheet be judged
            sys.stderr.write(f"Judging failed: {type(error).__name__}: {error}\n")
            with contextlib.suppress(Exception):
                note_crash(error)
                say("judged")
            stopped.wait(_PATIENCE_S)
            close_old_connections()
        stopped.wait(_POLL_S)
    watch.stop()


def main() -> None:
    """Judge until standard input is closed."""
    with contextlib.suppress(OSError):
        os.nice(_NICE)  # a sheet that arrives goes before a fit
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "evenhand.bench.settings")
    import django

    django.setup()
    stopped = threading.Event()

    def wait_for_the_end() -> None:
        with contextlib.suppress(OSError, ValueError):
            sys.stdin.buffer.read()
        stopped.set()
        time.sleep(_GRACE_S)  # a fit under way is not worth waiting for: nothing is half written
        os._exit(0)

    threading.Thread(target=wait_for_the_end, name="end", daemon=True).start()

    def say(topic: str) -> None:
        print(topic, flush=True)

    with contextlib.suppress(BrokenPipeError):
        if _SEASON in sys.argv:
            for topic in read_season_now():
                say(topic)
        else:
            run(stopped, say)


if __name__ == "__main__":
    main()
