"""Every page, at three sizes, light and dark: axe, targets of 44 px, no sideways scroll, nothing from elsewhere.

The list of pages is held against the URL resolver, so that a new page cannot be forgotten (tests/bench/pages.py). axe
runs at the smallest and at the largest size, in both themes; the geometry is measured at all three.
"""

import json
import os
import runpy
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

HERE = Path(__file__).parent
LIST = SimpleNamespace(**runpy.run_path(os.fspath(HERE / "pages.py")))
SIZES = {"phone": (360, 740), "tablet": (820, 1180), "desk": (1280, 800)}
AXE_SIZES = ("phone", "desk")
TASTERS = ["Ida", "Bo", "Teo"]
NAMES = {"lead": "Wim", "taster": "Bo", "owner": "Una"}
# WCAG 2.2 AA and below, and what axe holds to be good practice.
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

_ADD_DEVICE = """
import os
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
from django.http import HttpResponse
from django.utils import timezone
from evenhand.bench.people.accounts import DEVICE_COOKIE, add_device
answer = HttpResponse()
add_device(answer, name="tablet", by="Una")
print(DEVICE_COOKIE, answer.cookies[DEVICE_COOKIE].value)
"""
_IMPORT = """
import os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
from django.utils import timezone
from evenhand.records.audit import Pen
from evenhand.records.importing import import_path
import_path(Pen(who="Una", at=timezone.localtime()), __import__("pathlib").Path(sys.argv[1]), dry_run=False)
"""

# What a finger must hit: a tick is hit by its label. A link within a sentence is let off (WCAG 2.2, 2.5.8, "inline").
_SMALL = """() => [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary")]
  .filter((one) => one.checkVisibility({ visibilityProperty: true, contentVisibilityAuto: true }))
  .filter((one) => {
    if (one.tagName !== "A" || getComputedStyle(one).display !== "inline") return true;
    const around = one.closest("p, li, td, dd, figcaption, div")?.cloneNode(true);
    for (const link of around?.querySelectorAll("a") ?? []) link.remove();
    return !/\\p{L}/u.test(around?.textContent ?? ""); // no word but in links: that is no sentence
  })
  .map((one) => {
    const label = one.matches("input[type=checkbox], input[type=radio]") ? one.labels?.[0] : null;
    return [one.outerHTML.slice(0, 110), (label ?? one).getBoundingClientRect()];
  })
  .filter(([, box]) => box.width > 0 && (box.width < 43.9 || box.height < 43.9))
  .map(([text, box]) => `${Math.round(box.width)} x ${Math.round(box.height)}: ${text}`)"""
_WIDE = """() => document.documentElement.scrollWidth <= innerWidth ? [] :
  [...document.querySelectorAll("body *")].filter((one) => one.getBoundingClientRect().right > innerWidth + 1)
  .slice(-3).map((one) => one.outerHTML.slice(0, 110))"""
_AXE = """async (rules) => {
  const found = await axe.run(document, { runOnly: rules, resultTypes: ["violations"] });
  const first = (nodes) => nodes.slice(0, 3).map((node) => node.html.slice(0, 110));
  return found.violations.map((one) => [one.impact, one.id, first(one.nodes)]);
}"""
_WATCH_POLICY = """window.refused = [];
document.addEventListener("securitypolicyviolation", (event) =>
  window.refused.push(`${event.violatedDirective} ${event.blockedURI}`));"""


def test_no_address_is_forgotten():
    known = {page.name for page in (*LIST.PAGES, *LIST.FIRST_PAGES, *LIST.OWNERLESS_PAGES, *LIST.EMPTY_PAGES)}
    names = set(LIST.walk_names())
    assert names - known - set(LIST.NO_PAGES) == set(), "new addresses: give each a Page or a reason in pages.py"
    assert (known | set(LIST.NO_PAGES)) - names == set(), "pages.py lists addresses that are gone"
    assert known & set(LIST.NO_PAGES) == set()
    assert all(LIST.NO_PAGES.values())


