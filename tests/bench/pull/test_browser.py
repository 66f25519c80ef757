"""The Pull page in a browser as a phone on the wifi opens it: the stopwatch, the keyboard, a scale that types."""

import json
import os
import re
import subprocess
import sys
from contextlib import contextmanager
from types import SimpleNamespace

import pytest

pytestmark = pytest.mark.browser

PHONE, TABLET = {"width": 360, "height": 740}, {"width": 820, "height": 1180}

_ENTER = """
import json, os
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
import numpy as np
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.utils import timezone
from evenhand.bench.models import Account
from evenhand.bench.table.planning import plan_table
from evenhand.records.audit import Pen
from evenhand.records.models import Batch, Person
def enter(account):
    store = SessionStore()
    store[SESSION_KEY] = str(account.pk)
    store[BACKEND_SESSION_KEY] = "evenhand.bench.people.accounts.ByName"
    store[HASH_SESSION_KEY] = account.get_session_auth_hash()
    store.save()
    return store
wim = Account.objects.get(person__name="Wim")
store, other = enter(wim), enter(Account.objects.get(person__name="Una"))
batches = {batch.label: batch for batch in Batch.objects.all()}
plan = plan_table(
    Pen(who="Una", at=timezone.localtime()),
    batches=[batches["H-02"], batches["F-02"]],
    pulls={"black": 1, "milk": 1},
    tasters=list(Person.objects.filter(name__in=["Ida", "Bo"])),
    rng=np.random.default_rng(7),
)
slots = list(plan.slots.order_by("number"))
print(json.dumps({
    "session": store.session_key,
    "other": other.session_key,
    "wim": wim.pk,
    "batch": batches["H-01"].pk,
    "slots": [[slot.pk, slot.number, slot.batch.label] for slot in slots],
    "codes": [slot.code for slot in slots],
}))
"""


