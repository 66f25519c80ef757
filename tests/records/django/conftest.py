"""Gives these tests a database, a key that is thrown away, and a small shop whose records they may spoil."""

import datetime as dt
import os
from collections.abc import Callable

import pytest

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "evenhand.records.settings")

import django

django.setup()

from django.conf import settings  # noqa: E402

from evenhand.records.audit import Pen  # noqa: E402

NOW = dt.datetime(2026, 6, 1, 9, 30, tzinfo=dt.UTC)


@pytest.fixture(scope="session", autouse=True)
def key_file(tmp_path_factory):
    """Seal with a key of this run alone."""
    settings.EVENHAND_KEY_FILE = os.fspath(tmp_path_factory.mktemp("keys") / "history.key")
    return settings.EVENHAND_KEY_FILE


@pytest.fixture
def pen() -> Pen:
    return Pen(who="Una", at=NOW)


@pytest.fixture
def pen_of() -> Callable[..., Pen]:
    """Return a function that gives a pen to a person, some minutes later."""
    return lambda who, minutes=0: Pen(who=who, at=NOW + dt.timedelta(minutes=minutes))


@pytest.fixture
def told_with(told_besides) -> Callable[..., None]:
    """Return a function that fails where a sentence holds English besides names of fields and the data named."""
    from django.apps import apps

    models = apps.get_app_config("records").get_models()
    fields = {field.name for model in models for field in model._meta.get_fields()}

    def _check(sentence: str, *data: str) -> None:
        told_besides(sentence, fields, data)

    return _check


@pytest.fixture
def shop(db, pen, write, good) -> None:
    """Import the small invented folder, and add what a folder does not tell."""
    from evenhand.records.importing import import_path
    from evenhand.records.models import (
        Batch,
        BatchLot,
        Cup,
        GreenLot,
        GreenReading,
        GreenStorage,
        LotProducer,
        LotVariety,
        Person,
        Serving,
        Word,
    )

    import_path(pen, write(good), dry_run=False)
    lot = GreenLot.objects.get(name="Vantry 2")
    pen.change(
        lot,
        origin="Vantry hills",
        process="washed",
        elevation_low_m=1500,
        elevation_high_m=1720,
        harvest="2025/26",
        arrived_on=dt.date(2026, 4, 2),
        green_kg=240,
        note="Two jute bags damp\non arrival.",
    )
    pen.make(LotProducer(lot=lot, name="Hill group 4", green_kg=120))
    pen.make(LotVariety(lot=lot, name="Amberleaf"))
    pen.make(
        GreenReading(
            lot=lot,
            read_on=dt.date(2026, 4, 3),
            moisture_pct=10.8,
            moisture_method="oven, 105 C, 16 h",
            water_activity=0.55,
            water_activity_c=25,
        )
    )
    pen.make(GreenStorage(lot=lot, stored_from=dt.date(2026, 4, 3), temperature_c=19, packaging="breathing"))
    pen.make(Word(name="plum"))
    pen.make(BatchLot(batch=Batch.objects.get(label="H-01"), lot=lot, green_kg=6))
    pen.make(Serving(cup=Cup.objects.get(code="101"), taster=Person.objects.get(name="Wim"), position=2))


JUDGEMENT = {
    "batch": "H-01",
    "coffee": "Hollow Lantern",
    "decision": "release",
    "p_within": 0.91,
    "p_fault": 0.02,
    "p_good": 0.8918,
    "expected_cost": {"release": 43.3, "hold": 133.8, "taste_again": 61.0},
    "reasons": ["Sweetness black is on target."],
}


@pytest.fixture
def judgement() -> dict[str, object]:
    """Return the block of a judgement file for batch H-01 (invented numbers)."""
    return dict(JUDGEMENT)


@pytest.fixture
def signed(shop, pen, judgement):
    """Sign a verdict on H-01 and withdraw it; sign another."""
    from evenhand.records.audit import head
    from evenhand.records.models import Batch, Person
    from evenhand.records.signing import sign, withdraw

    batch, una = Batch.objects.get(label="H-01"), Person.objects.get(name="Una")
    first = sign(pen, batch, decision="release", judgement=judgement, seen=head()[0], signer=una)
    withdraw(pen, first, reason="A second table is planned.", by=una)
    return sign(
        pen, batch, decision="hold", judgement=judgement, seen=head()[0], signer=una, note="Smoky, all three of us."
    )
