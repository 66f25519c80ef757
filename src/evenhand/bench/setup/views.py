"""The first page of Set-up, the history, and the check of its chain."""

import re
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from evenhand.bench.forms import BenchForm
from evenhand.bench.models import Account, Device
from evenhand.bench.people.roles import account_of, needs
from evenhand.bench.setup import history as entries
from evenhand.records.audit import head
from evenhand.records.chain import verify_chain
from evenhand.records.coffees import current_costs
from evenhand.records.models import Attribute, Coffee, Fault, Person, Recipe, Word

_ANCHOR = re.compile(r"\s*(\d{1,15})\s+([0-9a-f]{64})\s*")


class AnchorForm(BenchForm):
    """What was noted earlier and elsewhere."""

    anchor = forms.CharField(
        label=_("Number and digest that you noted earlier"),
        required=False,
        max_length=100,
        widget=forms.TextInput({"autocomplete": "off", "spellcheck": "false", "autocapitalize": "none"}),
        help_text=_("With it the check also shows whether the end of the history was cut off or written anew."),
    )

    def clean_anchor(self) -> tuple[int, str] | None:
        """Return the number and the digest."""
        text = self.cleaned_data["anchor"]
        found = _ANCHOR.fullmatch(text)
        if text and not found:
            raise forms.ValidationError(
                _now("This is a number, a space and 64 letters and digits, as this page shows them.")
            )
        return (int(found[1]), found[2]) if found else None


@needs("lead")
def setup(request: HttpRequest) -> HttpResponse:
    """Show what can be set up, with what is there."""
    number, _digest = head()
    told: dict[str, Any] = {
        "people": Person.objects.filter(is_active=True).count(),
        "accounts": Account.objects.filter(person__is_active=True).count(),
        "devices": Device.objects.count(),
        "recipes": Recipe.objects.count(),
        "coffees": Coffee.objects.count(),
        "scales": Attribute.objects.count(),
        "faults": Fault.objects.filter(is_active=True).count(),
        "words": Word.objects.filter(is_active=True).count(),
        "costs": current_costs(),
        "entries": number,
        "is_owner": account_of(request).may("owner"),
    }
    return render(request, "bench/setup/setup.html", told)


@needs("lead")
def history(request: HttpRequest) -> HttpResponse:
    """Show the last entries of the history."""
    sorts = entries.sorts()
    kind = request.GET.get("kind", "")
    kind = kind if kind in dict(sorts) else ""
    found = entries.tell(kind, account_of(request).person)
    told = {"entries": found, "sorts": sorts, "kind": kind, "most": entries.MOST}
    return render(request, "bench/setup/history.html", told)


@needs("lead")
def verify(request: HttpRequest) -> HttpResponse:
    """Follow the chain of the history, and hold every record against it."""
    form = AnchorForm(request.POST or None)
    found = None
    if request.method == "POST" and form.is_valid():
        found = verify_chain(anchor=form.cleaned_data["anchor"])
    number, digest = head()
    told = {"form": form, "found": found, "number": number, "digest": digest}
    return render(request, "bench/setup/verify.html", told, status=422 if form.errors else 200)
