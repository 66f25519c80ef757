"""Writes a judgement as the JSON file that other programs read.

The keys, their order and their meaning are those of docs/formats.md; nothing is added and nothing is left out.
Null stands for what is unknown. Every number is finite.
"""

import json
import math
from typing import Any

from evenhand.errors import OutputError
from evenhand.output.words import DEVIATIONS
from evenhand.verdict.judgement import (
    AttributeVerdict,
    BatchVerdict,
    FaultBelief,
    Judgement,
    PullReading,
    VarianceRow,
)


def to_json(judgement: Judgement) -> str:
    """Write a judgement as JSON text, two spaces of indent, a newline at the end.

    Parameters
    ----------
    judgement
        The judgement to be written.

    Returns
    -------
    str
        JSON of one object with the keys `batches` and `variances`; letters beyond ASCII are written as they are.

    Raises
    ------
    OutputError
        If a number is infinite; the sentence names the place. Not-a-number is written as null: it is unknown.
    """
    tree = {
        "batches": [_batch(verdict) for verdict in judgement.batches],
        "variances": [_variance(row) for row in judgement.variances],
    }
    return json.dumps(_finite(tree, "judgement"), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def to_block(verdict: BatchVerdict) -> dict[str, Any]:
    """Return one batch's block of the file: plain data, as it is signed.

    Parameters
    ----------
    verdict
        The batch's verdict.

    Returns
    -------
    dict
        Texts, numbers, lists and None, with the keys of docs/formats.md.

    Raises
    ------
    OutputError
        If a number is infinite; not-a-number becomes None.
    """
    block: dict[str, Any] = _finite(_batch(verdict), verdict.batch)
    return block


def _batch(verdict: BatchVerdict) -> dict[str, Any]:
    cost = verdict.expected_cost
    return {
        "batch": verdict.batch,
        "coffee": verdict.coffee,
        "decision": verdict.decision,
        "p_within": float(verdict.p_within),
        "p_fault": float(verdict.p_fault),
        "p_good": float(verdict.p_good),
        "expected_cost": {choice: float(cost[choice]) for choice in ("release", "hold", "taste_again")},
        "next_cup": {
            "worth": float(verdict.next_cup.worth),
            "cost": float(verdict.next_cup.cost),
            "what": verdict.next_cup.what,
        },
        "profile": [_attribute(row) for row in verdict.profile],
        "faults": [_fault(belief) for belief in verdict.faults],
        "pulls": [_pull(reading) for reading in verdict.pulls],
        "reasons": list(verdict.reasons),
    }


def _attribute(row: AttributeVerdict) -> dict[str, Any]:
    return {
        "service": row.service,
        "attribute": row.attribute,
        "estimate": float(row.estimate),
        "sd": float(row.sd),
        "lower90": float(row.lower90),
        "upper90": float(row.upper90),
        "target": float(row.target),
        "tolerance": float(row.tolerance),
        "p_within": float(row.p_within),
        "raw_mean": _known(row.raw_mean),
        "shot_effect": float(row.shot_effect),
        "taster_effect": float(row.taster_effect),
    }


def _fault(belief: FaultBelief) -> dict[str, Any]:
    return {
        "fault": belief.fault,
        "p_present": float(belief.p_present),
        "heard": int(belief.heard),
        "asked": int(belief.asked),
    }


def _pull(reading: PullReading) -> dict[str, Any]:
    return {
        "pull": reading.pull,
        "judgeable": bool(reading.judgeable),
        "ratio": float(reading.ratio),
        "flow_g_per_s": float(reading.flow_g_per_s),
        "extraction_pct": _known(reading.extraction_pct),
        "deviation": {quantity: _known(reading.deviation.get(quantity)) for quantity in DEVIATIONS},
    }


def _variance(row: VarianceRow) -> dict[str, Any]:
    return {
        "coffee": row.coffee,
        "service": row.service,
        "attribute": row.attribute,
        "batch": float(row.batch),
        "taster": float(row.taster),
        "batch_taster": float(row.batch_taster),
        "pull": float(row.pull),
        "residual": float(row.residual),
        "log_likelihood": float(row.log_likelihood),
    }


def _known(value: float | None) -> float | None:
    return None if value is None else float(value)


def _finite(node: Any, place: str) -> Any:
    """Return the tree with null for not-a-number; an infinite number is a mistake and is named by its place."""
    if isinstance(node, dict):
        return {key: _finite(value, f"{place}.{key}") for key, value in node.items()}
    if isinstance(node, list):
        return [_finite(value, f"{place}[{index}]") for index, value in enumerate(node)]
    if isinstance(node, float) and math.isnan(node):
        return None
    if isinstance(node, float) and math.isinf(node):
        raise OutputError(
            f"{place} is infinite, and the judgement file holds finite numbers only; "
            "look for a cost or a tolerance of an impossible size in the folder that was judged."
        )
    return node
