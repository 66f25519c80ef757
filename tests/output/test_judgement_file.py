"""The JSON holds the keys of the format's page in their order, and nothing more."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from evenhand.errors import OutputError
from evenhand.output.judgement_file import to_block, to_json

TOP = ["batches", "variances"]
BATCH = [
    "batch", "coffee", "decision", "p_within", "p_fault", "p_good", "expected_cost", "next_cup", "profile", "faults",
    "pulls", "reasons",
]  # fmt: skip
PROFILE = [
    "service", "attribute", "estimate", "sd", "lower90", "upper90", "target", "tolerance", "p_within", "raw_mean",
    "shot_effect", "taster_effect",
]  # fmt: skip
PULL = ["pull", "judgeable", "ratio", "flow_g_per_s", "extraction_pct", "deviation"]
VARIANCE = [
    "coffee", "service", "attribute", "batch", "taster", "batch_taster", "pull", "residual", "log_likelihood",
]  # fmt: skip


def test_keys_and_their_order(judgement):
    read = json.loads(to_json(judgement))
    assert list(read) == TOP
    assert len(read["batches"]) == 9
    for batch in read["batches"]:
        assert list(batch) == BATCH
        assert list(batch["expected_cost"]) == ["release", "hold", "taste_again"]
        assert list(batch["next_cup"]) == ["worth", "cost", "what"]
        assert {tuple(row) for row in batch["profile"]} == {tuple(PROFILE)}
        assert {tuple(row) for row in batch["faults"]} == {("fault", "p_present", "heard", "asked")}
        assert {tuple(row) for row in batch["pulls"]} == {tuple(PULL)}
        assert {tuple(row["deviation"]) for row in batch["pulls"]} == {
            ("dose", "beverage", "time", "water", "pressure")
        }
    assert {tuple(row) for row in read["variances"]} == {tuple(VARIANCE)}


def test_kinds_of_values(judgement):
    for batch in json.loads(to_json(judgement))["batches"]:
        assert batch["decision"] in {"release", "taste_again", "hold"}
        assert all(isinstance(reason, str) for reason in batch["reasons"])
        for row in batch["profile"]:
            assert all(type(value) is float for key, value in row.items() if key not in ("service", "attribute"))
        for row in batch["faults"]:
            assert type(row["heard"]) is type(row["asked"]) is int
        for row in batch["pulls"]:
            assert type(row["judgeable"]) is bool


def test_values_are_those_of_the_judgement(judgement):
    read = json.loads(to_json(judgement))
    for told, verdict in zip(read["batches"], judgement.batches, strict=True):
        assert told["p_good"] == verdict.p_good
        assert told["expected_cost"] == dict(verdict.expected_cost)
        assert [row["raw_mean"] for row in told["profile"]] == [row.raw_mean for row in verdict.profile]
        assert [row["deviation"] for row in told["pulls"]] == [dict(pull.deviation) for pull in verdict.pulls]


def test_what_is_unknown_is_null(judgement):
    batch = judgement.batches[0]
    row = replace(batch.profile[0], raw_mean=None, p_within=math.nan)
    pull = replace(batch.pulls[0], extraction_pct=None, deviation={"dose": 0.5})
    changed = replace(judgement, batches=(replace(batch, profile=(row,), pulls=(pull,)),))
    read = json.loads(to_json(changed))["batches"][0]
    assert read["profile"][0]["raw_mean"] is None
    assert read["profile"][0]["p_within"] is None
    assert read["pulls"][0]["extraction_pct"] is None
    assert read["pulls"][0]["deviation"] == {
        "dose": 0.5,
        "beverage": None,
        "time": None,
        "water": None,
        "pressure": None,
    }


def test_an_infinite_number_is_refused_by_its_place(judgement):
    batch = replace(judgement.batches[1], expected_cost={"release": math.inf, "hold": 1.0, "taste_again": 1.0})
    changed = replace(judgement, batches=(judgement.batches[0], batch))
    with pytest.raises(OutputError, match=r"judgement\.batches\[1\]\.expected_cost\.release is infinite"):
        to_json(changed)


def test_numbers_of_numpy_are_written_as_plain_ones(judgement):
    batch = judgement.batches[0]
    pull = replace(batch.pulls[0], judgeable=np.bool_(True), ratio=np.float64(2.0))
    fault = replace(batch.faults[0], heard=np.int64(3))
    changed = replace(judgement, batches=(replace(batch, pulls=(pull,), faults=(fault,), p_good=np.float32(0.5)),))
    read = json.loads(to_json(changed))["batches"][0]
    assert (read["pulls"][0]["judgeable"], read["faults"][0]["heard"], read["p_good"]) == (True, 3, 0.5)


def test_letters_stay_letters_and_the_file_ends_with_a_newline(hostile, build_judgement):
    text = to_json(hostile)
    assert "ünïcødé 咖啡 ☕" in text
    assert json.loads(text)["batches"][0]["batch"] == hostile.batches[0].batch
    assert text.endswith("}\n")
    assert json.loads(to_json(build_judgement(batches=0))) == {"batches": [], "variances": []}


def test_a_block_is_what_the_file_says_of_its_batch(judgement):
    read = json.loads(to_json(judgement))
    for verdict, block in zip(judgement.batches, read["batches"], strict=True):
        assert json.loads(json.dumps(to_block(verdict))) == block
    odd = replace(judgement.batches[0], p_good=math.nan)
    assert to_block(odd)["p_good"] is None
    with pytest.raises(OutputError, match="infinite"):
        to_block(replace(judgement.batches[0], p_good=math.inf))