@pytest.fixture(scope="module")
def bench(chromium, start_server, fill, tmp_path_factory):
    """A server with a table planned, and Wim's session."""
    data = tmp_path_factory.mktemp("pull")
    fill(data)
    # The server seals its sessions with the key that it keeps, so that one is made through it.
    served = start_server(data)
    environment = {
        **os.environ,
        "EVENHAND_DATA": os.fspath(data),
        "EVENHAND_SECRET_KEY": (data / "web.key").read_text().strip(),
    }
    done = subprocess.run([sys.executable, "-c", _ENTER], env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return SimpleNamespace(served=served, **json.loads(done.stdout))


@contextmanager
def opened(chromium, bench, size):
    context = chromium.new_context(viewport=size, has_touch=True, color_scheme="dark" if size == TABLET else "light")
    context.add_cookies([{"name": "evenhand_session", "value": bench.session, "url": bench.served.room}])
    page = context.new_page()
    problems = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on(
        "console", lambda told: problems.append(told.text) if told.type == "error" and "422" not in told.text else None
    )
    yield page
    context.close()
    assert problems == []


def watched(page) -> float:
    return float(page.input_value("[name=time_s]"))


def test_what_is_typed_before_the_scripts_are_there_is_read_too(chromium, bench):
    with opened(chromium, bench, PHONE) as page:
        held = []
        page.route("**/*.js", lambda route: held.append(route))
        page.goto(f"{bench.served.room}/pull/batch/{bench.batch}/", wait_until="commit")
        for name, value in (("dose_g", "18"), ("time_s", "29"), ("beverage_g", "36")):
            page.fill(f"[name={name}]", value)
        assert page.locator("#reading").get_by_text("Judge it").count() == 0
        assert held
        for route in held:
            route.continue_()
        page.unroute_all()
        page.locator("#reading").get_by_text("Judge it").wait_for()
        page.reload()
        assert page.input_value("[name=beverage_g]") == "36"
        page.locator("#reading").get_by_text("Judge it").wait_for()


def test_a_running_shot_survives_a_reload_and_a_wet_thumb(chromium, bench):
    with opened(chromium, bench, PHONE) as page:
        page.goto(f"{bench.served.room}/pull/batch/{bench.batch}/")
        assert page.evaluate("isSecureContext") is False
        page.fill("[name=dose_g]", "18,1")
        button = page.locator("[data-press]")
        box = button.bounding_box()
        assert box["height"] >= 120
        button.tap()
        assert button.inner_text().split() == ["■", "Stop"]
        page.touchscreen.tap(box["x"] + 9, box["y"] + 9)  # a drop of water right after it stops nothing
        began = page.evaluate(f"JSON.parse(localStorage['evenhand-pull-{bench.wim}-batch-{bench.batch}']).start.wall")
        page.wait_for_timeout(700)
        page.reload()
        assert button.inner_text().split() == ["■", "Stop"]
        assert page.input_value("[name=dose_g]") == "18,1"
        assert float(page.locator("[data-face]").inner_text()) >= 0.7
        page.wait_for_timeout(800)
        button.tap()
        passed = (page.evaluate("Date.now()") - began) / 1000
        assert 1.5 <= watched(page) <= passed + 0.06
        assert passed - watched(page) < 1.0
        assert re.fullmatch(r"\d+\.\d", page.input_value("[name=time_s]"))
        # A slip of the thumb: it still runs.
        page.get_by_text("It still runs").tap()
        assert page.input_value("[name=time_s]") == ""
        page.wait_for_timeout(1100)
        button.tap()
        assert watched(page) > 2.5
        # Too short to be judged, kept all the same; what the page had kept of it is then done with.
        page.fill("[name=beverage_g]", "36,2")
        stopped = watched(page)
        page.get_by_role("button", name="Save this pull").tap()
        page.wait_for_selector("[data-pull-kept]")
        page.wait_for_load_state()
        assert f"{stopped:.1f} ± 0.2 s" in page.inner_text("main")
        assert page.evaluate("Object.keys(localStorage).filter((one) => one.startsWith('evenhand-pull')).length") == 0
        page.get_by_role("button", name="Undo this pull").tap()
        page.wait_for_selector("[data-watch]:not([hidden])")
        assert "is undone" in page.inner_text(".said")
        assert page.input_value("[name=dose_g]") == "18.1"  # what was measured stands there again
        assert float(page.input_value("[name=time_s]")) == stopped
        page.goto(page.url.partition("?")[0])
        assert page.input_value("[name=dose_g]") == ""


def test_what_one_person_typed_is_not_another_ones(chromium, bench):
    with opened(chromium, bench, TABLET) as page:
        address = f"{bench.served.room}/pull/batch/{bench.batch}/"
        page.goto(address)
        page.fill("[name=dose_g]", "18,1")
        enter = {"name": "evenhand_session", "url": bench.served.room}
        page.context.add_cookies([{**enter, "value": bench.other}])
        page.goto(address)
        assert page.input_value("[name=dose_g]") == ""
        page.context.add_cookies([{**enter, "value": bench.session}])
        page.goto(address)
        assert page.input_value("[name=dose_g]") == "18,1"
        page.evaluate("localStorage.clear()")


def test_two_clocks_that_disagree_are_asked_about(chromium, bench):
    with opened(chromium, bench, PHONE) as page:
        # The device's clock is set forward by 2 s while the shot runs.
        page.add_init_script("window.ahead = 0; const now = Date.now; Date.now = () => now() + window.ahead;")
        page.goto(f"{bench.served.room}/pull/batch/{bench.batch}/")
        page.locator("[data-press]").tap()
        page.evaluate("window.ahead = 2000")
        page.wait_for_timeout(1100)
        page.locator("[data-press]").tap()
        assert page.input_value("[name=time_s]") == ""
        asked = page.locator("[data-ask]")
        assert asked.is_visible()
        wall = float(re.search(r"[\d.]+", asked.locator("[data-choose=wall]").inner_text())[0])
        page.locator("[data-choose=steady]").tap()
        assert not asked.is_visible()
        assert wall - watched(page) == pytest.approx(2.0, abs=0.11)


def test_a_whole_pull_by_keyboard_with_a_scale_that_types(chromium, bench):
    slot, number, batch = bench.slots[0]
    with opened(chromium, bench, TABLET) as page:
        # Another device shows what is to be pulled meanwhile.
        beside = page.context.new_page()
        beside.goto(f"{bench.served.room}/pull/")
        waiting = beside.locator(f"a[href='/pull/slot/{slot}/']")
        assert waiting.count() == 1
        asked = []
        page.on("request", lambda request: asked.append(request.url) if "/reading/" in request.url else None)
        page.goto(f"{bench.served.room}/pull/slot/{slot}/")
        type_ = page.keyboard.type
        page.focus("[name=dose_g]")
        type_("18,0")
        page.keyboard.press("Enter")  # the scale ends each weight so
        assert page.evaluate("document.activeElement.name") == "beverage_g"
        page.keyboard.press("Space")
        page.wait_for_timeout(1500)
        page.keyboard.press("Space")
        assert 1.4 <= watched(page) <= 2.2
        assert page.evaluate("document.activeElement.name") == "beverage_g"
        type_("38,1")
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.name") == "time_s"
        # The deviations follow what is typed, and the field that is typed in keeps its focus.
        page.locator("#reading", has_text="1.4 tolerances long").wait_for()
        assert "Pull again" in page.inner_text("#reading")
        page.locator("[data-said]", has_text="Pull again").wait_for(state="attached")
        page.keyboard.press("Control+A")
        type_("29")
        page.locator("#reading", has_text="Judge it").wait_for()
        assert "1 : 2.12" in page.inner_text("#reading")
        assert page.evaluate("document.activeElement.name") == "time_s"
        page.keyboard.press("Enter")
        type_("4.2")
        for _ in range(3):  # water and pressure are passed by, and the last one sends
            page.keyboard.press("Enter")
        page.wait_for_selector("[data-pull-kept]")
        page.wait_for_load_state()
        text = page.inner_text("main")
        assert f"as pull {number}: the label with the small number {number}" in text
        assert f"{batch}-1" in text
        assert "± 0.2 s" not in text  # typed over: not the watch's any more
        assert not [code for code in bench.codes if re.search(rf"\b{code}\b", text)]
        waiting.wait_for(state="detached")
        assert asked
        assert not [url for url in asked if "csrf" in url]  # an address is kept in logs
        undo = page.get_by_role("button", name="Undo this pull")
        undo.focus()
        page.keyboard.press("Enter")
        page.wait_for_selector("[data-watch]:not([hidden])")
        assert page.url.partition("?")[0].endswith(f"/pull/slot/{slot}/")
        waiting.wait_for()


@pytest.mark.parametrize("size", [PHONE, TABLET], ids=["phone", "tablet"])
def test_every_page_fits_its_screen_and_axe_finds_nothing(chromium, bench, axe, size):
    with opened(chromium, bench, size) as page:
        room = bench.served.room
        slot = bench.slots[1][0]
        page.goto(f"{room}/pull/batch/{bench.batch}/")
        page.fill("[name=dose_g]", "18.4")
        page.fill("[name=beverage_g]", "47")
        page.fill("[name=time_s]", "28")
        page.locator("#reading", has_text="Pull again").wait_for()
        look(page, axe)
        page.get_by_role("button", name="Save this pull").click()
        page.wait_for_selector("[data-pull-kept]")
        page.wait_for_load_state()
        look(page, axe)
        made = page.url
        for address in ("/pull/", f"/pull/slot/{slot}/", "/pull/history/1/"):
            page.goto(f"{room}{address}")
            look(page, axe)
        page.goto(f"{made}correct/")
        page.fill("[name=dose_g]", "none")
        page.get_by_role("button", name="Save the correction").click()
        page.wait_for_selector(".errors:focus")
        look(page, axe)


def look(page, axe) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    small = page.evaluate(
        # The links of an error's summary stand within their sentence (WCAG 2.2, 2.5.8, inline).
        "[...document.querySelectorAll('main a, main button, main input, main summary')]"
        ".filter((one) => !one.closest('.errors li'))"
        ".map((one) => [one.outerHTML.slice(0, 80), one.getBoundingClientRect()])"
        ".filter(([, box]) => box.width && (box.height < 44 || box.width < 44)).map(([text]) => text)"
    )
    assert small == []
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa']})")
    assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found["violations"]] == []
