"""Lays a small invented table for the tests of this room: four cups, three tasters, opened, three cups poured."""

import datetime as dt
import json
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.utils import timezone

TASTERS = ("Ida", "Bo", "Wim")


@dataclass
class Laid:
    """A table under way, and the orders in which its tasters meet the cups."""

    table: Any
    plan: Any

    @property
    def address(self) -> str:
        return f"/taste/{self.table.pk}/sheets"

    def order(self, name: str) -> list[str]:
        places = self.plan.seats.get(taster__name=name).places.order_by("position")
        return list(places.values_list("slot__code", flat=True))

    def poured(self) -> set[str]:
        return set(self.plan.slots.filter(pull__isnull=False).values_list("code", flat=True))

    def service(self, code: str) -> str:
        return self.plan.slots.get(code=code).service

    def secrets(self) -> list[str]:
        """Everything that would unblind a table of the small shop."""
        return ["H-02", "F-02", "Hollow Lantern", "Grey Ferry", "Vantry 2"]


def lay_table(pen, *, poured: int = 3) -> Laid:
    """Plan a table of two batches, black and milk, pull the first cups, and open it."""
    from evenhand.bench.table.planning import open_table, plan_table
    from evenhand.records.models import Batch, Fault, Person

    for name in ("smoky", "ashy", "baked"):
        if not Fault.objects.filter(name=name).exists():
            pen.make(Fault(name=name))
    plan = plan_table(
        pen,
        batches=list(Batch.objects.filter(label__in=("H-02", "F-02")).order_by("pk")),
        pulls={"black": 1, "milk": 1},
        tasters=[Person.objects.get(name=name) for name in TASTERS],
        rng=np.random.default_rng(5),
    )
    for slot in plan.slots.select_related("batch").order_by("number")[:poured]:
        pull_slot(pen, slot)
    open_table(pen, plan.table)
    plan.table.refresh_from_db()
    return Laid(plan.table, plan)


def pull_slot(pen, slot) -> None:
    from evenhand.bench.table.planning import fill_slot
    from evenhand.records.models import Pull

    pull = Pull(
        label=f"{slot.batch.label}-{slot.plan.table.name}-{slot.number}",
        batch=slot.batch,
        pulled_at=pen.at,
        dose_g=18.0,
        beverage_g=36.2,
        time_s=28.5,
    )
    fill_slot(pen, slot, pen.make(pull))


@pytest.fixture
def laid(shop, pen) -> Laid:
    return lay_table(pen)


@pytest.fixture
def sheet() -> Callable[..., dict[str, Any]]:
    """Return a function that makes a sheet as a phone sends it."""
    from evenhand.records.models import Person

    def make(name: str, code: str, number: int = 1, **other: Any) -> dict[str, Any]:
        return {
            "client_id": f"{number:032x}",
            "taster": Person.objects.get(name=name).pk,
            "code": code,
            "scores": {"sweetness": 6.5},
            "faults": {"smoky": False, "ashy": True},
            "words": "plum",
            "tasted_at": timezone.now().isoformat(),
            "supersedes": None,
        } | other

    return make


@pytest.fixture
def send() -> Callable[..., Any]:
    """Return a function that sends JSON as a page does."""

    def post(client: Any, laid: Laid, body: Any, **other: Any) -> Any:
        return client.post(laid.address, json.dumps(body), content_type="application/json", **other)

    return post


@pytest.fixture
def later() -> Callable[[float], dt.datetime]:
    return lambda minutes: timezone.now() + dt.timedelta(minutes=minutes)


# The same table on a real server.

_LAY = """
import json, os, runpy, sys
from pathlib import Path
from evenhand.bench.serving import secret_key
os.environ["EVENHAND_SECRET_KEY"] = secret_key(Path(os.environ["EVENHAND_DATA"]))
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.utils import timezone
from evenhand.bench.models import Account
from evenhand.records.audit import Pen
here = runpy.run_path(sys.argv[1])
laid = here["lay_table"](Pen(who="Wim", at=timezone.localtime()))
sessions = {}
for account in Account.objects.select_related("person"):
    store = SessionStore()
    store[SESSION_KEY] = str(account.pk)
    store[BACKEND_SESSION_KEY] = "evenhand.bench.people.accounts.ByName"
    store[HASH_SESSION_KEY] = account.get_session_auth_hash()
    store.create()
    sessions[account.person.name] = store.session_key
print(json.dumps({
    "table": laid.table.pk,
    "name": laid.table.name,
    "orders": {name: laid.order(name) for name in here["TASTERS"]},
    "poured": sorted(laid.poured()),
    "services": {code: laid.service(code) for code in laid.order("Ida")},
    "sessions": sessions,
    "people": {account.person.name: account.person.pk for account in Account.objects.select_related("person")},
}))
"""

_ASK = """
import json, os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
from django.utils import timezone
from evenhand.records.audit import Pen
from evenhand.records.models import *
from evenhand.bench.models import *
from evenhand.bench.table.planning import close_table, fill_slot
pen = Pen(who="Wim", at=timezone.localtime())
exec(sys.argv[1])
print(json.dumps(found))
"""


@dataclass
class OnServer:
    """A server with an open table, and what a test needs to know of it."""

    served: Any
    laid: dict[str, Any]

    @property
    def page(self) -> str:
        return f"{self.served.room}/taste/{self.laid['table']}/"

    def ask(self, program: str) -> Any:
        """Run a few lines on the server's records and return what they call `found`."""
        done = subprocess.run(
            [sys.executable, "-c", _ASK, program], env=self.served.environment, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    def sheets(self) -> list[list[Any]]:
        """Client id, code and taster of each sheet on the table, as they arrived."""
        return self.ask(
            f"rows = Sheet.objects.filter(cup__table={self.laid['table']}).order_by('pk')\n"
            "found = [[s.client_id, s.cup.code[-3:], s.taster.name, s.superseded_by.client_id "
            "if hasattr(s, 'superseded_by') else None] for s in rows]"
        )

    def phone(self, chromium: Any, name: str, **other: Any) -> Any:
        """Open a phone's browser in which somebody is logged in."""
        context = chromium.new_context(
            **({"viewport": {"width": 360, "height": 740}, "has_touch": True, "locale": "en-GB"} | other)
        )
        context.set_default_timeout(15_000)
        self.log_in(context, name)
        return context

    def log_in(self, context: Any, name: str) -> None:
        cookie = {"name": "evenhand_session", "value": self.laid["sessions"][name], "url": self.served.room}
        context.add_cookies([cookie])


@pytest.fixture(scope="module")
def served(tmp_path_factory, fill, start_server) -> Any:
    """Serve the small shop; each test lays a table of its own on it."""
    data: Path = tmp_path_factory.mktemp("tasting") / "data"
    fill(data)
    return start_server(data)


@pytest.fixture
def on_server(served) -> OnServer:
    """Lay a table on the server and open it, with everybody's log-in at hand."""
    done = subprocess.run(
        [sys.executable, "-c", _LAY, __file__], env=served.environment, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return OnServer(served, json.loads(done.stdout))
