"""Puts the floors below together: from tastings to a verdict for every batch."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.espresso.caffeine import pull_caffeine_mg
from evenhand.espresso.extraction import measure
from evenhand.espresso.recipe import Pull, describe, deviation, judgeable
from evenhand.panel import faults
from evenhand.panel.response import Response, build
from evenhand.verdict import correlation, reasons
from evenhand.verdict.cost import expected_hold, expected_release
from evenhand.verdict.judgement import (
    AttributeVerdict,
    BatchVerdict,
    CaffeineRow,
    Decision,
    FaultBelief,
    Judgement,
    NextCup,
    PullReading,
    Tasted,
    VarianceRow,
)
from evenhand.verdict.levels import AttributeLevels, Panel, Table, estimate
from evenhand.verdict.tastings import Batch, Tastings
from evenhand.verdict.tolerance import joint_within
from evenhand.verdict.worth import Belief, Tasting, best

__all__ = ["judge"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_SERVICES = ("black", "milk", "bowl")
_MOST_TASTERS = 4
# Blind cups hide from a taster that they have met the batch before, so their reports on it repeat each other little.
_REPEATS = 0.1
# Between these probabilities a fault is in doubt.
_DOUBTFUL = (0.05, 0.8)
# The same sheets must give the same verdict: what randomness the worth of a cup needs starts here.
_SEED = 20260101


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
            raise DesignError(f"There is no batch {name}; name one of {len(known)} batches that are in the folder.")
    wanted = [one for one in tastings.batches if not batches or one.batch in set(batches)]
    bench = _set_up(tastings)
    columns = estimate(bench.tables, bench.panel)
    profile = _Profile.of(tastings, bench, columns)
    heard = _hear(tastings, bench)
    verdicts = tuple(_decide(tastings, bench, profile, heard, one) for one in wanted)
    return Judgement(
        title=tastings.title,
        judged_on=tastings.judged_on,
        invented=tastings.invented,
        batches=verdicts,
        variances=_variances(tastings, columns),
        caffeine=_caffeine(tastings),
        warnings=(*tastings.warnings, *_model_warnings(bench, columns, heard)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bench:
    """The tastings as indices: which rows may be judged, pulls with their readings, and one table a service."""

    panel: Panel
    tables: tuple[Table, ...]
    readings: Mapping[str, tuple[PullReading, ...]]
    beyond: Mapping[str, tuple[str, ...]]
    usable: frozenset[str]
    unjudged_columns: tuple[str, ...]


def _set_up(tastings: Tastings) -> _Bench:
    coffee_of = {one.batch: one.coffee for one in tastings.batches}
    readings: dict[str, list[PullReading]] = {one.batch: [] for one in tastings.batches}
    usable: list[tuple[str, Pull]] = []
    for one in tastings.pulls:
        reading = _read(one.pull, tastings, coffee_of[one.batch])
        readings[one.batch].append(reading)
        if reading.judgeable:
            usable.append((one.batch, one.pull))
    response = _response(usable, tastings, coffee_of)
    scores = tastings.scores
    pull_names = tuple(pull.name for _, pull in usable)
    coffees = tuple(sorted({one.coffee for one in tastings.batches}))
    coffee_place = {name: index for index, name in enumerate(coffees)}
    targeted = sorted({column for goals in tastings.targets.values() for column in goals})
    panel = Panel(
        batches=tuple(one.batch for one in tastings.batches),
        coffees=coffees,
        tasters=tuple(sorted(set(scores.taster.tolist()))),
        pulls=pull_names,
        coffee_of_batch=np.array([coffee_place[one.coffee] for one in tastings.batches], dtype=np.intp),
        response=response,
        prior_bad=tastings.costs.prior_bad,
        columns=len(targeted),
    )
    usable_names = frozenset(pull_names)
    tables = [_table(tastings, panel, usable_names, service, targeted) for service in _SERVICES]
    kept = tuple(table for table in tables if table is not None)
    judged = {(table.service, attribute) for table in kept for attribute in table.attributes}
    return _Bench(
        panel=panel,
        tables=kept,
        readings={name: tuple(found) for name, found in readings.items()},
        beyond={pull: names for pull, names in zip(pull_names, response.beyond, strict=True) if names},
        usable=usable_names,
        unjudged_columns=tuple(
            f"{attribute} ({service})" for service, attribute in targeted if (service, attribute) not in judged
        ),
    )


def _read(pull: Pull, tastings: Tastings, coffee: str) -> PullReading:
    recipe = tastings.recipes[coffee]
    gave = measure(pull.dose_g, pull.beverage_g, pull.time_s, pull.tds_pct)
    away = deviation(pull, recipe)
    return PullReading(
        pull=pull.name,
        judgeable=judgeable(away),
        ratio=gave.ratio.value,
        flow_g_per_s=gave.flow_g_per_s.value,
        extraction_pct=gave.extraction_pct.value if gave.extraction_pct else None,
        extraction_sd_pct=gave.extraction_pct.sd if gave.extraction_pct else None,
        deviation=away,
        note=describe(pull, recipe),
    )


def _response(usable: Sequence[tuple[str, Pull]], tastings: Tastings, coffee_of: Mapping[str, str]) -> Response:
    recipes = [tastings.recipes[coffee_of[batch]] for batch, _ in usable]
    pulls = [pull for _, pull in usable]

    def numbers(values: Sequence[float | None]) -> FloatArray:
        return np.array([np.nan if value is None else value for value in values], dtype=float)

    return build(
        ratio=numbers([pull.beverage_g / pull.dose_g for pull in pulls]),
        recipe_ratio=numbers([recipe.ratio for recipe in recipes]),
        time_s=numbers([pull.time_s for pull in pulls]),
        recipe_time_s=numbers([recipe.time_s for recipe in recipes]),
        water_c=numbers([pull.water_c for pull in pulls]),
        recipe_water_c=numbers([recipe.water_c for recipe in recipes]),
        tds_pct=numbers([pull.tds_pct for pull in pulls]),
        batch=np.array([batch for batch, _ in usable], dtype=np.str_),
    )


def _table(
    tastings: Tastings, panel: Panel, usable: frozenset[str], service: str, targeted: Sequence[tuple[str, str]]
) -> Table | None:
    """The sheets of one service as a matrix, or None where nothing with a target was scored."""
    scores = tastings.scores
    rows = [
        index
        for index in np.flatnonzero(scores.service == service).tolist()
        if (service, scores.attribute[index]) in targeted and scores.pull[index] in usable
    ]
    if not rows:
        return None
    present = {scores.attribute[index] for index in rows}
    attributes = tuple(attribute for of, attribute in targeted if of == service and attribute in present)
    column = {attribute: index for index, attribute in enumerate(attributes)}
    sheets: dict[tuple[str, str], int] = {}
    of_row = [sheets.setdefault((scores.cup[index], scores.taster[index]), len(sheets)) for index in rows]
    score = np.full((len(sheets), len(attributes)), np.nan)
    score[of_row, [column[scores.attribute[index]] for index in rows]] = scores.score[rows]
    first = np.zeros(len(sheets), dtype=np.intp)
    first[of_row[::-1]] = rows[::-1]

    def indices(labels: Sequence[str], values: NDArray[np.str_]) -> IntArray:
        place = {label: index for index, label in enumerate(labels)}
        return np.array([place[value] for value in values.tolist()], dtype=np.intp)

    goals = [
        [tastings.targets[coffee].get((service, attribute)) for attribute in attributes] for coffee in panel.coffees
    ]
    return Table(
        service=service,
        attributes=attributes,
        batch=indices(panel.batches, scores.batch[first]),
        taster=indices(panel.tasters, scores.taster[first]),
        pull=indices(panel.pulls, scores.pull[first]),
        cup=indices(list(dict.fromkeys(scores.cup[first].tolist())), scores.cup[first]),
        score=score,
        target=np.array([[goal.target if goal else np.nan for goal in row] for row in goals], dtype=float),
        tolerance=np.array([[goal.tolerance if goal else np.nan for goal in row] for row in goals], dtype=float),
        scale=np.array([tastings.scales[attribute] for attribute in attributes], dtype=float),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Profile:
    """Every column over every batch, worked out once: shapes are (batches, columns) unless said otherwise."""

    columns: tuple[AttributeLevels, ...]
    scale: FloatArray  # (columns, 2)
    target: FloatArray
    tolerance: FloatArray
    estimate: FloatArray
    sd: FloatArray
    lower90: FloatArray
    upper90: FloatArray
    p_within: FloatArray
    p_all: FloatArray  # (batches,)
    error_correlation: FloatArray  # (batches, columns, columns)
    noise_correlation: FloatArray  # (columns, columns)

    @classmethod
    def of(cls, tastings: Tastings, bench: _Bench, columns: tuple[AttributeLevels, ...]) -> "_Profile":
        batches, d = len(bench.panel.batches), len(columns)
        of_coffee = bench.panel.coffee_of_batch

        def stack(parts: Sequence[FloatArray]) -> FloatArray:
            return np.stack(parts, axis=1) if parts else np.zeros((batches, 0))

        target = stack([table.target[of_coffee, a] for table in bench.tables for a in range(len(table.attributes))])
        tolerance = stack(
            [table.tolerance[of_coffee, a] for table in bench.tables for a in range(len(table.attributes))]
        )
        scale = np.concatenate([table.scale for table in bench.tables]) if d else np.zeros((0, 2))
        asked = np.isfinite(target)
        low = stack(
            [
                one.levels.below(np.where(asked[:, j], target[:, j] - tolerance[:, j], -np.inf))
                for j, one in enumerate(columns)
            ]
        )
        high = stack(
            [
                one.levels.below(np.where(asked[:, j], target[:, j] + tolerance[:, j], np.inf))
                for j, one in enumerate(columns)
            ]
        )
        ties = _ties(bench, columns)
        errors = _error_correlation(ties, columns, batches)
        return cls(
            columns=columns,
            scale=scale,
            target=target,
            tolerance=tolerance,
            estimate=stack([one.levels.centre for one in columns]),
            sd=stack([one.levels.spread for one in columns]),
            lower90=stack([one.levels.quantile(0.05) for one in columns]),
            upper90=stack([one.levels.quantile(0.95) for one in columns]),
            p_within=np.clip(high - low, 0.0, 1.0),
            p_all=np.clip(joint_within(low, high, errors), 0.0, 1.0),
            error_correlation=errors,
            noise_correlation=ties.noise,
        )


def _ties(bench: _Bench, columns: Sequence[AttributeLevels]) -> correlation.Correlations:
    """Correlations between columns from each taster's mean adjusted score on each batch."""
    pairs: dict[tuple[int, int], int] = {}
    for table in bench.tables:
        for pair in zip(table.batch.tolist(), table.taster.tolist(), strict=True):
            pairs.setdefault(pair, len(pairs))
    total, count = np.zeros((len(pairs), len(columns))), np.zeros((len(pairs), len(columns)))
    column = 0
    for table in bench.tables:
        rows = np.array([pairs[pair] for pair in zip(table.batch.tolist(), table.taster.tolist(), strict=True)])
        for _ in table.attributes:
            adjusted = columns[column].adjusted
            seen = np.isfinite(adjusted)
            np.add.at(total[:, column], rows[seen], adjusted[seen])
            np.add.at(count[:, column], rows[seen], 1.0)
            column += 1
    means = np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0)
    batch = np.array([pair[0] for pair in pairs], dtype=np.intp)
    return correlation.estimate(means, batch, bench.panel.coffee_of_batch)


