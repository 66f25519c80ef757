"""The page on formats names what the reader reads: each file, each column, each that is required, each cost."""

import dataclasses
import json
import re
from pathlib import Path

import pytest

from evenhand.records.folder import MAX_FILE_BYTES
from evenhand.records.rows import FILES, Costs

PAGE = (Path(__file__).parents[2] / "docs" / "formats.md").read_text(encoding="utf-8")


def section(stem: str) -> str:
    return PAGE.split(f"\n### {stem}.csv\n")[1].split("\n## ")[0].split("\n### ")[0]


@pytest.mark.parametrize("stem", FILES)
def test_columns_and_stars_are_those_of_the_reader(stem):
    table = section(stem).split("| column | holds |")[1].split("\n\n")[0]
    told = {name: star == " *" for name, star in re.findall(r"^\| `(\w+)`( \*)? \|", table, re.MULTILINE)}
    assert told == {f.name: f.default is dataclasses.MISSING for f in dataclasses.fields(FILES[stem].row)}


@pytest.mark.parametrize("stem", FILES)
def test_the_key_is_told(stem):
    key = next(line for line in section(stem).splitlines() if line.startswith("Key: "))
    assert tuple(re.findall(r"`(\w+)`", key)) == FILES[stem].key


def test_costs_are_told():
    assert re.findall(r"^\| `(\w+)` \|", section("costs"), re.MULTILINE) == [f.name for f in dataclasses.fields(Costs)]


def test_the_size_limit_is_told():
    assert f"A file may be up to {MAX_FILE_BYTES // 1_000_000} MB." in PAGE


def test_the_json_example_is_json_and_the_keys_told_are_in_it():
    example = json.loads(PAGE.split("```json\n")[1].split("```")[0])
    (batch,) = example["batches"]
    tables = PAGE.split("Of each batch:")[1]
    of_batch, of_attribute = tables.split("Of each attribute in its `profile`")
    told = set(re.findall(r"^\| `(\w+)`", of_batch, re.MULTILINE))
    assert told <= set(batch)
    rows = [line.split("|")[1] for line in of_attribute.splitlines() if line.startswith("| `")]
    assert {key for row in rows for key in re.findall(r"`(\w+)`", row)} == set(batch["profile"][0]) - {
        "service",
        "attribute",
    }


def test_the_python_example_runs(monkeypatch, capsys):
    monkeypatch.chdir(Path(__file__).parents[2])
    exec(compile(PAGE.split("```python\n")[1].split("```")[0], "formats.md", "exec"), {})
    batches = (Path("demo") / "season" / "batches.csv").read_text(encoding="utf-8").count("\n") - 1
    assert capsys.readouterr().out.startswith(f"season {batches} batches, ")
