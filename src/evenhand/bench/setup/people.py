"""Set-up of people: who is here, in which role, and how they get in; and of the devices on which PINs are enough."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from evenhand.bench.forms import BenchForm
from evenhand.bench.models import Account, Device
from evenhand.bench.people.accounts import find_device, make_account, set_pin
from evenhand.bench.people.devices import admit, dismiss
from evenhand.bench.people.forms import SecretsForm, name_field, password_field, pin_field
from evenhand.bench.people.roles import account_of, by_password, needs, pen_of
from evenhand.bench.people.sessions import end_sessions, is_by_pin
from evenhand.bench.people.views import redirect_to
from evenhand.bench.setup.pages import answer, owner_writes, press
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen, writing
from evenhand.records.models import Person

ROLES = (
    ("taster", _("taster: pulls and tastes")),
    ("lead", _("lead: also plans tables, reads and signs verdicts, keeps the lists")),
    ("owner", _("owner: also people, costs, import")),
)


class PersonForm(BenchForm):
    """Name and role."""

    labels = ("name",)

    name = name_field(_("Name"))
    role = forms.ChoiceField(label=_("Role"), choices=ROLES, widget=forms.RadioSelect, initial="taster")


class SecretForm(SecretsForm):
    """A password and a PIN that an owner gives."""

    password = password_field(_("Password"), new=True, required=False, help_text=_("At least 10 characters."))
    again = password_field(_("Password again"), new=True, required=False)
    pin = pin_field(_("PIN"), required=False, help_text=_("4 to 8 digits, for the shop’s own devices."))


class NewPersonForm(SecretForm, PersonForm):
    """Somebody new."""

    field_order = ("name", "role", "pin", "password", "again")


class DeviceForm(BenchForm):
    """A name for the device at hand."""

    name = forms.CharField(
        label=_("Name of this device"), max_length=200, help_text=_("Such as “tablet beside the machine”.")
    )


@sensitive_post_parameters("password", "again", "pin")
@owner_writes
def people(request: HttpRequest) -> HttpResponse:
    """List everybody, and add somebody."""

    def write(form: NewPersonForm) -> str:
        told = form.cleaned_data
        add_person(pen_of(request), told["name"], told["role"], password=told["password"], pin=told["pin"])
        return _now("%(name)s is on the list.") % {"name": told["name"]}

    everybody = Person.objects.select_related("account").order_by("-is_active", "name")
    form = NewPersonForm(request.POST or None)
    return answer(request, form, "bench/setup/people.html", write, to="setup:people", everybody=everybody)


@owner_writes
def person(request: HttpRequest, pk: int) -> HttpResponse:
    """Change somebody's name and role."""
    found = get_object_or_404(Person.objects.select_related("account"), pk=pk)

    def write(form: PersonForm) -> str:
        revise_person(pen_of(request), found, name=form.cleaned_data["name"], role=form.cleaned_data["role"])
        return _now("Kept: %(name)s.") % {"name": found.name}

    form = PersonForm(request.POST or None, initial={"name": found.name, "role": found.role or "taster"})
    account = getattr(found, "account", None)
    told: dict[str, Any] = {"person": found, "account": account, "secret_form": SecretForm()}
    told["is_oneself"] = account == account_of(request)
    return answer(request, form, "bench/setup/person.html", write, to=reverse("setup:person", args=[pk]), **told)


@sensitive_post_parameters("password", "again", "pin")
@require_POST
@needs("owner")
@by_password
def secrets(request: HttpRequest, pk: int) -> HttpResponse:
    """Give somebody else a new password or PIN; where they are logged in, they are put out."""
    found = get_object_or_404(Person.objects.select_related("account"), pk=pk)
    form = SecretForm(request.POST)
    form.person_name = lambda: str(found.name)  # type: ignore[method-assign]

    def write(form: SecretForm) -> str:
        told = form.cleaned_data
        if account == account_of(request):
            raise RecordError(_now("Your own password and PIN are changed on your own page, against the present ones."))
        give_secrets(pen_of(request), found, password=told["password"], pin=told["pin"])
        return _now("%(name)s can log in with it from now on.") % {"name": found.name}

    account = getattr(found, "account", None)
    start = PersonForm(initial={"name": found.name, "role": found.role or "taster"})
    told: dict[str, Any] = {"person": found, "account": account, "secret_form": form, "person_form": start}
    told["is_oneself"] = account == account_of(request)
    return answer(request, form, "bench/setup/person.html", write, to=reverse("setup:person", args=[pk]), **told)


