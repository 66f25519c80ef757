"""The next grind step, out of the records and what is being typed; and no number typed by a slip breaks it."""

import datetime as dt
import shutil
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.bench.models import Account
from evenhand.bench.pull.dialling import kept_pull, next_step, typed_pull
from evenhand.bench.pull.pulls import last_pulls
from evenhand.espresso.recipe import HouseRecipe
from evenhand.records.folder import read
from evenhand.records.importing import import_path
from evenhand.records.models import Coffee, Person
from evenhand.records.shots import KeptPull, gather_pulls
from evenhand.words import Words

RECIPE = HouseRecipe(
    name="house", dose_g=18, dose_tol_g=0.3, beverage_g=36, beverage_tol_g=1.5, time_s=29, time_tol_s=2
)


BATCH = SimpleNamespace(
    label="B", roasted_on=dt.date(2026, 5, 1), version=SimpleNamespace(coffee=SimpleNamespace(name="C"))
)


def shot(day: int, time_s: float, setting: str | None) -> KeptPull:
    values = {
        "pulled_at": dt.datetime(2026, 5, 4 + day, 9, 5),
        "roasted_on": dt.date(2026, 4, 27),
        "coffee": "C",
        "batch": "A",
        "dose_g": 18.0,
        "beverage_g": 36.0,
        "time_s": time_s,
        "water_c": None,
        "pressure_bar": None,
        "grind_setting": setting,
        "tds_pct": None,
    }
    return KeptPull(**values)


@pytest.fixture
def pulled(db, pen, folder, tmp_path, hashed):
    """The small shop with a longer history: two batches, other days, settings, pressures, dissolved solids."""
    place = tmp_path / "Bell Yard"
    shutil.copytree(folder, place)
    lines = (place / "pulls.csv").read_text().splitlines()
    lines[0] += ",pressure_bar"
    lines[1:] = [f"{line}," for line in lines[1:]]
    rows = [
        "H-01-3,H-01,2026-05-11T09:25,18.2,36.8,25.1,93.0,4.4,9.0,9.1",
        "H-01-4,H-01,2026-05-13T09:00,18.0,35.5,27.9,92.5,4.3,9.6,8.8",
        "H-01-5,H-01,2026-05-14T09:00,17.8,36.1,26.0,,4.4,9.2,",
        "H-02-1,H-02,2026-05-23T10:00,18.1,36.0,24.2,93.2,4.4,9.3,9.0",
        "H-02-2,H-02,2026-05-24T08:50,18.0,37.0,31.5,92.9,4.1,9.9,",
        "H-02-3,H-02,2026-05-26,18.3,36.2,29.7,93.1,B 14,,9.0",
        "H-02-4,H-02,2026-05-27T09:10,18.0,36.4,33.0,93.0,4.0,10.0,9.2",
    ]
    (place / "pulls.csv").write_text("\n".join([*lines, *rows]) + "\n")
    import_path(pen, place, dry_run=False)
    person = pen.change(Person.objects.get(name="Una"), role="owner")
    return SimpleNamespace(place=place, account=Account.objects.create(person=person, pin=hashed.pin))


@pytest.mark.parametrize("name", ["Hollow Lantern", "Grey Ferry"])
def test_the_records_give_a_coffees_pulls_as_the_folder_holds_them_from_the_earliest_on(pulled, name):
    folder = read(pulled.place, today=dt.date(2026, 6, 1))
    written = [pull for pull in gather_pulls(folder.pulls, folder.batches) if pull.coffee == name]
    last = last_pulls(Coffee.objects.get(name=name), pulled.account)
    assert [kept_pull(pull) for pull in reversed(last)] == sorted(written, key=lambda pull: str(pull.pulled_at))
    assert len(written) == {"Hollow Lantern": 9, "Grey Ferry": 2}[name]


def test_fast_shots_on_a_grinder_whose_direction_is_plain_ask_for_finer():
    shots = [shot(day, 20 + 3 * day, str(5 - 0.1 * day)) for day in range(4)] + [shot(4, 20, "5.0") for _ in range(3)]
    step = next_step(shots, RECIPE)
    assert "finer" in step.advice.split(":")[0]


def test_no_pull_no_advice():
    assert next_step([], RECIPE) is None


@given(
    st.fixed_dictionaries(
        {name: st.one_of(st.none(), st.floats(-1e12, 1e12)) for name in ("dose_g", "beverage_g", "time_s", "water_c")}
        | {
            "pressure_bar": st.one_of(st.none(), st.floats(-1e12, 1e12)),
            "tds_pct": st.one_of(st.none(), st.floats(0, 100)),
        }
    ),
    st.sampled_from(["", "4.2", "4,3", "B 14", "1e9", "99999999999"]),
)
def test_whatever_is_typed_gives_an_advice_or_a_sentence(typed, setting):
    shots = [shot(day, 28 + day, "4.2") for day in range(3)]
    typed = typed_pull(typed, setting, batch=BATCH, at=dt.datetime(2026, 5, 9, 9, 0))
    step = next_step([*shots, typed] if typed else shots, RECIPE)
    assert step.advice
    assert all(isinstance(said, Words) for said in (step.advice, *step.reasons))
