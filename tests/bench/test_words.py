"""Every word on a page can be translated: with a marked translation, no visible word is left without its marks.

Django's translations are replaced by one that puts each text between marks. What is then visible without marks is
either data of the shop, a unit, or what the sealed history holds, listed here with the reason.
"""

import json
import os
import re
import runpy
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import timezone, translation
from django.views.defaults import server_error

from evenhand.records.audit import Pen

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

HERE = Path(__file__).parent
LIST = SimpleNamespace(**runpy.run_path(os.fspath(HERE / "pages.py")))
SCENE = runpy.run_path(os.fspath(HERE / "scene.py"))
NAMES = {"lead": "Wim", "taster": "Bo", "owner": "Una"}
OPEN, SHUT = "⟦", "⟧"
_LETTERS = re.compile(r"[^\W\d_]{2,}")
_SILENT = {"script", "style", "svg", "head"}
_SAID = ("aria-label", "title", "placeholder", "alt", "aria-valuetext", "aria-roledescription")
_VOID = {"input", "br", "img", "meta", "link", "hr", "wbr", "source", "col"}

UNITS = {"ml", "kg", "mg", "bar", "oz", "fl", "lb", "min", "TDS", "PDF", "Evenhand"}
"""Signs of units, and names that no language translates."""

STAYS_ENGLISH = {
    ".sealed": "what was signed, in the words that the seal covers",
    ".changes": "the history: columns and values as the sealed entry and docs/formats.md have them",
    ".entry": "the same: sort and title of an entry",
    "code": "a number and a digest to be copied",
}
"""Parts of pages, by class or element, that hold what the sealed history says."""


