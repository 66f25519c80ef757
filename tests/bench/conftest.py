"""Gives the bench's tests a small invented shop with people who log in, a real server, and a real browser."""

import datetime as dt
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.test import Client
from django.utils import timezone

from evenhand.records.audit import Pen

PASSWORD = "seven quiet kettles"
PIN = "2468"
ROLES = {
    "Una": "owner",
    "Wim": "lead",
    "Ida": "taster",
    "Bo": "taster",
    "Ana": "taster",
    "Teo": "taster",
    "Lev": "taster",
}

# A small invented shop: two coffees, four batches, two of them tasted.
FOLDER = {
    "recipes": "recipe,basket_rated_g,dose_g,dose_tol_g,beverage_g,beverage_tol_g,time_s,time_tol_s,water_c,"
    "water_tol_c,pressure_bar,pressure_tol_bar,milk_drink_ml\nhouse,18,18,0.3,36,1.5,29,2,93,1,9,0.5,180\n",
    "coffees": "coffee,recipe,green_lot\nHollow Lantern,house,Vantry 2\nGrey Ferry,house,\n",
    "attributes": "attribute,scale_low,scale_high\nacidity,0,10\nsweetness,0,10\nbitterness,0,10\n",
    "targets": "coffee,service,attribute,target,tolerance\n"
    "Hollow Lantern,black,acidity,4,1\nHollow Lantern,black,sweetness,6,1\nHollow Lantern,milk,bitterness,3,1.2\n"
    "Grey Ferry,black,acidity,3,1\nGrey Ferry,black,sweetness,5.5,1\nGrey Ferry,milk,bitterness,4,1.2\n",
    "batches": "batch,coffee,roasted_on,green_in_kg,roasted_out_kg\n"
    "H-01,Hollow Lantern,2026-05-04,6,5.1\nF-01,Grey Ferry,2026-05-05,6,5.0\n"
    "H-02,Hollow Lantern,2026-05-18,6,5.1\nF-02,Grey Ferry,2026-05-19,6,5.05\n",
    "pulls": "pull,batch,pulled_at,dose_g,beverage_g,time_s,water_c,grind_setting,tds_pct\n"
    "H-01-1,H-01,2026-05-11T09:05,18.1,36.4,28.6,92.8,4.2,9.4\n"
    "H-01-2,H-01,2026-05-11T09:15,17.9,35.2,30.1,93.1,4.2,\n"
    "F-01-1,F-01,2026-05-12T09:10,18.0,36.0,29.0,93,4.1,\n"
    "F-01-2,F-01,2026-05-12T09:20,18.2,38.5,27.0,93,4.1,\n",
    "cups": "cup,pull,service,table,position\n"
    "T01-417,H-01-1,black,T01,1\nT01-253,H-01-2,milk,T01,2\nT02-638,F-01-1,black,T02,1\nT02-871,F-01-2,milk,T02,2\n",
    "sheets": "cup,taster,attribute,score\n"
    + "".join(
        f"{cup},{taster},{attribute},{score}\n"
        for cup, scored in {
            "T01-417": {"acidity": (4, 4.5, 3.5), "sweetness": (6.5, 6, 5.5)},
            "T01-253": {"bitterness": (3, 3.5, 2.5)},
            "T02-638": {"acidity": (3, 3.5, 2.5), "sweetness": (5.5, 6, 5)},
            "T02-871": {"bitterness": (4, 4.5, 4)},
        }.items()
        for attribute, scores in scored.items()
        for taster, score in zip(("Una", "Wim", "Ida"), scores, strict=True)
    ),
    "faults": "cup,taster,fault,heard\nT01-417,Una,smoky,0\nT01-417,Wim,smoky,0\n"
    "T02-638,Una,smoky,0\nT02-638,Ida,ashy,1\n",
    "costs": "name,value\nwrong_release,400\nwrong_hold,150\none_pull,3\none_taste,2\nprior_bad,0.1\n",
    "INVENTED": "",
}


@pytest.fixture(scope="session", autouse=True)
def key_file(tmp_path_factory):
    """Seal with a key of this run alone."""
    settings.EVENHAND_KEY_FILE = os.fspath(tmp_path_factory.mktemp("keys") / "history.key")
    return settings.EVENHAND_KEY_FILE


