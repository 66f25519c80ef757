"""Fields of this room: a day, a roast time as minutes and seconds, names one a line."""

import re
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from evenhand.bench.forms import NumberField

_MINUTES = re.compile(r"(\d{1,3}):([0-5]\d)")


class DayField(forms.DateField):
    """A day, picked from the device's own calendar."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
        super().__init__(**kwargs)


class RoastTimeField(NumberField):
    """A duration, typed as 11:30 or in seconds, kept in seconds."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.unit = _("m:ss")  # type: ignore[assignment]  # translated when it is shown, not when this is imported

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        """Leave the whole keyboard: keypads for numbers have no colon."""
        return {"autocomplete": "off", "inputmode": "text"}

    def prepare_value(self, value: Any) -> Any:
        """Show whole seconds as minutes and seconds; anything else as it stands."""
        if isinstance(value, float | int) and float(value).is_integer():
            return f"{int(value) // 60}:{int(value) % 60:02d}"
        return super().prepare_value(value)

    def to_python(self, value: Any) -> float | None:
        """Return seconds."""
        if found := _MINUTES.fullmatch(str(value or "").strip()):
            return 60.0 * int(found[1]) + int(found[2])
        return super().to_python(value)


class NamesField(forms.CharField):
    """Several names, one a line."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 3}))
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        """Show names one a line."""
        return "\n".join(value) if isinstance(value, list | tuple) else value

    def clean(self, value: Any) -> Any:
        """Return the names, each once."""
        text = super().clean(value)
        return tuple(dict.fromkeys(name.strip() for name in str(text or "").splitlines() if name.strip()))
