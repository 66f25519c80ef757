"""Until a table closes no answer of the server holds a cup's code together with what is in the cup, for anybody.

Every address is asked for: those of tests/bench/pages.py, the parts of pages, the files, what scripts ask for, and
whatever a page links to, as a taster, as a lead who sits at the table, and as an owner who does not.
"""

import asyncio
import html
import io
import json
import os
import re
import runpy
import threading
import zipfile
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import urljoin

import pytest
from django.urls import reverse
from django.utils import timezone

from evenhand.records.audit import Pen

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]

HERE = Path(__file__).parent
LIST = SimpleNamespace(**runpy.run_path(os.fspath(HERE / "pages.py")))
SCENE = runpy.run_path(os.fspath(HERE / "scene.py"))
TASTERS = ["Ida", "Wim", "Bo"]
PEOPLE = {"taster": "Bo", "lead at the table": "Wim", "owner elsewhere": "Una"}
_LINK = re.compile(r'\s(?:href|hx-get|src|data-sheets|data-cups|data-worker)="([^"]+)"')
_DRAWN = re.compile(r"<(?:svg|g|path|rect|line|circle|text|tspan|use|polyline|polygon)\b[^>]*>")


class Listener:
    """Reads the stream of hints, as an open page does."""

    def __init__(self):
        self.heard = []
        self.ready = threading.Event()
        self.thread = threading.Thread(target=lambda: asyncio.run(self._listen()), daemon=True)
        self.thread.start()
        assert self.ready.wait(5)

    async def _listen(self):
        from evenhand.bench.live import _stream

        async def is_in():
            return True

        async for line in _stream(is_in):
            self.heard.append(line)
            self.ready.set()

    def stop(self):
        from evenhand.bench.hub import HUB

        HUB.close()
        self.thread.join(5)
        HUB.open_again()
        return "".join(self.heard)


def text_of(answer) -> str:
    """Everything that an answer says: address, headers, and what is inside a file."""
    content = b"".join(answer.streaming_content) if answer.streaming else answer.content
    kind = answer.headers.get("Content-Type", "")
    if "pdf" in kind:
        from pypdf import PdfReader

        said = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)
    elif content[:2] == b"PK":
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            said = " ".join(archive.read(name).decode("utf-8", "replace") for name in archive.namelist())
    else:
        said = _DRAWN.sub(" ", html.unescape(content.decode("utf-8", "replace")))
    return f"{answer.headers} {said}"


def addresses(scene) -> Iterator[str]:
    """Every address that a GET may ask for, with every table, batch and pull that it may be about."""
    from evenhand.bench.models import Slot
    from evenhand.records.models import Batch, Pull

    yield from (page.address(scene) for page in LIST.PAGES)
    batches = Batch.objects.filter(label__in=[label for labels in scene["labels"].values() for label in labels])
    for batch in batches.values_list("pk", flat=True):
        for name in ("verdict", "verdict-part", "sign", "withdraw", "paper"):
            yield reverse(f"verdict:{name}", args=[batch]) + ("?decision=hold" if name == "sign" else "")
        yield reverse("coffee:batch", args=[batch])
        yield reverse("pull:batch", args=[batch])
        yield reverse("pull:batch-reading", args=[batch]) + "?dose_g=18&beverage_g=36&time_s=28"
    for state in ("waiting", "untasted", "release", "taste_again", "hold", "all"):
        yield reverse("verdict:verdicts-part") + f"?state={state}"
    for table in scene["codes"]:
        for name in ("table", "watch", "replan", "close", "labels"):
            yield reverse(f"table:{name}", args=[table])
        for name in ("table", "cups"):
            yield reverse(f"taste:{name}", args=[table])
        yield from (reverse("taste:table", args=[table]) + f"?cup={code}" for code in scene["codes"][table])
    for slot in Slot.objects.values_list("pk", flat=True):
        yield reverse("pull:slot", args=[slot])
        yield reverse("pull:slot-reading", args=[slot]) + "?dose_g=18&beverage_g=36&time_s=28"
    for pull in Pull.objects.filter(batch__in=batches).values_list("pk", flat=True):
        yield reverse("pull:kept", args=[pull])
        yield reverse("pull:correct", args=[pull])
    for label in [label for labels in scene["labels"].values() for label in labels]:
        yield reverse("pull:choose") + f"?q={label[:-1]}"  # what is sought stands on the page, so never a whole label
    yield from (reverse(name) for name in ("today:part", "taste:tables", "taste:manifest", "taste:worker"))
    yield reverse("coffee:coffee-part", args=[scene["coffee"]])
    yield from (reverse("setup:history") + f"?kind={kind}" for kind in ("cup", "serving", "sheet", "pull", "table"))


def crawl(client, scene) -> dict[str, str]:
    """Ask for every address, and for what the pages link to; nothing is written."""
    found: dict[str, str] = {}
    waiting = list(dict.fromkeys(addresses(scene)))
    while waiting:
        address = waiting.pop()
        if address in found:
            continue
        answer = client.get(address)
        assert answer.status_code < 500, address
        found[address] = f"{address} {text_of(answer)}"
        if "text/html" not in answer.headers.get("Content-Type", ""):
            continue
        for link in _LINK.findall(found[address]):
            onward = urljoin(address, html.unescape(link)).split("#")[0]
            if onward.startswith("/") and not onward.startswith(("/static/", "/live/")):
                waiting.append(onward)
    for name, words in (("table:choices", {"find": ""}), ("table:preview", {})):
        found[name] = text_of(client.post(reverse(name), words))
    for form in ("zip", "xlsx"):
        found[f"export {form}"] = text_of(client.post(reverse("setup:export-file", args=[form])))
    for name in ("setup:verify", "setup:backup"):
        found[name] = text_of(client.post(reverse(name)))
    return found


