"""The judging beside the pages: what it keeps, when it judges, and how it ends."""

import json
import os
import subprocess
import sys
import threading
import time

import pytest
from django.utils import timezone

from evenhand.bench import judging
from evenhand.bench._judging_keep import the_run
from evenhand.bench._judging_text import ENGINE, read_notes, read_verdict, write_verdict
from evenhand.bench.models import Judged, JudgingRun, SeasonRead
from evenhand.records.audit import head
from evenhand.records.coffees import revise_costs
from evenhand.records.exporting import collect
from evenhand.records.judging import arrange
from evenhand.records.models import Batch, Cup, Person
from evenhand.records.sheets import take_sheet
from evenhand.verdict.judge import judge

THIS_ENGINE = json.dumps({"engine": ENGINE})


def hand_in(pen, code="T01-417", taster="Bo", **scores):
    cup, person = Cup.objects.get(code=code), Person.objects.get(name=taster)
    return take_sheet(
        pen,
        client_id=f"{code}-{taster}-{scores}",
        cup=cup,
        taster=person,
        scores=scores or {"acidity": 4.0},
        faults={},
        tasted_at=timezone.now(),
    )


def test_every_batch_is_judged_as_the_command_judges_it(shop):
    seen = head()[0]
    assert judging.judge_now() == ("judged", "today")
    expected = {one.batch: one for one in judge(arrange(collect(), judged_on=timezone.localdate())).batches}
    found = {row.batch.label: row for row in Judged.objects.select_related("batch")}
    assert set(found) == set(expected) == {"H-01", "F-01", "H-02", "F-02"}
    for label, row in found.items():
        assert read_verdict(row.text) == expected[label]
        assert (row.decision, row.p_good) == (expected[label].decision, expected[label].p_good)
        assert row.net_worth == pytest.approx(expected[label].next_cup.worth - expected[label].next_cup.cost)
        assert row.seen == seen
    run = JudgingRun.objects.get()
    assert (run.seen, run.problem) == (seen, "")
    assert {row.coffee for row in read_notes(run.text).variances} <= {"Hollow Lantern", "Grey Ferry"}


def test_only_what_changed_is_written_anew_and_all_of_it_knows_the_newest_entry(shop, pen):
    judging.judge_now()
    before = dict(Judged.objects.values_list("batch__label", "text"))
    hand_in(pen, acidity=9.0)
    judging.judge_now()
    after = dict(Judged.objects.values_list("batch__label", "text"))
    assert after["H-01"] != before["H-01"]
    assert set(Judged.objects.values_list("seen", flat=True)) == {head()[0]}
    assert read_verdict(after["H-01"]).tasted[0].sheets == 4


def test_a_verdict_survives_being_written_and_what_is_not_understood_is_none(shop):
    for one in judge(arrange(collect(), judged_on=timezone.localdate())).batches:
        assert read_verdict(write_verdict(one)) == one
    assert read_verdict('{"batch": "H-01"}') is None
    assert read_verdict("nonsense") is None


@pytest.mark.django_db
def test_without_costs_the_run_says_what_is_missing_and_nothing_is_lost(pen):
    judging.judge_now()
    assert "No costs are written yet" in JudgingRun.objects.get().problem
    revise_costs(pen, wrong_release=400, wrong_hold=150, one_pull=3, one_taste=2, prior_bad=0.1)
    judging.judge_now()
    assert JudgingRun.objects.get().problem == ""


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


@pytest.fixture
def counted(monkeypatch):
    calls = []
    monkeypatch.setattr(judging, "judge_now", lambda: calls.append("judged") or ("judged",))
    return calls


def test_it_judges_after_a_second_of_quiet(shop, pen, counted):
    judging.judge_now()
    the_run()
    clock = Clock()
    watch = judging.Watch(clock, Job)
    JudgingRun.objects.update(seen=head()[0], text=THIS_ENGINE)
    watch._season_at = 0.0
    watch.look()
    counted.clear()
    hand_in(pen)
    assert watch.look() == ()
    clock.now = 0.6
    hand_in(pen, taster="Ana")
    assert watch.look() == ()
    clock.now = 1.2
    assert watch.look() == ()
    clock.now = 1.7
    assert watch.look() == ("judged",)
    clock.now = 9.0
    assert watch.look() == ()
    assert counted == ["judged"]


def test_sheets_that_never_pause_are_judged_after_five_seconds(shop, pen, counted):
    JudgingRun.objects.create(seen=head()[0], text=THIS_ENGINE)
    clock = Clock()
    watch = judging.Watch(clock, Job)
    watch._season_at = 0.0
    watch.look()
    first = None
    for step in range(14):
        clock.now = 0.5 * step
        hand_in(pen, acidity=4.0, taster="Bo") if step == 0 else pen.change(
            Batch.objects.get(label="H-02"), roast_time_s=600.0 + step
        )
        if watch.look() and first is None:
            first = clock.now
    assert first == 5.0


def test_what_does_not_matter_is_not_judged(shop, pen, counted):
    JudgingRun.objects.create(seen=head()[0], text=THIS_ENGINE)
    clock = Clock()
    watch = judging.Watch(clock, Job)
    watch._season_at = 0.0
    watch.look()
    pen.make(Person(name="Nil", role="taster"))
    for clock.now in (0.5, 3.0, 6.0):
        assert watch.look() == ()