def _error_correlation(ties: correlation.Correlations, columns: Sequence[AttributeLevels], batches: int) -> FloatArray:
    """Correlation of the columns' errors, from the parts of each error as a one-way layout would give them."""
    signal, noise, rest = (np.zeros((batches, len(columns))) for _ in range(3))
    for j, one in enumerate(columns):
        v = one.believed
        heard = (
            v["batch_taster"] / np.maximum(one.tasters, 1)
            + v["pull"] / np.maximum(one.pulls, 1)
            + v["residual"] / np.maximum(one.scores, 1)
        )
        share = np.where(one.scores > 0, v["batch"] / (v["batch"] + heard), 0.0)
        signal[:, j], noise[:, j] = (1 - share) ** 2 * v["batch"], share**2 * heard
        rest[:, j] = np.maximum(one.levels.spread**2 - signal[:, j] - noise[:, j], 0.0)
    return correlation.of_errors(ties, signal, noise, rest)


def _hear(tastings: Tastings, bench: _Bench) -> faults.FaultFit | None:
    """Beliefs about faults from the reports on cups that may be judged; None where no fault was asked for."""
    reports = tastings.reports
    rows = np.array([pull in bench.usable for pull in reports.pull.tolist()], dtype=bool)
    if not rows.any():
        return None
    asked = len(np.unique(reports.fault[rows]))
    # Half of the bad batches (on the scale of odds against being good) are left to the profile.
    bad = 1.0 - float(np.sqrt(1.0 - tastings.costs.prior_bad))
    prior = faults.FaultPrior(prevalence=faults.split_prevalence(bad, asked), repeat_correlation=_REPEATS)
    return faults.fit(reports.heard[rows], reports.batch[rows], reports.taster[rows], reports.fault[rows], prior=prior)


