"""Quantities are shown and typed in a person's units, and kept metric."""

import pytest
from django.template import engines
from hypothesis import given
from hypothesis import strategies as st

from evenhand.bench.models import Account
from evenhand.bench.quantities import KINDS, UnitField, UnitForm, show


class Roast(UnitForm):
    green = UnitField(kind="green", required=False)
    water = UnitField(kind="temperature", required=False)
    tolerance = UnitField(kind="temperature_span", required=False)
    drink = UnitField(kind="volume", required=False)


def test_what_is_shown():
    # 93 C is 199.4 F (NIST SP 811, B.8); 12 kg are 26.4555 lb, 6 US fl oz 177.44 ml (NIST Handbook 44, C).
    assert show(93, "temperature", "us") == "199.4\xa0°F"
    assert show(1, "temperature_span", "us") == "1.8\xa0°F"
    assert show(12, "green", "us") == "26.46\xa0lb"
    assert show(177.44, "volume", "us") == "6.0\xa0fl oz"
    assert show(12, "green", "metric") == "12.00\xa0kg"
    assert show(None, "green", "us") == "–"


def test_templates_follow_the_account():
    text = (
        '{{ water|temperature:user }} {{ water|temperature }} {% quantity water "temperature" unit=False %} '
        '{{ "green"|unit:user }}'
    )
    page = engines["django"].from_string(text)
    assert page.render({"water": 93.0, "user": Account(units="us")}) == "199.4\xa0°F 93.0\xa0°C 199.4 lb"


def test_what_is_typed_is_kept_metric():
    form = Roast({"green": "26,5", "water": "200", "tolerance": "1.8", "drink": "6"}, units="us")
    assert form.is_valid()
    assert form.cleaned_data == pytest.approx(
        {"green": 12.0202, "water": 93.333, "tolerance": 1.0, "drink": 177.44}, abs=1e-9
    )
    assert [form[name].field.unit for name in form.fields] == ["lb", "°F", "°F", "fl oz"]
    metric = Roast({"green": "12,5"}, units="metric")
    assert metric.is_valid()
    assert (metric.cleaned_data["green"], metric.cleaned_data["water"]) == (12.5, None)
    assert not Roast({"green": "much"}, units="us").is_valid()


def test_one_form_in_us_units_leaves_the_next_metric():
    Roast(units="us")
    form = Roast()
    assert form.fields["green"].unit == "kg"
    assert 'data-unit="kg"' in str(form["green"])


@given(st.sampled_from(sorted(KINDS)), st.floats(0.01, 120).map(lambda value: round(value, 2)))
def test_saving_a_form_as_it_was_shown_changes_nothing(kind, value):
    class One(UnitForm):
        field = UnitField(kind=kind)

    shown = One(initial={"field": value}, units="us")
    sent = One({"field": shown["field"].value()}, initial={"field": value}, units="us")
    assert sent.is_valid()
    assert sent.cleaned_data["field"] == value
    assert not sent.has_changed()
    other = One({"field": "33"}, initial={"field": value}, units="us")
    assert other.is_valid()
    assert other.cleaned_data["field"] == pytest.approx(KINDS[kind].to_metric(33), abs=0.01)