def holds_code(text, code) -> bool:
    """Say whether three digits stand alone in a text, by themselves or behind the name of a table."""
    return re.search(rf"(?<![A-Za-z0-9])(?<!\d[.,]){code}(?![A-Za-z0-9])(?![.,]\d)", text) is not None


def unblinded(answers, scene, tables) -> list[str]:
    """Name each answer that holds a code of one of these tables together with a batch, coffee or lot on it."""
    told = []
    for address, text in answers.items():
        for table in tables:
            codes = [code for code in scene["codes"][table] if holds_code(text, code)]
            secrets = [*scene["labels"][table], *scene["coffees"], *scene["lots"]]
            names = [name for name in secrets if name in text]
            if codes and names:
                told.append(f"{address}: {codes} with {names}")
    return told


def with_label(answers, scene, tables) -> list[str]:
    """Name each answer that holds the label of a batch on one of these tables."""
    labels = [label for table in tables for label in scene["labels"][table]]
    return [f"{address}: {label}" for address, text in answers.items() for label in labels if label in text]


@pytest.fixture
def scene(shop):
    return SCENE["lay_scene"](Pen(who="Una", at=timezone.localtime()), TASTERS)


def write_as_people_do(client_as, scene) -> dict[str, str]:
    """Pull the last cup, hand in a good, a repeated and a bad sheet, change seats: the answers to what is sent."""
    from evenhand.bench.models import Place, Slot

    answers: dict[str, str] = {}
    una, bo = client_as("Una"), client_as("Bo")
    slot = reverse("pull:slot", args=[scene["slot"]])
    for number, values in enumerate(({"dose_g": "18", "beverage_g": "60", "time_s": "28"}, {"dose_g": "x"})):
        answers[f"pull refused {number}"] = text_of(una.post(slot, values))
    pulled = una.post(slot, {"dose_g": "18", "beverage_g": "36,2", "time_s": "28,5", "then": "table"}, follow=True)
    assert "Put it on table" in pulled.content.decode()
    answers["pulled"] = text_of(pulled) + " ".join(address for address, _ in pulled.redirect_chain)
    answers["pulled twice"] = text_of(una.post(slot, {"dose_g": "18"}, follow=True))
    place = Place.objects.filter(seat__plan__table=scene["open"], seat__taster__name="Bo").order_by("-position").first()
    code = Slot.objects.get(pk=place.slot_id).code
    sheet = {"client_id": "f" * 32, "taster": place.seat.taster_id, "code": code, "scores": {}, "faults": {}}
    sheet |= {"words": "plum", "tasted_at": timezone.now().isoformat(), "supersedes": None}
    for number, body in enumerate((sheet, sheet, sheet | {"code": "000"}, {})):
        address = reverse("taste:sheets", args=[scene["open"]])
        answer = bo.post(address, json.dumps(body), content_type="application/json")
        assert answer.status_code == (201, 200)[number] if number < 2 else answer.status_code >= 400
        answers[f"sheet {number}"] = text_of(answer)
    for name, table, words in (
        ("seat", "open", {"taster": scene["person"]}),
        ("note", "open", {"note": "The second grinder."}),
        ("back", "open", {}),
        ("remove", "open", {}),
        ("open", "planned", {}),
        ("back", "planned", {}),
    ):
        answer = una.post(reverse(f"table:{name}", args=[scene[table]]), words, follow=True)
        answers[f"{name} {table}"] = text_of(answer)
    return answers


def test_nobody_is_told_what_a_code_is_before_the_table_closes(client_as, scene):
    hidden = [scene["open"], scene["planned"]]
    listener = Listener()
    written = write_as_people_do(client_as, scene)
    seen = {who: crawl(client_as(name), scene) for who, name in PEOPLE.items()}
    heard = listener.stop()
    assert f"data: table-{scene['open']}" in heard  # it did listen
    for who, answers in (*seen.items(), ("whoever writes", written), ("whoever listens", {"stream": heard})):
        assert unblinded(answers, scene, hidden) == [], who
    assert with_label(seen["taster"], scene, hidden) == []
    assert with_label({"stream": heard}, scene, scene["codes"]) == []
    # The crawl saw both halves: codes on one page, batches on another.
    for who in ("lead at the table", "owner elsewhere"):
        assert with_label(seen[who], scene, [scene["open"]]), who
    for who, answers in seen.items():
        assert any(holds_code(text, code) for text in answers.values() for code in scene["codes"][scene["open"]]), who
        assert len(answers) > 60, who


def test_everybody_who_leads_is_told_once_it_is_closed(client_as, scene):
    """The same crawl finds code and batch together afterwards, so that it would have found them before."""
    closing = client_as("Una").post(reverse("table:close", args=[scene["open"]]), follow=True)
    assert "What each code was" in closing.content.decode()
    for who, name in PEOPLE.items():
        answers = crawl(client_as(name), scene)
        assert with_label(answers, scene, [scene["open"]]), who
        assert unblinded(answers, scene, [scene["planned"]]) == [], who
        if who != "taster":
            told = unblinded(answers, scene, [scene["open"]])
            assert any(line.startswith(reverse("table:table", args=[scene["open"]])) for line in told), who
            assert any(line.startswith("export") for line in told), who
