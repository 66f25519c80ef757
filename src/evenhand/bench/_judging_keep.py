"""Keeps what a judging said: one row a batch, rewritten only where it changed, and one row for the judging itself."""

import datetime as dt
from dataclasses import replace
from typing import Any

from django.db import transaction

from evenhand.bench._judging_text import ENGINE, keep_words, read_notes, write_notes, write_verdict
from evenhand.bench.models import Judged, JudgingRun
from evenhand.records.models import Batch
from evenhand.verdict.judgement import Judgement
from evenhand.words import say

_ROWS_AT_ONCE = 100


def the_run() -> JudgingRun:
    """Return the one row that tells of the last judging, made where there is none."""
    return JudgingRun.objects.order_by("pk").first() or JudgingRun.objects.create()


def begin(now: dt.datetime) -> JudgingRun:
    """Note that a judging begins."""
    run = the_run()
    run.started_at = now
    run.save(update_fields=["started_at"])
    return run


def give_up(run: JudgingRun, problem: str, now: dt.datetime) -> None:
    """Note why nothing could be judged; what was judged before stays."""
    run.problem, run.finished_at = keep_words(problem), now
    run.save(update_fields=["problem", "finished_at"])


def note_crash(error: Exception) -> None:
    """Note an error that nobody foresaw."""
    problem = say(
        "The judging failed on something unforeseen ({name}: {error}); it is tried again with the next sheet.",
        name=type(error).__name__,
        error=error,
    )
    JudgingRun.objects.filter(pk=the_run().pk).update(problem=keep_words(problem))


def keep_judgement(run: JudgingRun, judgement: Judgement | None, seen: int, now: dt.datetime) -> int:
    """Keep the verdicts of a judging, all or none.

    Parameters
    ----------
    run
        The row of the judging.
    judgement
        Its verdicts; None where there is no batch.
    seen
        Number of the last entry of the history that it knew.
    now
        When it was made.

    Returns
    -------
    int
        How many batches are judged differently than before.
    """
    verdicts = {one.batch: (one, write_verdict(one)) for one in judgement.batches} if judgement else {}
    with transaction.atomic():
        numbers = dict(Batch.objects.filter(label__in=verdicts).values_list("label", "pk"))
        before = dict(Judged.objects.filter(pk__in=numbers.values()).values_list("pk", "text"))
        changed, same = [], []
        for label, (verdict, text) in verdicts.items():
            number = numbers.get(label)
            if number is None:  # removed or renamed while it was judged
                continue
            if before.get(number) == text:
                same.append(number)
                continue
            changed.append(
                Judged(
                    batch_id=number,
                    seen=seen,
                    judged_at=now,
                    decision=verdict.decision,
                    p_good=verdict.p_good,
                    net_worth=verdict.next_cup.worth - verdict.next_cup.cost,
                    text=text,
                )
            )
        Judged.objects.bulk_create(
            changed,
            batch_size=_ROWS_AT_ONCE,
            update_conflicts=True,
            unique_fields=["batch"],
            update_fields=["seen", "judged_at", "decision", "p_good", "net_worth", "text"],
        )
        Judged.objects.filter(pk__in=same).update(seen=seen, judged_at=now)
        notes = replace(read_notes(run.text), engine=ENGINE)
        if judgement is not None:
            notes = replace(
                notes,
                warnings=judgement.warnings,
                variances=judgement.variances,
                caffeine=judgement.caffeine,
            )
        run.seen, run.finished_at, run.problem, run.text = seen, now, "", write_notes(notes)
        run.save(update_fields=["seen", "finished_at", "problem", "text"])
    return len(changed)


def keep_notes(**notes: Any) -> None:
    """Keep what was found besides the verdicts: see `RunNotes`."""
    with transaction.atomic():
        run = the_run()
        run.text = write_notes(replace(read_notes(run.text), **notes))
        run.save(update_fields=["text"])
