"""The plain form of one cup, for a browser without scripts; and its rows as the page shows them, with or without."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from evenhand.bench.forms import BenchForm, NumberField
from evenhand.bench.taste.reading import CupToTaste, Questions
from evenhand.records.models import Attribute

_STEPS = 20


@dataclass(frozen=True, slots=True)
class Row:
    """One attribute as a row of the form: its scale, the step of its slider, and what stands in it, as typed."""

    field: str
    name: str
    low: float
    high: float
    typed: str

    @property
    def step(self) -> float:
        """What one step of the slider is worth: a thumb hits a twentieth of the scale, the keypad anything."""
        return (self.high - self.low) / _STEPS


@dataclass(frozen=True, slots=True)
class FaultRow:
    """One fault that is asked about, and whether it is marked as heard."""

    number: int
    name: str
    is_heard: bool


@dataclass(frozen=True, slots=True)
class CupPart:
    """One cup's part of the page.

    Attributes
    ----------
    cup
        What is tasted.
    rows, faults, words, is_unasked
        What stands in its form.
    client_id
        For the plain form: made with the page, so that a form that is sent twice is taken once.
    supersedes
        The sheet that a correction takes the place of.
    form
        With its errors, where it was sent and refused.
    before, after
        The codes of the cups beside it.
    """

    cup: CupToTaste
    rows: Sequence[Row]
    faults: Sequence[FaultRow]
    words: str
    is_unasked: bool
    client_id: str
    supersedes: str
    form: "SheetForm | None" = None
    before: str | None = None
    after: str = "end"


class SheetForm(BenchForm):
    """A sheet as a browser without scripts sends it; every score may be left out, none is filled in beforehand."""

    client_id = forms.CharField(widget=forms.HiddenInput, max_length=64)
    supersedes = forms.CharField(widget=forms.HiddenInput, max_length=200, required=False)
    heard = forms.MultipleChoiceField(label=_("Faults"), required=False)
    unasked = forms.BooleanField(label=_("I did not listen for faults"), required=False)
    words = forms.CharField(label=_("Words"), required=False)

    def __init__(self, cup: CupToTaste, questions: Questions, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id=f"cup-{cup.code}-%s", **kwargs)
        self.cup = cup
        self.questions = questions
        heard = self.fields["heard"]
        assert isinstance(heard, forms.MultipleChoiceField)
        heard.choices = [(name, name) for name in questions.faults]
        self.attributes = {score_field(row): row for row in questions.attributes.get(cup.service, [])}
        for field, row in self.attributes.items():
            self.fields[field] = NumberField(label=row.name, required=False)

    def scores(self) -> dict[str, float]:
        """Return the scores that were given, by attribute."""
        given = {row.name: self.cleaned_data[field] for field, row in self.attributes.items()}
        return {name: value for name, value in given.items() if value is not None}

    def faults(self) -> dict[str, bool]:
        """Return for each fault that was listened for whether it was heard."""
        if self.cleaned_data["unasked"]:
            return {}
        return {name: name in self.cleaned_data["heard"] for name in self.questions.faults}


def score_field(attribute: Attribute) -> str:
    """Return the name of the input of an attribute."""
    return f"score-{attribute.pk}"


def lay_out(
    cups: Sequence[CupToTaste], questions: Questions, client_ids: Sequence[str], sent: SheetForm | None = None
) -> list[CupPart]:
    """Return every cup's part of the page; that of a form that was refused holds what was typed.

    Parameters
    ----------
    cups
        In the taster's own order.
    questions
        What is asked.
    client_ids
        A new one for each cup.
    sent
        The form that was refused, if one was.
    """
    parts = []
    for index, (cup, client_id) in enumerate(zip(cups, client_ids, strict=True)):
        refused = sent if sent is not None and sent.cup.code == cup.code else None
        sheet = cup.sheet
        heard = refused.data.getlist("heard") if refused else [n for n, is_heard in _faults(cup) if is_heard]  # type: ignore[attr-defined]
        rows = []
        for attribute in questions.attributes.get(cup.service, []):
            field = score_field(attribute)
            score = sheet.scores.get(attribute.name) if sheet else None
            typed = refused.data.get(field, "") if refused else "" if score is None else f"{score:g}"
            rows.append(Row(field, attribute.name, attribute.scale_low, attribute.scale_high, typed))
        parts.append(
            CupPart(
                cup=cup,
                rows=rows,
                faults=[FaultRow(n, name, name in heard) for n, name in enumerate(questions.faults)],
                words=refused.data.get("words", "") if refused else sheet.words if sheet else "",
                is_unasked="unasked" in refused.data if refused else sheet is not None and not sheet.faults,
                client_id=refused.data.get("client_id", client_id) if refused else client_id,
                supersedes=sheet.client_id if sheet else "",
                form=refused,
                before=cups[index - 1].code if index else None,
                after=cups[index + 1].code if index + 1 < len(cups) else "end",
            )
        )
    return parts


def _faults(cup: CupToTaste) -> list[tuple[str, bool]]:
    return list(cup.sheet.faults.items()) if cup.sheet else []
