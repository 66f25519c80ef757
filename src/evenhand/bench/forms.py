"""Fields and forms that all rooms share: numbers as people type them, and what a record refuses as a form's error."""

import math
import re
from typing import Any, ClassVar

from django import forms
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext_lazy as _

from evenhand.bench.telling import told
from evenhand.errors import EvenhandError

_NUMBER = re.compile(r"[-+−]?\d{0,12}([.,]\d{0,12})?")
_FORMULA_SIGNS = ("=", "+", "@", "\t")


def refuse_formula(label: str) -> None:
    """Refuse a name or a setting that a spreadsheet would run as a formula when it opens an export.

    A number with its sign, such as a grind setting of +2, is none.

    Raises
    ------
    ValidationError
        When it begins with =, + or @, or a tab.
    """
    if label.startswith(_FORMULA_SIGNS) and not _NUMBER.fullmatch(label):
        raise forms.ValidationError(
            _("This may not begin with =, +, @ or a tab: a spreadsheet would run it as a formula. Put a word first."),
            "formula",
        )


class NumberField(forms.Field):
    """A number typed with comma or point; empty is None, never 0.

    The input is plain text with the keypad for decimals: `type=number` would eat what was typed.

    Parameters
    ----------
    unit
        Shown behind the input, such as "g".
    """

    default_error_messages: ClassVar[dict[str, Any]] = {
        "invalid": _("“%(value)s” is not a number; write it as 18.2 or 18,2."),
    }

    def __init__(self, *, unit: str = "", **kwargs: Any) -> None:
        self.unit = unit
        super().__init__(**kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        """Ask for the keypad."""
        return {"inputmode": "decimal", "autocomplete": "off", "data-unit": self.unit}

    def prepare_value(self, value: Any) -> Any:
        """Show 18.0 as 18; what was typed stays as it was typed."""
        return f"{value:.10g}" if isinstance(value, float) else value

    def to_python(self, value: Any) -> float | None:
        """Return the number that was typed."""
        text = str(value or "").strip().replace("\xa0", "").replace(" ", "")
        if not text:
            return None
        found = _NUMBER.fullmatch(text)
        try:
            number = float(text.replace("−", "-").replace(",", ".")) if found else math.nan
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise forms.ValidationError(self.error_messages["invalid"], "invalid", {"value": value})
        return number


class BenchForm(forms.Form):
    """A form as the bench shows it: label above, unit behind, hint and error below each input.

    Attributes
    ----------
    labels
        Fields that hold names or settings which exports write: a new one may be no formula (`refuse_formula`).
    label_lists
        Fields that hold several such names divided by commas or line ends.
    """

    labels: ClassVar[tuple[str, ...]] = ()
    label_lists: ClassVar[tuple[str, ...]] = ()

    required_css_class = "required"
    error_css_class = "wrong"
    template_name = "bench/form.html"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        if args:
            args = (_with_plain_line_ends(args[0]), *args[1:])
        elif "data" in kwargs:
            kwargs["data"] = _with_plain_line_ends(kwargs["data"])
        super().__init__(*args, **kwargs)

    def _post_clean(self) -> None:
        """Refuse formulas among names; one that stands in the records already is kept until it is changed."""
        super()._post_clean()  # type: ignore[misc]  # Django's own hook after cleaning
        for name in (*self.labels, *self.label_lists):
            value = self.cleaned_data.get(name)
            if not value or name not in self.changed_data:
                continue
            found = value if isinstance(value, tuple) else (value,)
            if name in self.label_lists and isinstance(value, str):
                found = tuple(part.strip(" ") for part in re.split(r"[,\n]", value))
            try:
                for label in found:
                    refuse_formula(label)
            except forms.ValidationError as error:
                self.add_error(name, error)

    def refuse(self, error: EvenhandError) -> None:
        """Show what the records refuse, as an error of the whole form; nothing that was typed is lost."""
        self.add_error(None, told(error))

    def renew(self, name: str, value: str) -> None:
        """Send a hidden value out anew with a form that was refused."""
        data: Any = self.data.copy()  # type: ignore[attr-defined]  # what was sent is a QueryDict, or a dict
        data[name] = value
        self.data = data


def _with_plain_line_ends(data: Any) -> Any:
    """End lines as the records do: browsers put a carriage return before each line feed, and records refuse that."""
    if isinstance(data, MultiValueDict):
        plain = data.copy()
        for name, values in data.lists():
            plain.setlist(name, [_plain_line_ends(value) for value in values])
        return plain
    return {name: _plain_line_ends(value) for name, value in data.items()} if isinstance(data, dict) else data


def _plain_line_ends(value: Any) -> Any:
    return value.replace("\r\n", "\n") if isinstance(value, str) else value
