"""Shows and takes temperatures, masses of green and volumes in the units that a person chose; records stay metric.

In a template the filters of `bench_quantities` take the account: `{{ recipe.water_c|temperature:user }}`. In a form:
`UnitField`, in a form that derives from `UnitForm` and is made with `units=account.units`. Doses and beverages stay in
grams everywhere.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.forms.boundfield import BoundField
from django.utils.formats import number_format

from evenhand import units as convert
from evenhand.bench.forms import BenchForm, NumberField

METRIC, US = "metric", "us"


@dataclass(frozen=True, slots=True)
class Kind:
    """A sort of quantity, with its unit and decimals on either side.

    Attributes
    ----------
    metric, us
        The unit's sign.
    to_us, to_metric
        Conversions, from `evenhand.units`.
    metric_places, us_places
        Decimals shown.
    kept_places
        Decimals of the metric value that are kept of a US one: finer than anybody types, so that 200 F is not kept with
        fifteen digits.
    """

    metric: str
    us: str
    to_us: Callable[[float], float]
    to_metric: Callable[[float], float]
    metric_places: int
    us_places: int
    kept_places: int

    def unit(self, units: str) -> str:
        """Return the unit's sign."""
        return self.us if units == US else self.metric

    def places(self, units: str) -> int:
        """Return how many decimals are shown."""
        return self.us_places if units == US else self.metric_places

    def shown(self, value: float, units: str) -> float:
        """Return a metric value in the units of a person."""
        return self.to_us(value) if units == US else value

    def kept(self, value: float, units: str) -> float:
        """Return a value in the units of a person as the records keep it."""
        return round(self.to_metric(value), self.kept_places) if units == US else value


KINDS = {
    "temperature": Kind("°C", "°F", convert.f_from_c, convert.c_from_f, 1, 1, 3),
    "temperature_span": Kind("°C", "°F", convert.f_span_from_c, convert.c_span_from_f, 1, 1, 3),
    "green": Kind("kg", "lb", convert.lb_from_kg, convert.kg_from_lb, 2, 2, 4),
    "volume": Kind("ml", "fl oz", convert.fl_oz_from_ml, convert.ml_from_fl_oz, 0, 1, 2),
}
"""Temperature, difference of temperatures (a tolerance), mass of green, volume of a drink."""


def units_of(account: Any) -> str:
    """Return "us" or "metric": an account's choice, or the text itself; metric for whoever is not logged in."""
    found = account if isinstance(account, str) else getattr(account, "units", METRIC)
    return US if found == US else METRIC


def show(value: float | None, kind: str, account: Any, *, with_unit: bool = True) -> str:
    """Write a metric quantity in a person's units, as the locale writes numbers; a dash where there is none.

    Parameters
    ----------
    value
        In degrees Celsius, kilograms or millilitres.
    kind
        A key of `KINDS`.
    account
        An account, or "metric" or "us".
    with_unit
        False leaves the unit away, for a table that has it in its head.
    """
    if value is None:
        return "–"
    quantity, units = KINDS[kind], units_of(account)
    places = quantity.places(units)  # rounded here: Django's formatting cuts off
    text = number_format(round(quantity.shown(value, units), places), decimal_pos=places, use_l10n=True)
    return f"{text}\xa0{quantity.unit(units)}" if with_unit else str(text)


class UnitField(NumberField):
    """A number typed in a person's units; what it gives is always metric, and so is its initial value.

    A value that is sent back as it was shown stays exactly what it was, so that saving a form changes nothing.

    Parameters
    ----------
    kind
        A key of `KINDS`.
    units
        "metric" or "us"; a `UnitForm` sets it.
    """

    def __init__(self, *, kind: str, units: str = METRIC, **kwargs: Any) -> None:
        self.kind = KINDS[kind]
        self._units = units_of(units)
        super().__init__(unit=self.kind.unit(self._units), **kwargs)

    @property
    def units(self) -> str:
        """The units in which it is typed."""
        return self._units

    @units.setter
    def units(self, units: str) -> None:
        self._units = units_of(units)
        self.unit = self.widget.attrs["data-unit"] = self.kind.unit(self._units)

    def prepare_value(self, value: Any) -> Any:
        """Show a metric value in the person's units; what was typed stays as it was typed."""
        if not isinstance(value, float | int) or isinstance(value, bool):
            return value
        if self._units == METRIC:
            return super().prepare_value(float(value))
        return f"{self.kind.shown(value, self._units):.{self.kind.us_places}f}".rstrip("0").rstrip(".")

    def to_python(self, value: Any) -> float | None:
        """Return what was typed, as a metric value."""
        typed = super().to_python(value)
        return None if typed is None else self.kind.kept(typed, self._units)

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Say whether something else was typed than was shown."""
        if not self.disabled and self.prepare_value(initial) == (data or "").strip():
            return False
        return super().has_changed(initial, data)

    def _clean_bound_field(self, bf: BoundField) -> Any:
        """Keep a value exactly where it comes back as it was shown: 12 kg show as 26.46 lb, which are 12.0021 kg."""
        initial = bf.initial
        if isinstance(initial, float | int) and self.prepare_value(initial) == str(bf.data or "").strip():
            return float(initial)
        return super()._clean_bound_field(bf)  # type: ignore[misc]


class UnitForm(BenchForm):
    """A form whose unit fields are typed in a person's units: `UnitForm(data, units=account.units)`."""

    def __init__(self, *args: Any, units: str = METRIC, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if isinstance(field, UnitField):
                field.units = units
