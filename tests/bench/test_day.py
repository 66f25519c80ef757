"""A whole day at the bench, through a real server and Chromium: plan, pull, taste, verdict, signature, paper.

The lead has the tablet, five tasters their phones; one of them loses the network in the middle. It all goes over plain
http by a made-up host name, so that no page is in a secure context, as on a shop's wifi.
"""

import base64
import io
import json
import re
import subprocess
import sys
import time

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PHONE, TABLET = {"width": 360, "height": 740}, {"width": 820, "height": 1180}
TASTERS = ("Ida", "Bo", "Ana", "Teo", "Lev")
LOST = "Lev"
CUPS = 4
SHEETS = CUPS * len(TASTERS)
SCORES = {"acidity": (4, 4.5, 3.5, 4, 5), "sweetness": (6, 5.5, 6.5, 6, 5), "bitterness": (3, 3.5, 4, 3, 2.5)}

_COUNT = """
import json, os
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
from django.db import connection
from evenhand.records.chain import verify_chain
from evenhand.records.models import Entry, Pull, Score, Sheet, Verdict
here = Sheet.objects.filter(cup__table__name="T03")
found = verify_chain()
print(json.dumps({
    "vendor": connection.vendor,
    "sheets": here.count(),
    "pairs": len(set(here.values_list("cup__code", "taster__name"))),
    "tasters": sorted(set(here.values_list("taster__name", flat=True))),
    "ids": len(set(here.values_list("client_id", flat=True))),
    "entries": Entry.objects.filter(kind="sheet", record__in=list(here.values_list("pk", flat=True))).count(),
    "scores": {str(score): n for score, n in __import__("collections").Counter(
        Score.objects.filter(sheet__in=here, attribute__name="bitterness").values_list("score", flat=True)).items()},
    "pulls": sorted(Pull.objects.filter(cups__table__name="T03").values_list("dose_g", "beverage_g", "time_s")),
    "watched": Pull.objects.filter(cups__table__name="T03", time_sd_s__gt=0).count(),
    "verdicts": sorted(Verdict.objects.values_list("batch__label", "decision", "signed_by__name", "note")),
    "broken": None if found.broken is None else str(found.broken),
}))
"""


class Screen:
    """A browser of its own, and what went wrong in it."""

    def __init__(self, chromium, room, size, name):
        self.room, self.name = room, name
        self.context = chromium.new_context(viewport=size, has_touch=True, locale="en-GB")
        self.context.set_default_timeout(15_000)
        self.problems = []
        self.page = self.open()

    def open(self):
        page = self.context.new_page()
        page.on("pageerror", lambda error: self.problems.append(f"{self.name}: {error}"))
        page.on("console", lambda told: self._console(told))
        return page

    def _console(self, told):
        # A phone without network says so on its console; that is the very thing tested here.
        if told.type == "error" and "ERR_INTERNET_DISCONNECTED" not in told.text:
            self.problems.append(f"{self.name}: {told.text}")

    def tell(self):
        """Say what stood on the screen, for whoever reads a failure."""
        shown = "".join(self.page.locator("main").all_inner_texts())  # waits for nothing: it may be blank yet
        typed = self.page.locator("main input:visible").evaluate_all(
            "(all) => all.map((one) => one.name + '=' + one.value)"
        )
        print(f"== {self.name} at {self.page.url}: {self.problems}\n{typed}\n{shown[:1200]}")

    def press(self, name, role="button"):
        self.page.get_by_role(role, name=name).click()

    def room_link(self, name):
        """Go to a room by the bar of pages."""
        self.page.get_by_role("navigation", name="Pages").get_by_role("link", name=name).click()


def log_in_and_keep_the_tablet(lead, password):
    page = lead.page
    page.goto(f"{lead.room}/")
    assert page.evaluate("isSecureContext") is False
    page.get_by_label("Name").fill("Wim")
    page.get_by_label("Password").fill(password)
    lead.press("Log in")
    lead.room_link("Set-up")
    lead.press(re.compile("^Devices"), "link")
    page.get_by_label(re.compile("^Name")).fill("tablet by the machine")
    lead.press("Add this device")
    page.get_by_text("(this one)").wait_for()


def plan(lead):
    page = lead.page
    lead.room_link("Table")
    lead.press("Plan a table", "link")
    for box in page.get_by_role("group", name="Tasters").get_by_role("checkbox").all():
        box.uncheck()
    for name in ("H-02", "F-02"):
        page.get_by_role("checkbox", name=re.compile(name)).check()
    for name in TASTERS:
        page.get_by_role("checkbox", name=name, exact=True).check()
    for name, count in (("Black", "1"), ("In milk", "1"), ("Bowl", "0")):
        page.get_by_role("textbox", name=name).fill(count)
    page.locator("#preview").get_by_text("4 pulls, 4 cups").wait_for()  # worked out while it was typed
    lead.press("Plan this table")
    page.get_by_text("Table T03 is planned.").wait_for()
    return page.url, page.locator(".address").inner_text()