def test_another_version_of_the_program_judges_again_and_reads_the_season_again(shop, counted):
    judging.read_season_now()
    JudgingRun.objects.update(seen=head()[0], text=json.dumps({"engine": "0.1.0"}))
    jobs = []
    watch = judging.Watch(Clock(), lambda: jobs.append(Job()) or jobs[-1])
    assert watch.look() == ("judged",)
    JudgingRun.objects.update(text=THIS_ENGINE)  # as a judging does
    watch.look()
    assert len(jobs) == 1
    again = judging.Watch(Clock(), lambda: jobs.append(Job()) or jobs[-1])
    again.look()
    assert len(jobs) == 1  # what this version kept is not read anew


class Job:
    """A reading of the season that is done when it is told so."""

    def __init__(self):
        self.done = self.stopped = False

    def topics(self):
        return ("coffee-1",) if self.done else None

    def stop(self):
        self.stopped = True


def test_the_season_is_read_while_no_table_is_open_and_once_a_minute(shop, pen, counted):
    from evenhand.records.models import Table

    JudgingRun.objects.create(seen=head()[0], text=THIS_ENGINE)
    table = pen.make(Table(name="T09", state="open", opened_at=timezone.now()))
    clock, jobs = Clock(), []
    watch = judging.Watch(clock, lambda: jobs.append(Job()) or jobs[-1])
    assert watch.look() == ()
    assert jobs == []
    pen.change(table, state="closed", closed_at=timezone.now())
    assert watch.look() == ()
    assert len(jobs) == 1
    pen.change(table, state="open")
    assert watch.look() == ()
    assert jobs[0].stopped  # whoever tastes now waits for nothing
    pen.change(table, state="closed")
    watch.look()
    assert len(jobs) == 2
    jobs[1].done = True
    assert watch.look() == ("coffee-1",)
    pen.change(Batch.objects.get(label="H-02"), roast_time_s=611.0)
    for clock.now in (2.0, 4.0, 30.0, 59.0):
        watch.look()
    assert len(jobs) == 2
    clock.now = 61.0
    watch.look()
    assert len(jobs) == 3
    watch.stop()
    assert jobs[2].stopped


def test_the_season_is_read_by_a_process_of_its_own(tmp_path, fill, monkeypatch):
    fill(tmp_path)
    monkeypatch.setenv("EVENHAND_DATA", os.fspath(tmp_path))
    job = judging.SeasonProcess()
    for _ in range(600):
        topics = job.topics()
        if topics is not None:
            break
        time.sleep(0.1)
    assert "today" in topics
    assert any(topic.startswith("coffee-") for topic in topics)
    stopped = judging.SeasonProcess()
    stopped.stop()
    assert stopped.topics() == ()


def test_the_season_of_each_coffee_is_kept(shop):
    topics = judging.read_season_now()
    rows = {row.coffee.name: row for row in SeasonRead.objects.select_related("coffee")}
    assert set(rows) == {"Hollow Lantern", "Grey Ferry"}
    assert {row.state for row in rows.values()} == {"too_little"}  # two batches a coffee
    assert {f"coffee-{row.pk}" for row in rows.values()} <= set(topics)
    assert json.loads(rows["Grey Ferry"].text)["batches"] == 2
    for row in rows.values():
        assert "style=" not in row.html
        assert "<style" not in row.html
        assert "<script" not in row.html


def test_the_process_judges_a_new_sheet_says_so_and_ends_with_its_input(tmp_path, fill):
    fill(tmp_path)
    environment = {**os.environ, "EVENHAND_DATA": os.fspath(tmp_path)}
    process = subprocess.Popen(
        [sys.executable, "-m", "evenhand.bench.judging"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
    )
    try:
        assert process.stdout.readline() == "judged\n"
        started = time.monotonic()
        process.stdin.close()
        assert process.wait(10) == 0
        assert time.monotonic() - started < 8
        assert process.stderr.read() == ""
    finally:
        process.kill()


def test_an_unforeseen_error_is_told_and_the_looking_goes_on(shop, pen, monkeypatch, capsys):
    tries, said, stopped = [], [], threading.Event()

    def fail():
        tries.append(1)
        if len(tries) == 2:
            stopped.set()
            return ("judged",)
        hand_in(pen, acidity=4.0, taster="Bo")
        raise ValueError("a matrix fell over")

    monkeypatch.setattr(judging, "judge_now", fail)
    monkeypatch.setattr(judging, "_PATIENCE_S", 0.01)
    monkeypatch.setattr(judging, "_POLL_S", 0.01)
    monkeypatch.setattr(judging, "_QUIET_S", 0.0)
    judging.run(stopped, said.append)
    assert len(tries) == 2
    assert said == ["judged", "judged"]
    assert "a matrix fell over" in JudgingRun.objects.get().problem
    assert "ValueError" in capsys.readouterr().err


_READ_WHILE_WRITTEN = """
import threading
import django
django.setup()
from django.db import connection
from django.utils import timezone
from evenhand.bench._judging_window import one_moment
from evenhand.records.audit import Pen
from evenhand.records.models import Batch

written = threading.Event()

def write():
    pen = Pen(who="Una", at=timezone.localtime())
    pen.change(Batch.objects.get(label="H-02"), roast_time_s=655.0)
    connection.close()
    written.set()

def seen():
    return Batch.objects.get(label="H-02").roast_time_s

with one_moment():
    before = seen()
    threading.Thread(target=write).start()
    print(written.wait(20), seen() == before)
print(seen())
"""


def test_reading_the_window_keeps_nobody_from_writing_and_sees_one_moment(tmp_path, fill):
    fill(tmp_path)
    environment = {
        **os.environ,
        "EVENHAND_DATA": os.fspath(tmp_path),
        "DJANGO_SETTINGS_MODULE": "evenhand.bench.settings",
    }
    command = [sys.executable, "-c", _READ_WHILE_WRITTEN]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60)
    assert done.stdout.split() == ["True", "True", "655.0"], done.stderr
