"""Kept pulls as the shots of a grinder: days, rest, the order within a day, and what was not measured."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from evenhand.records.shots import KeptPull, collect_shots, extractions_pct, gather_pulls

ONE = KeptPull(
    pulled_at=dt.datetime(2026, 5, 11, 9, 5),
    roasted_on=dt.date(2026, 5, 4),
    coffee="Hollow Lantern",
    batch="H-01",
    dose_g=18.0,
    beverage_g=36.0,
    time_s=28.0,
    water_c=92.8,
    pressure_bar=9.1,
    grind_setting="4,2",
    tds_pct=9.4,
)
ZONE = dt.timezone(dt.timedelta(hours=2))


def pulled(*moments):
    return [replace(ONE, pulled_at=moment) for moment in moments]


def test_what_was_written_down_stands_in_the_shots():
    bare = replace(ONE, water_c=None, pressure_bar=None, grind_setting="B 14", tds_pct=None)
    shots = collect_shots([ONE, bare])
    assert shots.day.tolist() == [dt.date(2026, 5, 11).toordinal()] * 2
    assert shots.rest_days.tolist() == [7.0, 7.0]
    assert (shots.coffee[0], shots.batch[0]) == ("Hollow Lantern", "H-01")
    for name, value in {"dose_g": 18, "beverage_g": 36, "time_s": 28}.items():
        assert getattr(shots, name).tolist() == [value, value]
    for name, value in {"water_c": 92.8, "pressure_bar": 9.1, "setting": 4.2}.items():
        measured = getattr(shots, name)
        assert measured[0] == value
        assert np.isnan(measured[1])


def test_the_order_within_a_day_is_that_of_the_clock_and_not_of_the_rows():
    days = [dt.datetime(2026, 5, day, hour, 5) for day, hour in ((11, 10), (11, 8), (12, 9), (11, 9))]
    assert collect_shots(pulled(*days)).nth.tolist() == [2, 0, 0, 1]
    assert collect_shots(pulled(days[0], days[0])).nth.tolist() == [0, 1]  # of the same minute: that of the rows
    assert collect_shots(pulled(days[0], days[1].replace(tzinfo=ZONE))).nth.tolist() == [1, 0]


def test_a_day_of_which_one_pull_lacks_its_time_has_no_order():
    shots = collect_shots(pulled(dt.datetime(2026, 5, 11, 9), dt.date(2026, 5, 11), dt.datetime(2026, 5, 12, 9)))
    assert np.isnan(shots.nth).tolist() == [True, True, False]


def test_no_pull_is_no_shot():
    assert len(collect_shots([])) == 0
    assert extractions_pct([]).shape == (0,)


def test_extraction_is_left_open_where_it_was_not_measured_or_cannot_be():
    """36 g of 9.4 % are 3.384 g out of 18 g: 18.8 %."""
    found = extractions_pct([ONE, replace(ONE, tds_pct=None), replace(ONE, tds_pct=140.0)])
    assert found[0] == pytest.approx(18.8)
    assert np.isnan(found[1:]).all()


def test_a_folders_rows_bring_their_batch_with_them(read_with):
    folder = read_with()
    pulls = gather_pulls(folder.pulls, folder.batches)
    assert [pull.batch for pull in pulls] == ["H-01", "H-01", "H-02"]
    assert (pulls[2].coffee, pulls[2].roasted_on) == ("Grey Ferry", dt.date(2026, 5, 5))
    assert (pulls[0].pulled_at, pulls[0].grind_setting, pulls[0].tds_pct) == (
        dt.datetime(2026, 5, 11, 9, 5), "4.2", 9.41,
    )  # fmt: skip
    assert collect_shots(pulls).rest_days.tolist() == [7.0, 7.0, 7.0]