def pull_all(lead):
    """The first shot by the stopwatch, the second with commas, the others with points."""
    page = lead.page
    page.clock.install()  # so that a shot of 28 s takes none
    lead.room_link("Pull")
    page.locator("ol.slots a").first.click()
    for number, (dose, beverage, took) in enumerate(
        (("18", "36.4", None), ("18,2", "35,5", "29,5"), ("17.9", "37", "28"), ("18.1", "36", "30.2")), start=1
    ):
        page.get_by_role("heading", name=re.compile(f"^Pull {number} of table T03")).wait_for()
        page.get_by_label("Dose").fill(dose)
        if took is None:
            page.get_by_role("button", name="Start", exact=True).click()
            page.clock.fast_forward(28_000)
            page.get_by_role("button", name="Stop", exact=True).click()
            assert 28 <= float(page.get_by_label("Time", exact=True).input_value()) < 30
        else:
            page.get_by_label("Time", exact=True).fill(took)
        page.get_by_label("Beverage").fill(beverage)
        page.locator("#reading").get_by_text("Judge it").wait_for()  # the deviations follow what is typed
        lead.press("Save, and put it on the table")
        page.get_by_text(f"Put it on table T03 as pull {number}:").wait_for()
        if number < CUPS:
            lead.press(re.compile("^Next pull"), "link")
    lead.press("All cups are poured: to the table", "link")
    lead.press(re.compile("^T03"), "link")
    lead.press("Open T03")
    page.get_by_text("Table T03 is open.").wait_for()


def come_to_the_table(phone, address, pin):
    page = phone.page
    page.goto(address)
    phone.press(phone.name, "link")
    page.get_by_label("PIN").fill(pin)
    phone.press("Log in")
    page.get_by_role("heading", name="Taste at T03").wait_for()
    page.wait_for_selector("[data-taste=ready]")


def taste_one(phone):
    """Judge the cup that is shown, and hand it in; say which."""
    page, at = phone.page, TASTERS.index(phone.name)
    cup = page.locator("section.cup:visible")
    code = cup.locator(".code").inner_text()
    for name, scores in SCORES.items():
        for box in cup.get_by_role("textbox", name=re.compile(f"^{name}")).all():
            box.fill(str(scores[at]).replace(".", "," if at % 2 else "."))
    if phone.name == "Bo":
        cup.get_by_role("checkbox", name=re.compile("^smoky")).check()
        cup.get_by_role("button", name="plum").click()
    phone.press(f"Hand in {code}")
    page.locator(f"section.cup[data-code='{code}']").wait_for(state="hidden")
    return code


def taste_all(lead, phones, table):
    lead.page.goto(table)
    lead.page.evaluate("window.never = 'reloaded'")
    lead.page.get_by_text(f"0 of {SHEETS} sheets in", exact=True).wait_for()
    lost = next(phone for phone in phones if phone.name == LOST)
    for phone in phones:
        taste_one(phone)
    lead.page.get_by_text(f"{len(phones)} of {SHEETS} sheets in", exact=True).wait_for()
    lost.context.set_offline(True)
    for _ in range(2):
        for phone in phones:
            taste_one(phone)
    lost.page.get_by_text("2 sheets wait on this phone").wait_for()
    lost.page.get_by_text("The bench does not answer. Go on tasting").wait_for()
    lead.page.get_by_text(f"{SHEETS - 7} of {SHEETS} sheets in", exact=True).wait_for()
    lost.context.set_offline(False)
    lost.page.get_by_text("Nothing waits on this phone").wait_for()
    lead.page.get_by_text(f"{SHEETS - 5} of {SHEETS} sheets in", exact=True).wait_for()
    for phone in phones:
        taste_one(phone)
    for phone in phones:
        phone.page.get_by_text("Every cup has its sheet. Thank you.").wait_for()
        phone.page.get_by_text("Nothing waits on this phone").wait_for()
    lead.page.get_by_text(f"{SHEETS} of {SHEETS} sheets in", exact=True).wait_for()
    assert lead.page.evaluate("window.never") == "reloaded"


def watch_verdict(lead, label):
    """Open the verdict of a batch in a second tab, before anybody has tasted it."""
    page = lead.open()
    page.goto(f"{lead.room}/verdicts/?state=untasted")
    page.get_by_role("link", name=re.compile(label)).click()
    page.get_by_text("Nobody has tasted it").wait_for(timeout=30_000)
    page.evaluate("window.never = 'reloaded'")
    return page, page.locator("section.advice .figure").inner_text()


