"""Filters for the pages: numbers, shares, units, decisions. Units are converted by `evenhand.units` alone."""

from typing import Any, cast

from django import template
from django.utils.formats import number_format
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from evenhand.bench import telling
from evenhand.output.words import DECISION_SIGN, format_share
from evenhand.verdict.judgement import Decision

register = template.Library()


@register.filter
def told(said: object) -> str:
    """Tell a sentence of the engine or of the records in the language of the page."""
    return telling.told(said)


@register.filter
def decimals(value: float | None, places: int = 1) -> str:
    """Write a number with so many decimals as the locale writes it; a dash where there is none."""
    if value is None:
        return "–"
    return str(number_format(round(value, places), decimal_pos=places, use_l10n=True))  # number_format alone cuts off


@register.filter
def signed(value: float | None, places: int = 2) -> str:
    """Write a difference with its sign; a dash where there is none."""
    if value is None:
        return "–"
    text = str(number_format(round(abs(value), places), decimal_pos=places, use_l10n=True))
    if not any(digit in "123456789" for digit in text):
        return text
    return ("−" if value < 0 else "+") + text


@register.filter
def share(value: float | None) -> str:
    """Write a probability in per cent, as every output does."""
    return "–" if value is None else format_share(value)


@register.filter
def badge(decision: str) -> SafeString:
    """Show a decision as shape and word; its class adds the colour."""
    words = {"release": _("release"), "taste_again": _("taste again"), "hold": _("hold")}
    return format_html(
        '<span class="badge {}"><span class="sign" aria-hidden="true">{}</span>{}</span>',
        decision,
        DECISION_SIGN[cast("Decision", decision)],
        words[decision],
    )


@register.filter
def service_word(service: str) -> str:
    """Say how a cup is served."""
    return {"black": _("black"), "milk": _("in milk"), "bowl": _("bowl")}.get(service, service)


@register.filter
def get(mapping: Any, key: Any) -> Any:
    """Look a key up in a mapping."""
    return mapping.get(key)
