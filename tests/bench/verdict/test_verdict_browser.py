"""The verdict in a real browser: it changes while sheets arrive, and is signed in two places."""

import json
import subprocess
import sys

import pytest

pytestmark = pytest.mark.browser

_ENTER = """
import json, os, sys
import django
django.setup()
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from evenhand.bench.models import Account
from evenhand.records.models import Batch
account = Account.objects.get(person__name="Una")
session = SessionStore()
session[SESSION_KEY] = str(account.pk)
session[BACKEND_SESSION_KEY] = "evenhand.bench.people.accounts.ByName"
session[HASH_SESSION_KEY] = account.get_session_auth_hash()
session.save()
print(json.dumps([session.session_key, Batch.objects.get(label="H-01").pk]))
"""

_ARRIVE = """
import django
django.setup()
from django.utils import timezone
from evenhand.records.audit import Pen
from evenhand.records.models import Cup, Person
from evenhand.records.sheets import take_sheet
pen = Pen(who="Bo", at=timezone.localtime())
cup, bo = Cup.objects.get(code="T01-417"), Person.objects.get(name="Bo")
take_sheet(pen, client_id="late", cup=cup, taster=bo, scores={"acidity": 9.5, "sweetness": 1.0}, faults={})
"""


@pytest.fixture
def at_work(tmp_path, fill, start_server):
    """A server with its judging process on a folder of its own, and a way to run a script beside it."""
    fill(tmp_path)
    served = start_server(tmp_path)
    key = (tmp_path / "web.key").read_text().strip()
    environment = {
        **served.environment,
        "EVENHAND_SECRET_KEY": key,
        "DJANGO_SETTINGS_MODULE": "evenhand.bench.settings",
    }

    def beside(script):
        done = subprocess.run([sys.executable, "-c", script], env=environment, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return done.stdout

    return served, beside


@pytest.mark.parametrize("size", [(360, 740), (820, 1180)])
def test_the_page_weighs_a_new_sheet_by_itself_and_is_signed_in_two_places(chromium, at_work, size):
    served, beside = at_work
    session, batch = json.loads(beside(_ENTER))
    context = chromium.new_context(viewport={"width": size[0], "height": size[1]})
    context.add_cookies([{"name": "evenhand_session", "value": session, "url": served.room}])
    page = context.new_page()
    said = []
    page.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    page.goto(f"{served.room}/verdicts/{batch}/")
    page.get_by_text("Black: 1 cup of 1 pull, 3 tasters").wait_for(timeout=60_000)  # the first judging has come in
    beside(_ARRIVE)
    page.get_by_text("Black: 1 cup of 1 pull, 4 tasters").wait_for(timeout=60_000)
    page.reload()
    button = page.get_by_role("button", name="hold")
    chosen = button.bounding_box()
    button.click()
    page.get_by_role("button", name="Sign as Una").wait_for()
    page.wait_for_load_state("load")  # the style has come, too
    signing = page.get_by_role("button", name="Sign as Una").bounding_box()
    assert (chosen["x"], chosen["y"]) != (signing["x"], signing["y"])
    assert signing["height"] >= 44
    page.get_by_label("Note").fill("harsh in the aftertaste")
    page.get_by_role("button", name="Sign as Una").click()
    page.get_by_text("harsh in the aftertaste").first.wait_for()
    page.wait_for_load_state("load")
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert said == []
    context.close()