def _decide(
    tastings: Tastings, bench: _Bench, profile: _Profile, heard: faults.FaultFit | None, batch: Batch
) -> BatchVerdict:
    costs, index = tastings.costs, bench.panel.batches.index(batch.batch)
    asked = np.flatnonzero(np.isfinite(profile.target[index]))
    p_within = float(profile.p_all[index])
    fault_beliefs = _fault_beliefs(heard, batch.batch)
    p_fault = heard.p_any(batch.batch) if heard else 0.0
    p_good = p_within * (1.0 - p_fault)
    belief = _belief(profile, heard, batch.batch, index, asked, p_within)
    tasting, worth = best(belief, _offers(bench, belief), costs, np.random.default_rng([_SEED, index]))
    price = tasting.price(costs)
    release, hold = expected_release(p_good, costs), expected_hold(p_good, costs)
    again = min(release, hold) - worth + price
    choices: dict[Decision, float] = {"release": release, "hold": hold, "taste_again": again}
    decision: Decision = min(choices, key=lambda choice: choices[choice])
    rows = tuple(_attribute(profile, index, j) for j in asked.tolist())
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
    beyond = {one.pull: bench.beyond[one.pull] for one in verdict.pulls if one.pull in bench.beyond}
    settle = _cups_to_settle(heard, verdict)
    return replace(verdict, reasons=reasons.give(verdict, beyond=beyond, settle=settle, costs=costs))


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


