"""Judgements kept at hand, so that a page opens at once: all of it can be worked out again from the records."""

from django.db import models

from evenhand.records.models import Batch, Coffee
from evenhand.records.models._verdict import DECISIONS


class Judged(models.Model):
    """What the last judging said of one batch.

    Attributes
    ----------
    seen
        Number of the last entry of the history that the judgement knew.
    net_worth
        What the best next tasting would save on average, less its price.
    text
        The batch's verdict (`evenhand.verdict.judgement.BatchVerdict`) as JSON.
    """

    batch = models.OneToOneField(Batch, models.CASCADE, primary_key=True, related_name="judged")
    seen = models.BigIntegerField()
    judged_at = models.DateTimeField()
    decision = models.CharField(max_length=11, choices=DECISIONS)
    p_good = models.FloatField()
    net_worth = models.FloatField()
    text = models.TextField()

    class Meta:
        verbose_name = "judgement at hand"

    def __str__(self) -> str:
        return f"{self.batch.label}: {self.decision}"


class JudgingRun(models.Model):
    """The last judging of all: what it knew, how it went, and what it warned of. There is one row.

    Attributes
    ----------
    problem
        The sentence that says why the last judging failed, empty if it did not.
    text
        JSON: warnings, variances and caffeine of the judgement.
    """

    seen = models.BigIntegerField(default=0)
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    problem = models.TextField(blank=True, default="")
    text = models.TextField(blank=True, default="")

    class Meta:
        verbose_name = "judging"

    def __str__(self) -> str:
        return f"judging up to entry {self.seen}"


class SeasonRead(models.Model):
    """What the last reading of the season said of one coffee.

    Attributes
    ----------
    html
        The coffee's season as a fragment of a page, safe to show: all text in it was escaped when it was built.
    text
        JSON of what lists need: sentences, months of life, rows for the tasting plan.
    """

    coffee = models.OneToOneField(Coffee, models.CASCADE, primary_key=True, related_name="season_read")
    seen = models.BigIntegerField()
    read_at = models.DateTimeField()
    state = models.CharField(max_length=20)
    html = models.TextField(blank=True, default="")
    text = models.TextField(blank=True, default="")

    class Meta:
        verbose_name = "season at hand"

    def __str__(self) -> str:
        return f"{self.coffee.name}: {self.state}"