def run(program, environment, *words):
    done = subprocess.run(
        [sys.executable, *program, *words], env={**os.environ, **environment}, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def bench(start_server, fill, tmp_path_factory):
    """A server with a planned, an open and a closed table, a device of the shop, and a session of everybody."""
    data = tmp_path_factory.mktemp("pages")
    fill(data)
    told = json.dumps({"pen": "Wim", "tasters": TASTERS, "outside": "Una"})
    environment = {"EVENHAND_DATA": os.fspath(data)}
    scene = json.loads(run([os.fspath(HERE / "scene.py")], environment, told))
    device = run(["-c", _ADD_DEVICE], environment).split()
    return SimpleNamespace(served=start_server(data), scene=scene, device=device)


@pytest.fixture(scope="module")
def first(start_server, tmp_path_factory):
    """A server on an empty folder."""
    return SimpleNamespace(served=start_server(tmp_path_factory.mktemp("first")), scene={}, device=None)


@pytest.fixture(scope="module")
def new_shop(start_server, tmp_path_factory):
    """A server whose owner has answered the five questions, and done nothing else."""
    data = tmp_path_factory.mktemp("new")
    environment = {"EVENHAND_DATA": os.fspath(data)}
    scene = json.loads(run([os.fspath(HERE / "scene.py")], environment, json.dumps({"pen": "Una"})))
    return SimpleNamespace(served=start_server(data), scene=scene, device=None)


@pytest.fixture(scope="module")
def ownerless(start_server, folder, tmp_path_factory):
    """A server with records, and nobody who can log in."""
    data = tmp_path_factory.mktemp("ownerless")
    run(["-c", _IMPORT], {"EVENHAND_DATA": os.fspath(data)}, os.fspath(folder))
    return SimpleNamespace(served=start_server(data), scene={}, device=None)


class Visitor:
    """Opens pages as somebody, and notes what the browser complains of or asks elsewhere for."""

    def __init__(self, chromium, bench, who, axe):
        room = bench.served.room
        self.room, self.axe, self.problems = room, axe, []
        self.context = chromium.new_context(locale="en-GB", has_touch=True, reduced_motion="reduce")
        self.context.set_default_timeout(20_000)
        if who in NAMES:
            session = bench.scene["sessions"][NAMES[who]]
            self.context.add_cookies([{"name": "evenhand_session", "value": session, "url": room}])
        elif who == "device":
            self.context.add_cookies([{"name": bench.device[0], "value": bench.device[1], "url": room}])
        self.context.add_init_script(_WATCH_POLICY)
        self.page = self.context.new_page()
        self.page.on("pageerror", lambda error: self.problems.append(f"script: {error}"))
        self.page.on("console", self._console)
        self.page.on("request", self._request)

    def _console(self, told):
        if told.type == "error" and not (self.status >= 400 and "Failed to load resource" in told.text):
            self.problems.append(f"console: {told.text}")

    def _request(self, asked):
        if not asked.url.startswith((self.room, "data:", "blob:")):
            self.problems.append(f"asks elsewhere: {asked.url}")

    def look(self, address, status, rules):
        """Return what is wrong with one page, a line each."""
        self.problems, self.status = [], status
        page = self.page
        answer = page.goto(self.room + address)
        if answer.status != status or page.url.split("?")[0] != (self.room + address).split("?")[0]:
            return [f"answers {answer.status} at {page.url}"]
        found = []
        page.evaluate(self.axe)
        for size, (width, height) in SIZES.items():
            page.set_viewport_size({"width": width, "height": height})
            found += [f"{size}: small target {text}" for text in page.evaluate(_SMALL)]
            found += [f"{size}: wider than the screen {text}" for text in page.evaluate(_WIDE)]
            for theme in ("light", "dark") if size in AXE_SIZES else ():
                page.emulate_media(color_scheme=theme)
                for impact, rule, nodes in page.evaluate(_AXE, rules):
                    found.append(f"{size}, {theme}: axe {impact} {rule} {nodes}")
        found += [f"policy: {text}" for text in page.evaluate("window.refused")]
        return found + self.problems


def look_at(pages, bench, chromium, axe, rules=RULES):
    visitors, wrong = {}, []
    for page in pages:
        if page.who not in visitors:
            visitors[page.who] = Visitor(chromium, bench, page.who, axe)
        found = visitors[page.who].look(page.address(bench.scene), page.status, rules)
        wrong += [f"{page.key}: {line}" for line in found]
    for visitor in visitors.values():
        visitor.context.close()
    return wrong


@pytest.mark.browser
@pytest.mark.slow
def test_every_page_of_a_shop_at_work(bench, chromium, axe):
    wrong = look_at(LIST.PAGES, bench, chromium, axe)
    assert not wrong, "\n".join(wrong)


@pytest.mark.browser
def test_every_page_of_the_first_run(first, ownerless, chromium, axe):
    wrong = look_at(LIST.FIRST_PAGES, first, chromium, axe) + look_at(LIST.OWNERLESS_PAGES, ownerless, chromium, axe)
    assert not wrong, "\n".join(wrong)


@pytest.mark.browser
@pytest.mark.slow
def test_every_page_of_a_shop_without_a_batch(new_shop, chromium, axe):
    wrong = look_at(LIST.EMPTY_PAGES, new_shop, chromium, axe)
    assert not wrong, "\n".join(wrong)


@pytest.mark.browser
def test_the_look_itself_finds_what_is_wrong(bench, chromium, axe):
    """Spoil a page by hand: each kind of defect must be found, or the tests above would show nothing."""
    visitor = Visitor(chromium, bench, "lead", axe)
    visitor.context.add_init_script(
        """document.addEventListener("DOMContentLoaded", () => {
          const main = document.querySelector("main");
          main.insertAdjacentHTML("beforeend", '<button id="tiny"></button><div id="broad">x</div>');
          const tiny = document.getElementById("tiny"), broad = document.getElementById("broad");
          for (const name of ["width", "height", "min-width", "min-height"]) tiny.style.setProperty(name, "20px");
          tiny.style.setProperty("padding", "0");
          broad.style.setProperty("width", "3000px");
          new Image().src = "data:text/plain,x";
          document.head.insertAdjacentHTML("beforeend", '<style>main{}</style>');
          const script = document.createElement("script");
          script.src = "http://bench.test:1/elsewhere.js";
          document.head.append(script);
        })"""
    )
    found = "\n".join(visitor.look("/tables/", 200, RULES))
    visitor.context.close()
    for sign in ("small target", "wider than the screen", "axe critical button-name", "policy: "):
        assert sign in found, f"{sign} not in {found}"