class Seen(HTMLParser):
    """Collects what is visible or read out: text, labels, placeholders, and the words given to scripts."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.path, self.found, self.data = [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if not self._is_silent():
            for name in _SAID:
                if told.get(name):
                    self.found.append((f"{tag} {name}", told[name]))
            if tag == "input" and told.get("type") in ("submit", "button"):
                self.found.append(("input value", told.get("value") or ""))
            for name, value in told.items():
                # A word for a script: data- attributes that hold a sentence or a word, not an address or a number.
                if name.startswith("data-") and name != "data-topic" and " " in (value or ""):
                    self.found.append((f"{tag} {name}", value))
        if tag == "script" and told.get("id", "").endswith("-words"):
            self.data = ""
        if tag not in _VOID:
            self.path.append((tag, (told.get("class") or "").split()))

    def handle_endtag(self, tag):
        if tag == "script" and self.data is not None:
            self.found += [("words for scripts", text) for text in leaves(json.loads(self.data))]
            self.data = None
        while self.path and self.path.pop()[0] != tag:
            pass

    def handle_data(self, text):
        if self.data is not None:
            self.data += text
        elif text.strip() and not self._is_silent():
            self.found.append((" > ".join(tag for tag, _ in self.path[-3:]), text.strip()))

    def _is_silent(self):
        tags = {tag for tag, _ in self.path}
        classes = {f".{name}" for _, names in self.path for name in names}
        return bool(_SILENT & tags) or bool((classes | tags) & set(STAYS_ENGLISH))


def leaves(told):
    """Give the texts in a JSON value."""
    if isinstance(told, str):
        yield told
    elif isinstance(told, dict):
        for value in told.values():
            yield from leaves(value)
    elif isinstance(told, list):
        for value in told:
            yield from leaves(value)


def unmarked(text) -> str:
    """Return what is left of a text once a blank stands for everything between marks."""
    depth, rest = 0, []
    for sign in text:
        if sign == OPEN:
            depth += 1
        elif sign == SHUT:
            depth -= 1
            rest.append(" ")
        elif depth == 0:
            rest.append(sign)
    return "".join(rest)


def left_over(text, data) -> str:
    """Return the letters of a text that are neither translated, nor data, nor a unit."""
    rest = re.sub(r"(?i)https?://\S*", " ", unmarked(text))
    for name in data:
        rest = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", " ", rest)
    words = [word for word in _LETTERS.findall(rest) if word not in UNITS]
    return " ".join(words)


@pytest.fixture
def marked(monkeypatch):
    """Put every translated text between marks."""

    def wrap(text):
        # A date or a number is formatted by patterns that Django looks up elsewhere; an empty text stays empty.
        return f"{OPEN}{text}{SHUT}" if str(text).strip() else text

    list(LIST.walk_names())  # imports every page first: what is translated at import would bear the marks for good
    inner = translation._trans
    inner.gettext  # noqa: B018 - Django chooses its translations at the first use
    monkeypatch.setattr(inner, "gettext", wrap)
    monkeypatch.setattr(inner, "pgettext", lambda context, text: wrap(text))
    monkeypatch.setattr(inner, "ngettext", lambda one, many, number: wrap(one if number == 1 else many))
    monkeypatch.setattr(inner, "npgettext", lambda context, one, many, number: wrap(one if number == 1 else many))


@pytest.fixture
def scene(shop):
    return SCENE["lay_scene"](Pen(who="Wim", at=timezone.localtime()), ["Ida", "Bo", "Teo"])


def data_of_the_shop() -> list[str]:
    """Every name and free word in the records, longest first, so that no name hides a part of another."""
    from django.apps import apps
    from django.db import models

    found = set()
    for model in apps.get_models():
        if model._meta.app_label not in ("records", "bench") or model.__name__ in ("Entry", "Judged", "SeasonRead"):
            continue
        texts = [
            field.name for field in model._meta.get_fields() if isinstance(field, models.CharField | models.TextField)
        ]
        texts = [name for name in texts if not getattr(model._meta.get_field(name), "choices", None)]
        for row in model.objects.values_list(*texts) if texts else ():
            found.update(str(value) for value in row if value)
    return sorted((text for text in found if _LETTERS.search(text)), key=len, reverse=True)


def visit(pages, client_for, scene, data):
    """Return what is left without marks on these pages, a line each, and how many marked texts stood there."""
    wrong, seen = [], 0
    for page in pages:
        answer = client_for(page.who).get(page.address(scene))
        assert answer.status_code == page.status, page.key
        for where, text in Seen(answer.content.decode()).found:
            seen += OPEN in text
            if left := left_over(text, data):
                wrong.append(f"{page.key}: {where}: {left!r} in {text[:100]!r}")
    return list(dict.fromkeys(wrong)), seen


def test_every_word_of_a_shop_at_work_can_be_translated(client_as, scene, marked, client):
    from evenhand.bench.models import Device
    from evenhand.bench.people import accounts

    device = Client()
    Device.objects.create(
        token_hash=accounts._hash("token"), name="tablet", added_by="Una", added_at=timezone.now(), until=None
    )
    device.cookies[accounts.DEVICE_COOKIE] = "token"
    clients = {"device": device, "nobody": client} | {who: client_as(name) for who, name in NAMES.items()}
    wrong, seen = visit(LIST.PAGES, clients.__getitem__, scene, data_of_the_shop())
    assert not wrong, "\n".join(wrong)
    assert seen > 20 * len(LIST.PAGES)  # the marks were there


def test_every_word_of_a_shop_without_a_batch_can_be_translated(db, marked, client):
    from evenhand.bench.models import Account

    scene = SCENE["set_up_shop"](Pen(who="Una", at=timezone.localtime()))
    client.force_login(Account.objects.get(), backend="evenhand.bench.people.accounts.ByName")
    wrong, _ = visit(LIST.EMPTY_PAGES, lambda who: client, scene, data_of_the_shop())
    assert not wrong, "\n".join(wrong)


def test_every_word_of_a_page_that_is_not_there_can_be_translated(client_as, marked):
    missing = client_as("Bo").get("/nowhere/")
    assert missing.status_code == 404
    elsewhere = Client().get("/", headers={"host": "bench.elsewhere"})  # the machine's address has changed
    assert elsewhere.status_code == 400
    broken = server_error(RequestFactory().get("/"))
    for answer in (missing, elsewhere, broken):
        found = Seen(answer.content.decode()).found
        assert len(found) >= 3
        assert [text for _, text in found if left_over(text, [])] == []


@pytest.mark.parametrize("kind", ["wrong", "again", "slot"])
def test_every_word_of_a_refusal_can_be_translated(client_as, scene, marked, kind):
    """Forms that come back: what they complain of is translated too, but for sentences of the records."""
    lead = client_as("Wim")
    address, sent = {
        "wrong": (reverse("pull:batch", args=[scene["loose_batch"]]), {"dose_g": "x"}),
        "again": (reverse("table:plan"), {"do": "plan", "black": "x"}),
        "slot": (reverse("pull:slot", args=[scene["slot"]]), {"dose_g": "18", "beverage_g": "60", "time_s": "28"}),
    }[kind]
    answer = lead.post(address, sent)
    assert answer.status_code == 422
    data = [*data_of_the_shop(), "x"]
    wrong = [(where, text) for where, text in Seen(answer.content.decode()).found if left_over(text, data)]
    assert wrong == []


@pytest.mark.django_db
def test_every_word_of_the_first_run_can_be_translated(client, marked):
    from evenhand.bench.start import suggestions

    # Suggested names become data of the shop once the form is sent.
    wrong, seen = visit(LIST.FIRST_PAGES, lambda who: client, {}, [*suggestions.FAULTS])
    assert not wrong, "\n".join(wrong)
    assert seen > 30


def test_a_word_without_marks_is_found():
    seen = Seen('<main><p>⟦Dose⟧ 18 g</p><p title="Plain">⟦a ⟦b⟧⟧ H-01 left</p><svg><text>no</text></svg></main>').found
    assert [left_over(text, ["H-01"]) for _, text in seen] == ["", "Plain", "left"]
