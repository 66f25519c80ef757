"""Too many tries wait, by name and by address; the pause grows and is forgotten after the right one."""

import datetime as dt
import os
import subprocess
import sys

import pytest

from evenhand.bench.models import FailedLogIn
from evenhand.bench.people.throttle import BY_NAME, clear_tries, reserve_try, say_wait

NOW = dt.datetime(2026, 5, 4, 9, 0, tzinfo=dt.UTC)


def later(seconds):
    return NOW + dt.timedelta(seconds=seconds)


@pytest.mark.django_db
def test_five_tries_go_free_and_the_pause_doubles():
    assert [reserve_try("Bo", f"192.0.2.{n}", NOW)[0] for n in range(5)] == [0] * 5
    assert reserve_try("Bo", "192.0.2.9", NOW)[0] == 30
    assert reserve_try(" bO ", "192.0.2.9", later(29))[0] == pytest.approx(1)
    assert reserve_try("Bo", "192.0.2.9", later(30))[0] == 0
    assert reserve_try("Bo", "192.0.2.9", later(30))[0] == 60
    assert reserve_try("Ida", "192.0.2.9", later(30))[0] == 0


@pytest.mark.django_db
def test_a_waiting_try_is_not_counted_and_the_count_lapses():
    for _ in range(9):
        reserve_try("Bo", "192.0.2.1", NOW)
    assert FailedLogIn.objects.count() == 5
    assert [reserve_try("Bo", "192.0.2.1", later(15 * 60 + 1))[0] for _ in range(5)] == [0] * 5


@pytest.mark.django_db
def test_an_address_may_slip_twenty_times_whatever_the_names():
    assert [reserve_try(f"n{n}", "192.0.2.1", NOW)[0] for n in range(20)] == [0] * 20
    assert reserve_try("somebody", "192.0.2.1", NOW)[0] == 30
    assert reserve_try("somebody", "192.0.2.2", NOW)[0] == 0


@pytest.mark.django_db
def test_the_right_one_clears_the_name_and_its_own_try():
    numbers = [reserve_try("Bo", "192.0.2.1", NOW)[1] for _ in range(4)]
    reserve_try("Ida", "192.0.2.1", NOW)
    clear_tries("BO", numbers[-1])
    assert list(FailedLogIn.objects.values_list("name", flat=True)) == ["ida"]


@pytest.mark.django_db
def test_a_patient_guesser_gets_little_done_in_a_day():
    """At most 30 tries and one a quarter of an hour: the least that a guesser of PINs must be held to is 1 in 50."""
    done, moment = 0, 0.0
    while moment < 86_400:
        wait_s, _ = reserve_try("Bo", "192.0.2.1", later(moment))
        done += wait_s == 0
        moment += max(wait_s, 1.0)
    assert 30 <= done <= 30 + 96
    assert done / 10_000 < 1 / 50


def test_the_pause_has_an_end():
    assert BY_NAME[0].pause(4) == dt.timedelta(0)
    assert BY_NAME[0].pause(10_000) == dt.timedelta(minutes=15)


@pytest.mark.parametrize(
    ("seconds", "words"), [(0.2, "1 second"), (30, "30 seconds"), (100, "2 minutes"), (900, "15 minutes")]
)
def test_the_sentence_says_how_long(seconds, words):
    assert f"Wait {words}," in say_wait(seconds)


_AT_ONCE = """
import datetime as dt, os
from concurrent.futures import ThreadPoolExecutor
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
from django.db import connection
from evenhand.bench.people.throttle import reserve_try
NOW = dt.datetime(2026, 5, 4, 9, 0, tzinfo=dt.UTC)
def attempt(_):
    try:
        return reserve_try("Bo", "192.0.2.1", NOW)[0]
    finally:
        connection.close()
with ThreadPoolExecutor(8) as pool:
    print(sum(wait == 0 for wait in pool.map(attempt, range(24))))
"""


@pytest.mark.parametrize("database", ["sqlite", pytest.param("postgresql", marks=pytest.mark.database)])
def test_many_tries_at_once_do_not_slip_past_the_count(database, tmp_path, request):
    """In a file, as in a shop: the database of the other tests lies in memory, where threads lock each other out."""
    url = "" if database == "sqlite" else request.getfixturevalue("postgresql")
    environment = {**os.environ, "EVENHAND_DATA": os.fspath(tmp_path), "EVENHAND_DATABASE_URL": url}
    done = subprocess.run([sys.executable, "-c", _AT_ONCE], env=environment, capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == "5", done.stderr
