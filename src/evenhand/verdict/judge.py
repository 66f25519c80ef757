"""Puts the floors below together: from tastings to a verdict for every batch."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.espresso.caffeine import pull_caffeine_mg
from evenhand.panel import faults
from evenhand.verdict import reasons
from evenhand.verdict._offers import believe, list_offers
from evenhand.verdict._service_words import name_service
from evenhand.verdict.arrangement import Arrangement, arrange
from evenhand.verdict.cost import expected_hold, expected_release
from evenhand.verdict.hearing import hear
from evenhand.verdict.judgement import (
    BatchVerdict,
    CaffeineRow,
    Decision,
    FaultBelief,
    Judgement,
    NextCup,
    Tasted,
    VarianceRow,
)
from evenhand.verdict.levels import AttributeLevels, estimate
from evenhand.verdict.profile import Profiles, profile
from evenhand.verdict.tastings import Batch, Tastings
from evenhand.verdict.worth import best
from evenhand.words import join, say

__all__ = ["judge"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

# Between these probabilities a fault is in doubt.
_DOUBTFUL = (0.05, 0.8)
# The same sheets must give the same verdict: what randomness the worth of a cup needs starts here and at the name.
_SEED = 20260101

# What may be dropped from a fit, as the table of variances names it.
_TERM_WORD: Mapping[str, str] = {
    "batch": say("batch"),
    "taster": say("taster"),
    "batch_taster": say("batch_taster"),
    "pull": say("pull"),
    "residual": say("residual"),
}


def judge(tastings: Tastings, *, batches: Sequence[str] = ()) -> Judgement:
    """Judge every batch against its coffee's target, at the house recipe and for the panel's mean taster.

    Parameters
    ----------
    tastings
        All that was tasted.
    batches
        Give the verdicts of these batches only, in the order of `tastings.batches`; all sheets still inform them.

    Returns
    -------
    Judgement
        Deterministic: the same tastings give the same judgement.

    Raises
    ------
    DesignError
        If a batch asked for is not there.
    """
    known = {one.batch for one in tastings.batches}
    for name in batches:
        if name not in known:
            raise DesignError(
                say(
                    "There is no batch {name}; name one of {known} batches that are in the folder.",
                    name=name,
                    known=len(known),
                )
            )
    wanted = [one for one in tastings.batches if not batches or one.batch in set(batches)]
    bench = arrange(tastings)
    columns = estimate(bench.tables, bench.panel)
    profiles = profile(bench.panel, bench.tables, columns)
    heard = hear(tastings, bench.usable)
    verdicts = tuple(_decide(tastings, bench, profiles, heard, one) for one in wanted)
    return Judgement(
        title=tastings.title,
        judged_on=tastings.judged_on,
        invented=tastings.invented,
        batches=verdicts,
        variances=_variances(tastings, columns),
        caffeine=_caffeine(tastings),
        warnings=(*tastings.warnings, *_model_warnings(columns, heard)),
    )


def _decide(
    tastings: Tastings, bench: Arrangement, profiles: Profiles, heard: faults.FaultFit | None, batch: Batch
) -> BatchVerdict:
    costs, index = tastings.costs, bench.panel.batches.index(batch.batch)
    asked = np.flatnonzero(np.isfinite(profiles.target[index]))
    p_within = float(profiles.p_all[index])
    fault_beliefs = _fault_beliefs(heard, batch.batch)
    p_fault = heard.p_any(batch.batch) if heard else 0.0
    p_good = p_within * (1.0 - p_fault)
    belief = believe(profiles, heard, batch.batch, index, asked, p_within, panel=len(bench.panel.tasters))
    tasting, worth = best(
        belief, list_offers(bench, belief), costs, np.random.default_rng([_SEED, *batch.batch.encode()])
    )
    price = tasting.price(costs)
    release, hold = expected_release(p_good, costs), expected_hold(p_good, costs)
    again = min(release, hold) - worth + price
    choices: dict[Decision, float] = {"release": release, "hold": hold, "taste_again": again}
    decision: Decision = min(choices, key=lambda choice: choices[choice])
    rows = tuple(profiles.attribute(index, j) for j in asked.tolist())
    verdict = BatchVerdict(
        batch=batch.batch,
        coffee=batch.coffee,
        roasted_on=batch.roasted_on,
        decision=decision,
        p_within=p_within,
        p_fault=p_fault,
        p_good=p_good,
        expected_cost={"release": release, "hold": hold, "taste_again": again},
        next_cup=NextCup(worth=worth, cost=price, what=tasting.words(), pulls=tasting.pulls, tasters=tasting.tasters),
        profile=rows,
        faults=fault_beliefs,
        pulls=bench.readings[batch.batch],
        tasted=_tasted(bench, index),
        reasons=(),
    )
    context = reasons.Context(
        costs=costs,
        beyond={one.pull: bench.beyond[one.pull] for one in verdict.pulls if one.pull in bench.beyond},
        service_of_pull=bench.service_of_pull,
        settle=_cups_to_settle(heard, verdict),
    )
    return replace(verdict, reasons=reasons.give(verdict, context))


def _fault_beliefs(heard: faults.FaultFit | None, batch: str) -> tuple[FaultBelief, ...]:
    if heard is None:
        return ()
    found = []
    for f, name in enumerate(heard.faults):
        b = heard.batches.index(batch) if batch in heard.batches else None
        found.append(
            FaultBelief(
                fault=name,
                p_present=heard.p(batch, name),
                heard=int(heard.heard[b, f]) if b is not None else 0,
                asked=int(heard.asked[b, f]) if b is not None else 0,
            )
        )
    return tuple(found)


def _cups_to_settle(heard: faults.FaultFit | None, verdict: BatchVerdict) -> Mapping[str, str]:
    """For each fault still in doubt, how many further reports are expected to settle it, in words."""
    low, high = _DOUBTFUL
    doubtful = [one.fault for one in verdict.faults if one.asked and low < one.p_present < high]
    if heard is None:
        return {}
    return {name: heard.cups_to_settle(verdict.batch, name, *_DOUBTFUL).sentence for name in doubtful}


def _tasted(bench: Arrangement, index: int) -> tuple[Tasted, ...]:
    found = []
    for table in bench.tables:
        rows = np.flatnonzero(table.batch == index)
        if not len(rows):
            continue
        pulls = np.unique(table.pull[rows])
        found.append(
            Tasted(
                service=table.service,
                pulls=len(pulls),
                cups=len(np.unique(table.cup[rows])),
                tasters=len(np.unique(table.taster[rows])),
                sheets=len(rows),
            )
        )
    return tuple(found)


def _variances(tastings: Tastings, columns: Sequence[AttributeLevels]) -> tuple[VarianceRow, ...]:
    """One row for each coffee with a target: the coffees share the model, so the numbers repeat."""
    coffees = sorted({one.coffee for one in tastings.batches})
    return tuple(
        VarianceRow(
            coffee=coffee,
            service=one.service,
            attribute=one.attribute,
            batch=one.variances["batch"],
            taster=one.variances["taster"],
            batch_taster=one.variances["batch_taster"],
            pull=one.variances["pull"],
            residual=one.variances["residual"],
            log_likelihood=one.log_likelihood,
        )
        for coffee in coffees
        for one in columns
        if one.variances is not None
        and one.log_likelihood is not None
        and (one.service, one.attribute) in tastings.targets.get(coffee, {})
    )


def _caffeine(tastings: Tastings) -> tuple[CaffeineRow, ...]:
    """Caffeine offered to each taster at each table: a cup is shared out among those who tasted it."""
    dose = {one.pull.name: one.pull.dose_g for one in tastings.pulls}
    sheets = {
        (cup, pull, taster)
        for labels in (tastings.scores, tastings.reports)
        for cup, pull, taster in zip(labels.cup.tolist(), labels.pull.tolist(), labels.taster.tolist(), strict=True)
    }
    tasters_of_pull: dict[str, int] = {}
    for _, pull, _ in sheets:
        tasters_of_pull[pull] = tasters_of_pull.get(pull, 0) + 1
    total: dict[tuple[str, str], list[float]] = {}
    for cup, pull, taster in sheets:
        table = tastings.tables.get(cup)
        if table:
            total.setdefault((table, taster), []).append(pull_caffeine_mg(dose[pull]) / tasters_of_pull[pull])
    return tuple(
        CaffeineRow(table=table, taster=taster, cups=len(shares), caffeine_mg=float(sum(sorted(shares))))
        for (table, taster), shares in sorted(total.items())
    )


def _model_warnings(columns: Sequence[AttributeLevels], heard: faults.FaultFit | None) -> tuple[str, ...]:
    said: list[str] = []
    untasted = [one for one in columns if not one.scores.any()]
    if untasted:
        said.append(
            say(
                "Nobody scored {names} on a cup that can be judged; there the verdicts rest on the targets and on "
                "prior_bad alone.",
                names=_list(untasted),
            )
        )
    thin = [one for one in columns if one.scores.any() and one.variances is None]
    if thin:
        said.append(
            say(
                "There are too few scores of {names} to estimate variances; none are reported, and the verdicts lean "
                "on priors there.",
                names=_list(thin),
            )
        )
    dropped = sorted({name for one in columns for name, _ in one.dropped})
    if dropped:
        said.append(
            say(
                "The sheets cannot tell {terms} apart from the rest for some attributes; their variances read 0 there, "
                "and the judgement leans on its priors.",
                terms=join([_TERM_WORD.get(name, name) for name in dropped]),
            )
        )
    unsettled = [one for one in columns if not one.converged]
    if unsettled:
        said.append(say("The fit of {names} did not settle; read those numbers with care.", names=_list(unsettled)))
    if heard is not None:
        if not heard.converged:
            said.append(say("The fit of the fault reports did not settle; read the probabilities of faults with care."))
        said.extend(heard.hard_of_hearing())
    return tuple(said)


def _list(columns: Sequence[AttributeLevels]) -> str:
    return join(
        [
            say(
                "{attribute} ({service})",
                attribute=one.attribute,
                service=name_service(one.service),
            )
            for one in columns
        ]
    )
