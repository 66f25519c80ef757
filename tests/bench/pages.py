"""Every address of the bench by its name: how a page is reached and by whom, or why an address is no page.

Loaded by path from the tests that open every page and from scripts/screenshots.py. Names in braces are those that
tests/bench/scene.py returns.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Page:
    """A page as somebody meets it.

    Attributes
    ----------
    name
        Name of its address.
    key
        What tells it from other pages under the same name; the file name of its picture.
    given
        Arguments of the address: what is in braces is looked up in the scene.
    query
        What follows the question mark.
    who
        Who opens it: "lead", "taster", "owner", "device" (nobody logged in, on a device of the shop) or "nobody".
    status
        What it answers with.
    """

    name: str
    key: str
    given: dict[str, Any] = field(default_factory=dict)
    query: str = ""
    who: str = "lead"
    status: int = 200

    def address(self, scene: dict[str, Any]) -> str:
        """Return the address of the page in a scene that was laid."""
        from django.urls import reverse

        given = {
            name: scene[value[1:-1]] if isinstance(value, str) and value.startswith("{") else value
            for name, value in self.given.items()
        }
        return reverse(self.name, kwargs=given) + self.query


def _page(name: str, key: str, query: str = "", who: str = "lead", status: int = 200, **given: Any) -> Page:
    return Page(name, key, given, query, who, status)


PAGES: tuple[Page, ...] = (
    _page("today:today", "today"),
    _page("today:week", "week"),
    _page("pull:choose", "pull"),
    _page("pull:choose", "pull-taster", who="taster"),
    _page("pull:slot", "pull-slot", slot="{slot}"),
    _page("pull:batch", "pull-batch", batch="{loose_batch}"),
    _page("pull:history", "pull-history", coffee="{coffee}"),
    _page("pull:kept", "pull-kept", pull="{pull}"),
    _page("pull:correct", "pull-correct", pull="{pull}"),
    _page("table:tables", "tables"),
    _page("table:plan", "table-plan"),
    _page("table:table", "table-planned", pk="{planned}"),
    _page("table:table", "table-open", pk="{open}"),
    _page("table:table", "table-closed", pk="{closed}"),
    _page("table:replan", "table-replan", pk="{planned}"),
    _page("table:close", "table-close", pk="{open}"),
    _page("taste:choose", "taste", who="taster"),
    _page("taste:table", "taste-cup", who="taster", table_pk="{open}"),
    _page("taste:table", "taste-cups", "?cup=end", who="taster", table_pk="{open}"),
    _page("taste:table", "taste-planned", who="taster", table_pk="{planned}"),
    _page("taste:table", "taste-closed", who="taster", table_pk="{closed}"),
    _page("verdict:verdicts", "verdicts", "?state=all"),
    _page("verdict:verdict", "verdict", who="owner", number="{batch}"),
    _page("verdict:verdict", "verdict-signed", who="owner", number="{signed_batch}"),
    _page("verdict:verdict", "verdict-untasted", who="owner", number="{other_batch}"),
    _page("verdict:sign", "verdict-sign", "?decision=hold", who="owner", number="{batch}"),
    _page("verdict:withdraw", "verdict-withdraw", who="owner", number="{signed_batch}"),
    _page("coffee:coffees", "coffees"),
    _page("coffee:season", "season"),
    _page("coffee:coffee", "coffee", number="{coffee}"),
    _page("coffee:add-batch", "batch-add", number="{coffee}"),
    _page("coffee:batch", "batch", number="{loose_batch}"),
    _page("coffee:lots", "lots"),
    _page("coffee:add-lot", "lot-add"),
    _page("coffee:lot", "lot", number="{lot}"),
    _page("coffee:add-reading", "reading-add", number="{lot}"),
    _page("coffee:add-storage", "storage-add", number="{lot}"),
    _page("coffee:reading", "reading", number="{reading}"),
    _page("coffee:storage", "storage", number="{storage}"),
    _page("setup:setup", "setup", who="owner"),
    _page("setup:people", "setup-people", who="owner"),
    _page("setup:person", "setup-person", who="owner", pk="{person}"),
    _page("setup:devices", "setup-devices", who="owner"),
    _page("setup:recipes", "setup-recipes", who="owner"),
    _page("setup:recipe", "setup-recipe", who="owner", pk="{recipe}"),
    _page("setup:coffees", "setup-coffees", who="owner"),
    _page("setup:coffee", "setup-coffee", who="owner", pk="{coffee}"),
    _page("setup:scales", "setup-scales", who="owner"),
    _page("setup:scale", "setup-scale", who="owner", pk="{attribute}"),
    _page("setup:names", "setup-faults", who="owner", sort="faults"),
    _page("setup:names", "setup-words", who="owner", sort="words"),
    _page("setup:costs", "setup-costs", who="owner"),
    _page("setup:shop", "setup-shop", who="owner"),
    _page("setup:import", "setup-import", who="owner"),
    _page("setup:export", "setup-export", who="owner"),
    _page("setup:history", "setup-history", who="owner"),
    _page("setup:verify", "setup-verify", who="owner"),
    _page("people:me", "me", who="taster"),
    _page("people:sign-in", "names", who="device"),
    _page("people:pin", "pin", who="device", pk="{account}"),
    _page("people:password", "password", who="nobody"),
    _page("table:tables", "not-for-your-role", who="taster", status=403),
    _page("taste:table", "taste-not-yours", status=404, table_pk="{open}"),
    _page("join", "join-unknown", who="nobody", status=404, code="NOCODE"),
)
"""Pages of a shop that is at work."""

FIRST_PAGES: tuple[Page, ...] = (
    _page("start:start", "start", who="nobody"),
    _page("start:questions", "start-questions", who="nobody"),
    _page("start:demo", "start-demo", who="nobody"),
)
"""Pages of a bench on which nobody can log in yet."""

OWNERLESS_PAGES: tuple[Page, ...] = (_page("start:owner", "start-owner", who="nobody"),)
"""Pages of a bench that has records and nobody who can log in."""

EMPTY_PAGES: tuple[Page, ...] = tuple(
    _page(name, f"empty-{key}", who="owner", **given)
    for name, key, given in (
        ("today:today", "today", {}),
        ("today:week", "week", {}),
        ("pull:choose", "pull", {}),
        ("table:tables", "tables", {}),
        ("table:plan", "table-plan", {}),
        ("taste:choose", "taste", {}),
        ("verdict:verdicts", "verdicts", {}),
        ("coffee:coffees", "coffees", {}),
        ("coffee:season", "season", {}),
        ("coffee:coffee", "coffee", {"number": "{coffee}"}),
        ("coffee:lots", "lots", {}),
        ("setup:devices", "setup-devices", {}),
        ("setup:names", "setup-words", {"sort": "words"}),
        ("setup:export", "setup-export", {}),
    )
)
"""Pages of a shop that was set up a minute ago: nothing was roasted, pulled or tasted."""

FRAGMENT = "the inside of a page, shown within it"
BUTTON = "takes a form and leads on to a page"
FILE = "a file to keep or to print"

NO_PAGES: dict[str, str] = {
    "live": "the stream of hints",
    "today:part": FRAGMENT,
    "pull:slot-reading": FRAGMENT,
    "pull:batch-reading": FRAGMENT,
    "pull:solids": BUTTON,
    "pull:undo": BUTTON,
    "pull:pull-again": BUTTON,
    "table:choices": FRAGMENT,
    "table:preview": FRAGMENT,
    "table:watch": FRAGMENT,
    "table:labels": FILE,
    "table:open": BUTTON,
    "table:back": BUTTON,
    "table:remove": BUTTON,
    "table:seat": BUTTON,
    "table:unseat": BUTTON,
    "table:note": BUTTON,
    "taste:tables": FRAGMENT,
    "taste:worker": "a script",
    "taste:manifest": "a description for the phone's start screen",
    "taste:cups": "for scripts",
    "taste:sheets": "for scripts",
    "verdict:verdicts-part": FRAGMENT,
    "verdict:verdict-part": FRAGMENT,
    "verdict:paper": FILE,
    "coffee:season-css": "a file of style",
    "coffee:coffee-part": FRAGMENT,
    "coffee:drop-batch": BUTTON,
    "coffee:drop-reading": BUTTON,
    "coffee:drop-storage": BUTTON,
    "people:sign-out": BUTTON,
    "people:units": BUTTON,
    "people:secrets": BUTTON,
    "setup:person-secrets": BUTTON,
    "setup:person-standing": BUTTON,
    "setup:person-remove": BUTTON,
    "setup:device-remove": BUTTON,
    "setup:scale-remove": BUTTON,
    "setup:name": BUTTON,
    "setup:import-now": BUTTON,
    "setup:backup": FILE,
    "setup:export-file": FILE,
}
"""Addresses that nobody looks at, each with the reason."""


def walk_addresses(resolver: Any = None, spaces: tuple[str, ...] = ()) -> Iterator[tuple[str, dict[str, Any]]]:
    """Give the name of each address that the bench answers, and what converts its arguments, from the resolver."""
    from django.urls import URLResolver, get_resolver

    for pattern in (resolver or get_resolver()).url_patterns:
        if isinstance(pattern, URLResolver):
            yield from walk_addresses(pattern, (*spaces, pattern.namespace) if pattern.namespace else spaces)
        else:
            yield ":".join((*spaces, pattern.name or str(pattern.pattern))), pattern.pattern.converters


def walk_names() -> Iterator[str]:
    """Give the name of each address that the bench answers."""
    for name, _converters in walk_addresses():
        yield name
