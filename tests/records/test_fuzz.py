"""Whatever bytes stand in the folder, reading gives a folder or sentences, never another error."""

import datetime as dt
import math
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evenhand.errors import FolderError
from evenhand.records.folder import Folder, read
from evenhand.records.rows import FILES

TODAY = dt.date(2026, 6, 1)
ODD_CELLS = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["", "0", "-1", "1e999", "NaN", "1,5", "1.234", '"', '""', "2026-02-29", "P1", ";", "\ufeff", "=1"]
    ),
)
STEMS = st.sampled_from(sorted(FILES))
relaxed = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)


@pytest.fixture
def green(green):
    """Return the folder that tells of its green lots, with the lots of a blend besides: every file is spoilt here."""
    return green | {
        "batches": green["batches"].replace("Osk 7", ""),
        "batch_lots": "batch,green_lot,green_kg\nH-02,Osk 7,3.5\nH-02,Vantry 2,\nH-01,Vantry 2,6\n",
    }


def check_sentences(problems: tuple[str, ...]) -> None:
    assert problems
    for sentence in problems:
        assert sentence.isprintable(), sentence
        assert sentence[-1] in ".?"


def outcome(texts: dict[str, bytes]) -> Folder | tuple[str, ...]:
    with tempfile.TemporaryDirectory() as place:
        for stem, content in texts.items():
            (Path(place) / f"{stem}.csv").write_bytes(content)
        try:
            folder = read(place, today=TODAY)
        except FolderError as error:
            problems = error.problems
            check_sentences(problems)
            return problems
    for pull in folder.pulls:
        assert math.isfinite(pull.dose_g)
        assert pull.dose_g > 0
    return folder


@relaxed
@given(stem=STEMS, content=st.binary(max_size=300))
def test_random_bytes_in_a_file(green, stem, content):
    outcome({**{k: v.encode() for k, v in green.items()}, stem: content})


@relaxed
@given(stem=STEMS, data=st.data())
def test_random_damage_to_a_good_file(green, stem, data):
    content = bytearray(green[stem].encode())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content) - 1))
        content[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    outcome({**{k: v.encode() for k, v in green.items()}, stem: bytes(content)})


@relaxed
@given(stem=STEMS, data=st.data())
def test_odd_cells_in_a_good_file(green, stem, data):
    lines = [line.split(",") for line in green[stem].splitlines()]
    row = data.draw(st.integers(0, len(lines) - 1))
    lines[row][data.draw(st.integers(0, len(lines[row]) - 1))] = data.draw(ODD_CELLS)
    text = "\n".join(",".join(line) for line in lines)
    outcome({**{k: v.encode() for k, v in green.items()}, stem: text.encode("utf-8", "surrogatepass")})


@relaxed
@given(data=st.data())
def test_the_order_of_rows_changes_nothing_but_the_order(green, data):
    plain = outcome({k: v.encode() for k, v in green.items()})
    mixed = {}
    for stem, text in green.items():
        header, *rows = text.splitlines()
        mixed[stem] = "\n".join([header, *data.draw(st.permutations(rows))]).encode()
    folder = outcome(mixed)
    assert isinstance(plain, Folder)
    assert isinstance(folder, Folder)
    assert folder.costs == plain.costs
    for stem in set(FILES) - {"costs"}:
        assert set(getattr(folder, stem)) == set(getattr(plain, stem))


@relaxed
@given(content=st.binary(max_size=400), head=st.sampled_from([b"", b"PK\x03\x04", b"PK\x05\x06" + bytes(18)]))
def test_random_bytes_as_a_workbook(content, head):
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "a.xlsx"
        path.write_bytes(head + content)
        with pytest.raises(FolderError):
            read(path, today=TODAY)