def _belief(
    profile: _Profile, heard: faults.FaultFit | None, batch: str, index: int, asked: IntArray, p_within: float
) -> Belief:
    sd = profile.sd[index, asked]
    columns = [profile.columns[j] for j in asked.tolist()]

    def variance(term: str) -> FloatArray:
        return np.array([one.believed[term] for one in columns], dtype=float)

    return Belief(
        mean=profile.estimate[index, asked],
        covariance=profile.error_correlation[index][np.ix_(asked, asked)] * np.outer(sd, sd),
        low=profile.target[index, asked] - profile.tolerance[index, asked],
        high=profile.target[index, asked] + profile.tolerance[index, asked],
        service=tuple(one.service for one in columns),
        pull_var=variance("pull"),
        taster_var=variance("batch_taster"),
        sheet_var=variance("residual"),
        noise_correlation=profile.noise_correlation[np.ix_(asked, asked)],
        p_within=p_within,
        p_fault=np.array([heard.p(batch, name) for name in heard.faults]) if heard else np.zeros(0),
        sensitivity=heard.panel_sensitivity if heard else np.zeros(0),
        false_alarm=heard.panel_false_alarm if heard else np.zeros(0),
    )


def _offers(bench: _Bench, belief: Belief) -> list[Tasting]:
    """Next tastings to choose from: one or two pulls in one service or in each, by one taster, two, or up to four."""
    services = [service for service in _SERVICES if service in belief.service] or ["black"]
    people = sorted({1, 2, _MOST_TASTERS} & set(range(1, len(bench.panel.tasters) + 1)) or {1})
    shapes: list[tuple[tuple[str, int], ...]] = [((service, number),) for number in (1, 2) for service in services]
    if len(services) > 1:
        shapes += [tuple((service, number) for service in services) for number in (1, 2)]
    return [Tasting(pulls=shape, tasters=number) for shape in shapes for number in people]


def _attribute(profile: _Profile, index: int, j: int) -> AttributeVerdict:
    one = profile.columns[j]
    scored = bool(one.scores[index] > 0)
    low, high = profile.scale[j]
    return AttributeVerdict(
        service=one.service,
        attribute=one.attribute,
        estimate=float(np.clip(profile.estimate[index, j], low, high)),
        sd=float(profile.sd[index, j]),
        lower90=float(np.clip(profile.lower90[index, j], low, high)),
        upper90=float(np.clip(profile.upper90[index, j], low, high)),
        target=float(profile.target[index, j]),
        tolerance=float(profile.tolerance[index, j]),
        p_within=float(profile.p_within[index, j]),
        raw_mean=float(one.raw_mean[index]) if scored else None,
        shot_effect=float(one.shot_effect[index]),
        taster_effect=float(one.taster_effect[index]),
        scores=int(one.scores[index]),
        scale_low=float(low),
        scale_high=float(high),
    )


def _tasted(bench: _Bench, index: int) -> tuple[Tasted, ...]:
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
        if (one.service, one.attribute) in tastings.targets[coffee]
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


def _model_warnings(
    bench: _Bench, columns: Sequence[AttributeLevels], heard: faults.FaultFit | None
) -> tuple[str, ...]:
    said = []
    if bench.unjudged_columns:
        said.append(
            f"Nothing that can be judged was scored for {', '.join(bench.unjudged_columns)}; no verdict speaks of it."
        )
    dropped = sorted({name for one in columns for name, _ in one.dropped})
    if dropped:
        said.append(
            f"The sheets cannot tell {', '.join(dropped)} apart from the rest for some attributes; their variances "
            "read 0 there, and the judgement leans on its priors."
        )
    unsettled = [f"{one.attribute} ({one.service})" for one in columns if not one.converged]
    if unsettled:
        said.append(f"The fit of {', '.join(unsettled)} did not settle; read those numbers with care.")
    if heard is not None:
        said.extend(heard.hard_of_hearing())
    return tuple(said)