def wait_for_verdict(page, before):
    """See the verdict change by itself, until every sheet is weighed."""
    page.get_by_text("Nobody has tasted it").wait_for(state="detached", timeout=30_000)
    deadline = time.monotonic() + 40
    while page.get_by_text("being weighed").count() and time.monotonic() < deadline:
        page.wait_for_timeout(200)
    assert page.get_by_text("being weighed").count() == 0
    assert page.locator("section.advice .figure").inner_text() != before
    assert page.evaluate("window.never") == "reloaded"


def close(lead, table):
    lead.page.goto(table)
    lead.press(re.compile("^Close T03"), "link")
    lead.press("Close T03 for good")
    lead.page.get_by_role("heading", name="What each code was").wait_for()


def sign(lead, label, decision, note):
    """Choose on one page, sign on the next; return the address of the paper, and what had been advised."""
    page = lead.page
    page.get_by_role("link", name=f"Verdict {label}").click()
    page.get_by_role("main").get_by_role("button", name=decision).click()
    page.get_by_role("heading", name=f"Sign for {label}").wait_for()
    page.get_by_label("Note").fill(note)
    lead.press("Sign as Wim")
    page.get_by_text(f"Signed: {decision} for {label}.").wait_for()
    assert note in page.inner_text("main")
    advised = re.sub(r"[^a-z ]", "", page.locator("section.advice .badge").inner_text()).strip()
    return page.get_by_role("link", name="Print as PDF").evaluate("(link) => link.href"), advised


def read_paper(lead, address):
    """Fetch the PDF as the page's link does, and return its text."""
    from pypdf import PdfReader

    kind, content = lead.page.evaluate(
        """async (address) => {
          const answer = await fetch(address);
          const bytes = new Uint8Array(await answer.arrayBuffer());
          const text = Array.from(bytes, (byte) => String.fromCharCode(byte)).join("");
          return [answer.headers.get("Content-Type"), btoa(text)];
        }""",
        address,
    )
    assert kind == "application/pdf"
    return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(base64.b64decode(content))).pages)


@pytest.mark.parametrize("database", ["sqlite", pytest.param("postgresql", marks=pytest.mark.database)])
def test_a_whole_day(database, request, chromium, start_server, fill, tmp_path, password, pin):
    chosen = {} if database == "sqlite" else {"EVENHAND_DATABASE_URL": request.getfixturevalue("postgresql")}
    fill(tmp_path, **chosen)
    served = start_server(tmp_path, **chosen)
    lead = Screen(chromium, served.room, TABLET, "Wim")
    phones = [Screen(chromium, served.room, PHONE, name) for name in TASTERS]
    try:
        log_in_and_keep_the_tablet(lead, password)
        table, address = plan(lead)
        assert re.fullmatch(rf"HTTP://BENCH\.TEST:{served.port}\s*/T/\w{{6}}", address)
        pull_all(lead)
        verdict, before = watch_verdict(lead, "H-02")
        for phone in phones:
            come_to_the_table(phone, re.sub(r"\s", "", address), pin)
        taste_all(lead, phones, table)
        wait_for_verdict(verdict, before)
        verdict.close()
        close(lead, table)
        paper, advised = sign(lead, "H-02", "hold", "Wait for the second tasting.")
        lead.page.goto(table)
        sign(lead, "F-02", "release", "Fine as it is.")
        text = read_paper(lead, paper)
        assert "H-02" in text
        assert "F-02" not in text
        assert advised in ("release", "taste again", "hold")
        assert advised in text.lower().replace("\xa0", " ")
        assert "signed on the bench" in " ".join(text.split())
        assert "Wim" in text
        assert "Wait for the second tasting." in " ".join(text.split())
    except BaseException:
        for screen in (lead, *phones):
            screen.tell()
        raise
    finally:
        problems = [problem for screen in (lead, *phones) for problem in screen.problems]
        for screen in (lead, *phones):
            screen.context.close()
    assert problems == []

    count = subprocess.run([sys.executable, "-c", _COUNT], env=served.environment, capture_output=True, text=True)
    assert count.returncode == 0, count.stderr
    found = json.loads(count.stdout)
    assert found["vendor"] == database
    assert found["sheets"] == found["pairs"] == found["ids"] == found["entries"] == SHEETS
    assert found["tasters"] == sorted(TASTERS)
    assert found["scores"] == {"3.0": 4, "3.5": 2, "4.0": 2, "2.5": 2}  # two cups with milk, five tasters
    assert found["pulls"][0][:2] == [17.9, 37.0]
    assert found["pulls"][-1] == [18.2, 35.5, 29.5]
    assert found["watched"] == 1
    assert found["verdicts"] == [
        ["F-02", "release", "Wim", "Fine as it is."],
        ["H-02", "hold", "Wim", "Wait for the second tasting."],
    ]
    assert found["broken"] is None
