"""What was decided: signed verdicts, and their withdrawals. Neither is ever changed or deleted."""

import json
from typing import Any

from django.db import models

from evenhand.records.models._coffee import CoffeeVersion, CostsVersion, Person
from evenhand.records.models._fields import WordsField
from evenhand.records.models._kept import Kept
from evenhand.records.models._tasting import Batch
from evenhand.words import say

DECISIONS = [("release", say("release")), ("taste_again", say("taste again")), ("hold", say("hold"))]


class Verdict(Kept):
    """What somebody signed for one batch, with the judgement that stood before them.

    Attributes
    ----------
    version, costs
        The targets, recipe and costs in force when it was signed.
    seen
        The number of the last entry in the history that the judgement knew.
    judgement_text
        Canonical JSON of the judgement: probabilities, costs, profile, faults, pulls, reasons.
    """

    is_final = True

    batch = models.ForeignKey(Batch, models.PROTECT, related_name="verdicts")
    version = models.ForeignKey(CoffeeVersion, models.PROTECT, related_name="verdicts")
    costs = models.ForeignKey(CostsVersion, models.PROTECT, related_name="verdicts")
    decision = models.CharField(max_length=11, choices=DECISIONS)
    advised = models.CharField(max_length=11, choices=DECISIONS)
    signed_by = models.ForeignKey(Person, models.PROTECT, related_name="verdicts")
    signed_at = models.DateTimeField()
    note = WordsField(blank=True, default="")
    seen = models.BigIntegerField()
    judgement_text = models.TextField()

    class Meta(Kept.Meta):
        verbose_name = say("verdict")

    def __str__(self) -> str:
        return say("{decision} {batch}", decision=self.get_decision_display(), batch=self.batch.label)

    @property
    def judgement(self) -> dict[str, Any]:
        """The judgement as plain data."""
        found: dict[str, Any] = json.loads(self.judgement_text)
        return found


class Withdrawal(Kept):
    """The taking back of one verdict: by whom, when and why. The verdict stays where it is."""

    is_final = True

    verdict = models.OneToOneField(Verdict, models.PROTECT, related_name="withdrawal")
    withdrawn_by = models.ForeignKey(Person, models.PROTECT, related_name="withdrawals")
    withdrawn_at = models.DateTimeField()
    reason = WordsField()

    class Meta(Kept.Meta):
        verbose_name = say("withdrawal")

    def __str__(self) -> str:
        return say("withdrawal of {verdict}", verdict=self.verdict)