@require_POST
@needs("owner")
@by_password
def standing(request: HttpRequest, pk: int) -> HttpResponse:
    """Let somebody go, or take them back."""
    found = get_object_or_404(Person, pk=pk)
    active = request.POST.get("active") == "1"

    def write() -> str:
        revise_person(pen_of(request), found, is_active=active)
        text = (
            _now("%(name)s can log in and be seated again.") if active else _now("%(name)s is no longer on the list.")
        )
        return text % {"name": found.name}

    return press(request, write, to=reverse("setup:person", args=[pk]), topics=("today",))


@require_POST
@needs("owner")
@by_password
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Take somebody off the records who was written down by mistake."""
    found = get_object_or_404(Person, pk=pk)
    to = "setup:people"

    def write() -> str:
        name = found.name
        remove_person(pen_of(request), found)
        return _now("%(name)s was removed.") % {"name": name}

    return press(request, write, to=to)


@needs("lead")
@by_password
def devices(request: HttpRequest) -> HttpResponseBase:
    """List the shop's devices, and make the one at hand one of them."""
    form = DeviceForm(request.POST or None)
    if form.is_bound and form.is_valid():
        response = redirect_to("setup:devices")
        admit(request, response, name=form.cleaned_data["name"], by=account_of(request).person.name)
        return response
    told = {
        "form": form,
        "devices": Device.objects.order_by("until", "name"),
        "here": find_device(request),
        "now": timezone.now(),
        "by_pin": is_by_pin(request),
    }
    return render(request, "bench/setup/devices.html", told, status=422 if form.errors else 200)


@require_POST
@needs("lead")
@by_password
def remove_device(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a device off the list; who got in by PIN there is put out."""
    found = get_object_or_404(Device, pk=pk)

    def write() -> str:
        dismiss(found)
        return _now("PINs open nothing on “%(name)s” any more.") % {"name": found.name}

    return press(request, write, to="setup:devices")


def add_person(pen: Pen, name: str, role: str, *, password: str = "", pin: str = "") -> Person:
    """Write somebody down, with a way in if a password or PIN is given.

    Raises
    ------
    RecordError
        When the name is taken, whatever its capitals.
    """
    name = " ".join(name.split())
    with writing():
        _refuse_taken(name, None)
        if password or pin:
            return make_account(pen, name, role, password=password, pin=pin).person
        return pen.make(Person(name=name, role=role))


def revise_person(pen: Pen, found: Person, **values: Any) -> None:
    """Change somebody's name, role or standing.

    Raises
    ------
    RecordError
        When the name is taken, or nobody would be left who is an owner and can log in.
    """
    with writing():
        if "name" in values:
            values["name"] = " ".join(values["name"].split())
            _refuse_taken(values["name"], found.pk)
        pen.change(found, **values)
        _keep_an_owner()


def give_secrets(pen: Pen, found: Person, *, password: str = "", pin: str = "") -> None:
    """Set somebody's password, PIN or both, making the account if there is none; their log-ins end.

    Raises
    ------
    RecordError
        When neither is given, or one is not allowed.
    """
    account = Account.objects.filter(person=found).first()
    if account is None:
        role = found.role or "taster"
        if not found.is_active:
            raise RecordError(_now("%(name)s is no longer on the list; take them back first.") % {"name": found.name})
        make_account(pen, found.name, role, password=password, pin=pin)
        return
    if not (password or pin):
        raise RecordError(_now("Type a password or a PIN; nothing was changed."))
    if password:
        account.set_password(password)
    if pin:
        set_pin(account, pin)
    account.save()
    end_sessions(account)


def remove_person(pen: Pen, found: Person) -> None:
    """Remove somebody to whom nothing points, with their account.

    Raises
    ------
    RecordError
        When they tasted or signed, sit at a table, or are the last owner.
    """
    with writing():
        Account.objects.filter(person=found).delete()
        pen.remove(found)
        _keep_an_owner()


def _refuse_taken(name: str, number: int | None) -> None:
    if Person.objects.filter(name__iexact=name).exclude(pk=number or 0).exists():
        raise RecordError(
            _now("The name %(name)s is on the list already; add something that tells the two apart.") % {"name": name}
        )


def _keep_an_owner() -> None:
    if not Account.objects.filter(person__role="owner", person__is_active=True).exists():
        raise RecordError(
            _now("Nobody would be left who is an owner and can log in; make somebody else an owner first.")
        )
