"""What every page knows: the shop, who is logged in, and where they may go."""

from typing import Any

from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from evenhand.bench.models import Account
from evenhand.records.models import Shop

PAGES = (
    ("today", "today:today", _("Today"), "lead"),
    ("pull", "pull:choose", _("Pull"), "taster"),
    ("table", "table:tables", _("Table"), "lead"),
    ("taste", "taste:choose", _("Taste"), "taster"),
    ("verdict", "verdict:verdicts", _("Verdict"), "lead"),
    ("coffee", "coffee:coffees", _("Coffee"), "lead"),
    ("setup", "setup:setup", _("Set-up"), "lead"),
)
"""Room, name of its address, word, and the role that it needs."""


def describe_bench(request: HttpRequest) -> dict[str, Any]:
    """Give every template the shop, the pages that this person may open, and the room that is open."""
    found = getattr(request, "user", None)
    account = found if isinstance(found, Account) else None
    match = getattr(request, "resolver_match", None)
    return {
        "shop": Shop.objects.order_by("pk").first(),
        "rooms": [(room, url, word) for room, url, word, role in PAGES if account is not None and account.may(role)],
        "room": match.namespace if match is not None else "",
    }
