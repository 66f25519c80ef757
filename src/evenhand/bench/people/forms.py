"""The forms of logging in, and of one's own page."""

from typing import Any

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from evenhand.bench.forms import BenchForm
from evenhand.bench.models import Account
from evenhand.bench.people.accounts import PIN_LENGTHS, check_pin
from evenhand.bench.telling import told
from evenhand.errors import EvenhandError

OPTIONAL = _("(may stay empty)")
CHANGE_HINT = _("Leave both empty to keep the password as it is.")


def password_field(label: Any, *, new: bool, **kwargs: Any) -> forms.CharField:
    """Return a field for a password that the browser may fill in, or offer to make."""
    hint = {"autocomplete": "new-password" if new else "current-password"}
    field = forms.CharField(label=label, strip=False, max_length=200, widget=forms.PasswordInput(hint), **kwargs)
    field.optional_word = OPTIONAL  # type: ignore[attr-defined]
    return field


def pin_field(label: Any, **kwargs: Any) -> forms.CharField:
    """Return a field for a PIN: the keypad, dots, and nothing that the browser remembers."""
    widget = forms.PasswordInput({"inputmode": "numeric", "autocomplete": "off", "pattern": "[0-9]*"})
    field = forms.CharField(label=label, max_length=PIN_LENGTHS[-1], widget=widget, **kwargs)
    field.optional_word = OPTIONAL  # type: ignore[attr-defined]
    return field


def name_field(label: Any, **kwargs: Any) -> forms.CharField:
    """Return a field for a person's name."""
    widget = forms.TextInput({"autocomplete": "username", "autocapitalize": "words", "spellcheck": "false"})
    return forms.CharField(label=label, max_length=200, widget=widget, **kwargs)


class SecretsForm(BenchForm):
    """A form with a new password, typed twice, and a new PIN; a form that derives from it says which it demands."""

    password_name, again_name, pin_name = "password", "again", "pin"

    def clean(self) -> dict[str, Any]:
        """Hold the password to the rules, and the PIN to its own."""
        found = super().clean() or self.cleaned_data
        password, again = found.get(self.password_name, ""), found.get(self.again_name, "")
        if self.password_name not in self.errors and self.again_name not in self.errors and password != again:
            self.add_error(self.again_name, _now("This is not the same password; type it in both places again."))
        elif password and self.password_name not in self.errors:
            try:
                validate_password(password)
                if password.casefold() in (str(found.get("name", "")).casefold(), self.person_name().casefold()):
                    raise forms.ValidationError(_now("A name is no password; think of something else."))
            except forms.ValidationError as error:
                self.add_error(self.password_name, error)
        pin = found.get(self.pin_name, "")
        if pin:
            try:
                check_pin(pin)
            except EvenhandError as error:
                self.add_error(self.pin_name, told(error))
        return found

    def person_name(self) -> str:
        """Return the name of the person whose secrets these are, where the form does not ask for it."""
        return ""


class SignInForm(BenchForm):
    """Name and password."""

    name = name_field(_("Name"))
    password = password_field(_("Password"), new=False)


class PinForm(BenchForm):
    """The PIN of somebody whose name was chosen."""

    pin = pin_field(_("PIN"))


class UnitsForm(BenchForm):
    """The units on one's own screens."""

    units = forms.ChoiceField(
        label=_("Units"),
        choices=(("metric", _("metric: °C, kg, ml")), ("us", _("US: °F, lb, fl oz"))),
        widget=forms.RadioSelect,
        help_text=_("Dose and beverage are weighed in grams either way; records and exports stay metric."),
    )


class OwnSecretsForm(SecretsForm):
    """A new password, a new PIN, or both, against the present secret."""

    def __init__(self, account: Account, *args: Any, by_pin: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.account = account
        if not by_pin:
            self.fields["present"] = password_field(_("Present password"), new=False)
        elif account.has_usable_password():
            label = _("Present PIN; for a new password, the present password")
            self.fields["present"] = password_field(label, new=False)
        else:
            self.fields["present"] = pin_field(_("Present PIN"))
        self.order_fields(["present", "password", "again", "pin"])

    password = password_field(_("New password"), new=True, required=False, help_text=CHANGE_HINT)
    again = password_field(_("New password again"), new=True, required=False)
    pin = pin_field(
        _("New PIN"),
        required=False,
        help_text=_("4 to 8 digits, for the shop’s own devices. Leave it empty to keep it as it is."),
    )

    def person_name(self) -> str:
        """Return the account's name."""
        return str(self.account)

    def clean(self) -> dict[str, Any]:
        """Refuse a form that asks for nothing."""
        told = super().clean()
        if not self.errors and not (told.get("password") or told.get("pin")):
            raise forms.ValidationError(_now("Type a new password or a new PIN; nothing was changed."))
        return told