@pytest.fixture(scope="session")
def folder(tmp_path_factory) -> Path:
    """Write the small shop as a folder."""
    place = tmp_path_factory.mktemp("folders") / "Bell Yard"
    place.mkdir()
    for stem, text in FOLDER.items():
        (place / ("INVENTED.txt" if stem == "INVENTED" else f"{stem}.csv")).write_text(text, encoding="utf-8")
    return place


@pytest.fixture(scope="session")
def hashed() -> SimpleNamespace:
    """Hash the one password and the one PIN of these tests once: argon2 is slow by design."""
    return SimpleNamespace(password=make_password(PASSWORD), pin=make_password(PIN))


@pytest.fixture
def pen() -> Pen:
    return Pen(who="Una", at=timezone.localtime())


@pytest.fixture
def shop(db, pen, folder, hashed) -> None:
    """Fill the records with the small shop, and give everybody in ROLES an account."""
    from evenhand.bench.models import Account
    from evenhand.records.importing import import_path
    from evenhand.records.models import Person, Word

    import_path(pen, folder, dry_run=False)
    for name, role in ROLES.items():
        person = Person.objects.filter(name=name).first()
        person = pen.make(Person(name=name, role=role)) if person is None else pen.change(person, role=role)
        Account.objects.create(person=person, password=hashed.password, pin=hashed.pin)
    for word in ("plum", "cocoa", "orange peel"):
        pen.make(Word(name=word))


@pytest.fixture
def client_as(shop) -> Callable[[str], Client]:
    """Return a function that gives a browser without a screen, logged in as somebody."""
    from evenhand.bench.models import Account

    def enter(name: str) -> Client:
        client = Client()
        client.force_login(Account.objects.get(person__name=name), backend="evenhand.bench.people.accounts.ByName")
        return client

    return enter


# A real server and a real browser.


@dataclass
class Served:
    """A server that runs: its addresses, its data folder, and a way to kill it."""

    process: subprocess.Popen[str]
    port: int
    data: Path
    environment: dict[str, str]

    @property
    def here(self) -> str:
        """Its address as a secure context sees it."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def room(self) -> str:
        """Its address as a phone on the wifi sees it: no secure context."""
        return f"http://bench.test:{self.port}"


@pytest.fixture(scope="session")
def start_server() -> Iterator[Callable[..., Served]]:
    """Return a function that starts `evenhand serve` on a data folder and waits until it answers."""
    running: list[subprocess.Popen[str]] = []

    def start(data: Path, *, port: int = 0, **environment: str) -> Served:
        full = {**os.environ, "EVENHAND_DATA": os.fspath(data), "LC_ALL": "C.UTF-8", **environment}
        full.pop("DJANGO_SETTINGS_MODULE", None)
        process = subprocess.Popen(
            [sys.executable, "-m", "evenhand", "serve", "--port", str(port), "--name", "bench.test"],
            env=full,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        running.append(process)
        assert process.stdout is not None
        said = []
        for line in process.stdout:
            said.append(line)
            if found := re.search(r"open at https?://[^:]+:(\d+)/", line):
                served = Served(process, int(found[1]), data, full)
                return served
        raise AssertionError("the server did not start: " + "".join(said))

    yield start
    for process in running:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()


_FILL = """
import json, os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
from django.utils import timezone
from evenhand.bench.people.accounts import make_account
from evenhand.records.audit import Pen
from evenhand.records.importing import import_path
from evenhand.records.models import Word
told = json.loads(sys.argv[1])
pen = Pen(who="Una", at=timezone.localtime())
import_path(pen, told["folder"], dry_run=False)
for name, role in told["roles"].items():
    make_account(pen, name, role, password=told["password"], pin=told["pin"])
for word in ("plum", "cocoa", "orange peel"):
    pen.make(Word(name=word))
"""


@pytest.fixture(scope="session")
def fill(folder) -> Callable[..., None]:
    """Return a function that fills a data folder (or the database that the environment names) with the small shop."""

    def _fill(data: Path, place: Path = folder, **environment: str) -> None:
        told = {"folder": os.fspath(place), "roles": ROLES, "password": PASSWORD, "pin": PIN}
        full = {**os.environ, "EVENHAND_DATA": os.fspath(data), **environment}
        done = subprocess.run([sys.executable, "-c", _FILL, json.dumps(told)], env=full, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr

    return _fill


@pytest.fixture(scope="session")
def password() -> str:
    return PASSWORD


@pytest.fixture(scope="session")
def pin() -> str:
    return PIN


@pytest.fixture(scope="session")
def today() -> dt.date:
    return dt.date.today()
