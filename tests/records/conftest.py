"""A small invented folder that is right in every way, and ways to spoil it."""

import datetime as dt
import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import pytest

from evenhand.errors import FolderError
from evenhand.records._checks import COST_NAMES
from evenhand.records._table import columns_of
from evenhand.records.folder import Folder, read
from evenhand.records.rows import FILES
from evenhand.words import say

TODAY = dt.date(2026, 6, 1)

_CUT_OFF = re.compile(r'([\w-]+)\.{3}"')
"""The end of a label that is too long to be shown."""

GOOD = {
    "recipes": "recipe,basket_rated_g,dose_g,dose_tol_g,beverage_g,beverage_tol_g,"
    "time_s,time_tol_s,water_c,water_tol_c\n"
    "house,18,18,0.3,36,1.5,29,2,93,1\n",
    "coffees": "coffee,recipe,green_lot\nHollow Lantern,house,Vantry 2\nGrey Ferry,house,\n",
    "attributes": "attribute,scale_low,scale_high\nsweetness,0,10\nbitterness,0,10\n",
    "targets": "coffee,service,attribute,target,tolerance\n"
    "Hollow Lantern,black,sweetness,6,1\n"
    "Hollow Lantern,milk,bitterness,3,1.2\n"
    "Grey Ferry,black,sweetness,5.5,1\n",
    "batches": "batch,coffee,roasted_on,green_in_kg,roasted_out_kg\n"
    "H-01,Hollow Lantern,2026-05-04,6,5.1\nH-02,Grey Ferry,2026-05-05,,\n",
    "pulls": "pull,batch,pulled_at,dose_g,beverage_g,time_s,water_c,grind_setting,tds_pct\n"
    "P1,H-01,2026-05-11T09:05,18.1,36.4,28.6,92.8,4.2,9.41\n"
    "P2,H-01,2026-05-11T09:15+02:00,17.9,35.2,30.1,93.1,4.2,\n"
    "P3,H-02,2026-05-12,18.0,36.0,29.0,,,\n",
    "cups": "cup,pull,service,table,position\n101,P1,black,T1,1\n202,P2,milk,T1,2\n303,P3,black,T2,1\n",
    "sheets": "cup,taster,attribute,score\n"
    "101,Una,sweetness,6.5\n101,Wim,sweetness,5\n202,Una,bitterness,3.5\n303,Wim,sweetness,5.5\n",
    "faults": "cup,taster,fault,heard\n101,Una,smoky,0\n101,Wim,smoky,1\n",
    "costs": "name,value\nwrong_release,400\nwrong_hold,150\none_pull,3\none_taste,2\nprior_bad,0.1\n",
}


GREEN = {
    "batches": GOOD["batches"]
    .replace("roasted_out_kg\n", "roasted_out_kg,green_lot\n")
    .replace("5.1\n", "5.1,\n")
    .replace(",,\n", ",,,Osk 7\n"),
    "green_lots": "green_lot,origin,producers,varieties,process,elevation_low_m,elevation_high_m,harvest,harvested_on,"
    "arrived_on,green_kg,bag_kg\n"
    "Vantry 2,Vantry hills,Hill group 4; Una & sons,Amberleaf,washed,1500,1720,2025/26,2025-12-15,2026-04-02,240,60\n"
    "Osk 7,,,,,,,,,,120,30\n",
    "green_readings": "green_lot,read_on,moisture_pct,moisture_method,water_activity,water_activity_c\n"
    'Vantry 2,2026-04-03,10.8,"oven, 105 C, 16 h",0.55,25\n'
    "Osk 7,2026-05-02,,,0.58,\n",
    "green_storage": "green_lot,stored_from,temperature_c,water_activity,packaging\n"
    "Vantry 2,2026-04-02,24,,breathing\nVantry 2,2026-05-01,15,0.55,airtight\n",
}
"""Files that tell of the green lots too; batch H-01 is of the lot that its coffee names."""


@pytest.fixture
def green() -> dict[str, str]:
    """Return the texts of a folder that tells of its green lots too, by file stem."""
    return GOOD | GREEN


@pytest.fixture
def good() -> dict[str, str]:
    """Return the texts of a folder without any fault, by file stem."""
    return dict(GOOD)


@pytest.fixture
def write(tmp_path: Path) -> Callable[[dict[str, str | bytes]], Path]:
    """Return a function that writes texts or bytes as the CSV files of a folder."""

    def _write(texts: dict[str, str | bytes]) -> Path:
        place = tmp_path / "spring"
        place.mkdir(exist_ok=True)
        for stem, text in texts.items():
            content = text if isinstance(text, bytes) else text.encode()
            (place / f"{stem}.csv").write_bytes(content)
        return place

    return _write


@pytest.fixture
def told_besides(untold: Callable[[str], set[str]]) -> Callable[[str, Iterable[str], Iterable[str | bytes]], None]:
    """Return a function that fails where a sentence holds English besides some names and the data given.

    Data may be told as it stands, with its control characters or its bytes shown, with a point for a comma, or cut off.
    """

    def _check(sentence: str, names: Iterable[str], data: Iterable[str | bytes]) -> None:
        given = [one.encode() if isinstance(one, str) else one for one in data]
        said = b" ".join(given).decode(errors="replace")
        known = untold(say("{data}", data=" ".join((said, repr(said), said.replace(",", "."), *names))))
        known |= {f"x{byte:02x}" for one in given for byte in one if byte > 0x7F}
        known |= {word for word in _CUT_OFF.findall(sentence) if any(whole.startswith(word) for whole in known)}
        assert untold(sentence) <= known, sentence

    return _check


@pytest.fixture
def all_told(told_besides: Callable[..., None]) -> Callable[[Iterable[str], Iterable[str | bytes]], None]:
    """Return a function that fails where sentences about a folder hold English besides what its files say."""
    names = {*FILES, "csv", *COST_NAMES, *(column for stem in FILES for column in columns_of(stem))}

    def _check(sentences: Iterable[str], texts: Iterable[str | bytes]) -> None:
        texts = list(texts)
        for sentence in sentences:
            told_besides(sentence, names, texts)

    return _check


@pytest.fixture
def read_told(
    write: Callable[..., Path], all_told: Callable[..., None]
) -> Callable[[Mapping[str, str | bytes | None]], Folder]:
    """Return a function that reads a folder of these texts; None leaves a file out.

    It fails where a warning or a problem could not be told in another language.
    """

    def _read(texts: Mapping[str, str | bytes | None]) -> Folder:
        files = {stem: text for stem, text in texts.items() if text is not None}
        try:
            folder = read(write(files), today=TODAY)
        except FolderError as error:
            all_told(error.problems, files.values())
            raise
        all_told(folder.warnings, files.values())
        return folder

    return _read


@pytest.fixture
def read_with(read_told: Callable[[Mapping[str, str | bytes | None]], Folder]) -> Callable[..., Folder]:
    """Return a function that reads the good folder with some files replaced; see `read_told`."""
    return lambda **changed: read_told({**GOOD, **changed})


@pytest.fixture
def problems_with(read_with: Callable[..., Folder]) -> Callable[..., tuple[str, ...]]:
    """Return a function that gives the problems found in the good folder with some files replaced; see `read_told`."""

    def _problems(**changed: str | bytes | None) -> tuple[str, ...]:
        with pytest.raises(FolderError) as caught:
            read_with(**changed)
        return caught.value.problems

    return _problems
