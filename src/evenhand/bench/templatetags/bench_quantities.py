"""Filters that write temperatures, masses of green and volumes in the units of who is logged in.

`{{ recipe.water_c|temperature:user }}`, `{{ batch.green_in_kg|green:user }}`, `{{ recipe.milk_drink_ml|volume:user }}`;
`{{ "green"|unit:user }}` is the unit alone, and `{% quantity value "green" unit=False %}` the number alone.
"""

from typing import Any

from django import template

from evenhand.bench.quantities import KINDS, show, units_of

register = template.Library()


@register.filter
def temperature(value: float | None, account: Any = "") -> str:
    """Write a temperature kept in degrees Celsius."""
    return show(value, "temperature", account)


@register.filter
def temperature_span(value: float | None, account: Any = "") -> str:
    """Write a difference of temperatures, such as a tolerance."""
    return show(value, "temperature_span", account)


@register.filter
def green(value: float | None, account: Any = "") -> str:
    """Write a mass of green, or of what was roasted from it, kept in kilograms."""
    return show(value, "green", account)


@register.filter
def volume(value: float | None, account: Any = "") -> str:
    """Write the volume of a drink kept in millilitres."""
    return show(value, "volume", account)


@register.filter
def unit(kind: str, account: Any = "") -> str:
    """Write the unit of a kind of quantity."""
    return KINDS[kind].unit(units_of(account))


@register.simple_tag(takes_context=True)
def quantity(context: template.Context, value: float | None, kind: str, unit: bool = True) -> str:
    """Write a quantity in the units of who is logged in, with or without its unit."""
    return show(value, kind, context.get("user", ""), with_unit=unit)
