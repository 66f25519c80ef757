"""The probability that a fault is in a roast, given who reported it and how well each taster hears it.

Every batch has a fault or has it not; nobody sees which. A taster reports a fault that is there with a chance of their
own (sensitivity), and one that is not there with another (false alarm). Presence, both rates and the faults' prevalence
are learned together from all reports, from priors, and from control cups whose truth is known.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betainc, expit

from evenhand.errors import DesignError
from evenhand.panel._faults_core import Cells, infer, log_likelihood, total_concentration
from evenhand.panel._faults_notes import FAULT_NOTES, ColourWord, FaultNote, colour_word, explain
from evenhand.panel._faults_prior import FaultPrior, TasterPrior, prevalence_of, rate_law, split_prevalence
from evenhand.panel._faults_settle import CupsToSettle, check_zone, cups_to_settle, walk
from evenhand.words import say

__all__ = [
    "FAULT_NOTES",
    "ColourWord",
    "CupsToSettle",
    "FaultFit",
    "FaultNote",
    "FaultPrior",
    "TasterPrior",
    "colour_word",
    "cups_to_settle",
    "explain",
    "fit",
    "split_prevalence",
    "update",
]

Floats = NDArray[np.float64]
Known = Mapping[tuple[str, str], float] | Sequence[float] | Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaultFit:
    """Beliefs about presence and about every taster's hearing, with the counts they rest on.

    Attributes
    ----------
    batches, tasters, faults
        Labels, sorted; the axes of the arrays below.
    p_present
        (B, F) probability that the fault is in the batch; the prevalence where it was not asked.
    sensitivity, sensitivity_sd, false_alarm, false_alarm_sd
        (T, F) posterior means and standard deviations.
    panel_sensitivity, panel_false_alarm
        (F,) means over the panel; what is expected of a new taster.
    prevalence, prevalence_sd
        (F,) share of batches with the fault.
    heard, asked
        (B, F) reports.
    heard_by, asked_by
        (B, T, F) the same by taster.
    sensitivity_weight, false_alarm_weight
        (T, F) what each rate rests on, in reports, prior included.
    prior
        As given to `fit`.
    steps, converged
        Of the fixed point. `converged` False: read the probabilities with care.
    """

    batches: tuple[str, ...]
    tasters: tuple[str, ...]
    faults: tuple[str, ...]
    p_present: Floats
    sensitivity: Floats
    sensitivity_sd: Floats
    false_alarm: Floats
    false_alarm_sd: Floats
    panel_sensitivity: Floats
    panel_false_alarm: Floats
    prevalence: Floats
    prevalence_sd: Floats
    heard: NDArray[np.int64]
    asked: NDArray[np.int64]
    heard_by: NDArray[np.int64]
    asked_by: NDArray[np.int64]
    sensitivity_weight: Floats
    false_alarm_weight: Floats
    prior: FaultPrior
    steps: int
    converged: bool

    def p(self, batch: str, fault: str) -> float:
        """Return the probability that `fault` is in `batch`; the prevalence if the batch is not in the fit."""
        f = self._fault(fault)
        return float(self.p_present[self.batches.index(batch), f] if batch in self.batches else self.prevalence[f])

    def p_any(self, batch: str) -> float:
        """Return the probability that at least one fault is in the batch, faults taken as independent.

        Faults that come together (smoky with ashy) make the true value lower; it is never below the largest single
        probability, see `p_any_bounds`.
        """
        return float(1.0 - np.prod(1.0 - self._row(batch)))

    def p_any_bounds(self, batch: str) -> tuple[float, float]:
        """Return the least and the greatest probability of any fault, however the faults depend on each other.

        The bounds are those of Fréchet: the largest single probability, and the sum (at most 1).
        """
        row = self._row(batch)
        return float(row.max()), float(min(1.0, row.sum()))

    def after(self, batch: str, fault: str, reports: Iterable[tuple[str, int | bool]]) -> float:
        """Return the probability of the fault in the batch after further (taster, heard) reports.

        The rates stay as they are, so this costs nothing; `fit` with the new reports learns from them too. A taster who
        is not in the fit is taken as the panel's mean. A taster's earlier reports on the batch are taken into account:
        the next one repeats them in part.
        """
        f = self._fault(fault)
        p = self.p(batch, fault)
        if p in (0.0, 1.0):
            return p
        more: dict[str, list[int]] = {}
        for taster, heard in reports:
            if heard not in (0, 1):
                raise DesignError(
                    say(
                        "A report on '{fault}' by '{taster}' is 0 or 1, not {heard}.",
                        fault=fault,
                        taster=taster,
                        heard=heard,
                    )
                )
            count = more.setdefault(taster, [0, 0])
            count[0] += int(heard)
            count[1] += 1
        odds = np.log(p) - np.log1p(-p)
        for taster, (heard_more, asked_more) in more.items():
            s, a, c_yes, c_no, k, n = self._ear(batch, taster, f)
            odds += _gain(s, c_yes, k, n, heard_more, asked_more) - _gain(a, c_no, k, n, heard_more, asked_more)
        return float(expit(odds))

    def cups_to_settle(
        self,
        batch: str,
        fault: str,
        release_below: float = 0.05,
        hold_above: float = 0.8,
        tasters: Sequence[str] | None = None,
        most: int = 24,
    ) -> CupsToSettle:
        """Count the further reports expected to settle this fault, the tasters (default: all) taking turns.

        See the function `cups_to_settle`; this one uses the learned rates, their uncertainty, and what each taster
        has said of the batch already.
        """
        f = self._fault(fault)
        names = self.tasters if tasters is None else tuple(tasters)
        if not names:
            raise DesignError(say("Name at least one taster who is to taste again."))
        s, a, c_yes, c_no, k, n = (np.array(x) for x in zip(*(self._ear(batch, t, f) for t in names), strict=True))
        p = self.p(batch, fault)
        check_zone(p, release_below, hold_above, most)
        return walk(p, s, a, release_below, hold_above, most, c_yes, c_no, k, n)

    def hard_of_hearing(self, below: float = 0.5, sure: float = 0.8) -> tuple[str, ...]:
        """Say which tasters probably miss which fault: their sensitivity is below `below` with probability `sure`."""
        said = []
        for t, taster in enumerate(self.tasters):
            for f, fault in enumerate(self.faults):
                mean, sd = self.sensitivity[t, f], self.sensitivity_sd[t, f]
                chance = _beta_below(below, mean, sd)
                if chance >= sure:
                    said.append(
                        say(
                            "{taster} seems to miss '{fault}': it is heard in {mean:.0%} of the cups that have it "
                            "(standard uncertainty {sd:.0%}); a control cup would tell.",
                            taster=taster,
                            fault=fault,
                            mean=mean,
                            sd=sd,
                        )
                    )
        return tuple(said)

    def _fault(self, fault: str) -> int:
        if fault not in self.faults:
            raise DesignError(
                say(
                    "The fault '{fault}' is not in this fit; it knows {faults}.",
                    fault=fault,
                    faults=", ".join(self.faults),
                )
            )
        return self.faults.index(fault)

    def _row(self, batch: str) -> Floats:
        return self.p_present[self.batches.index(batch)] if batch in self.batches else self.prevalence

    def _ear(self, batch: str, taster: str, f: int) -> tuple[float, float, float, float, float, float]:
        """Return rates, concentrations and earlier counts of one taster on one batch."""
        rho = self.prior.repeat_correlation
        if taster in self.tasters:
            t = self.tasters.index(taster)
            s, a = float(self.sensitivity[t, f]), float(self.false_alarm[t, f])
            w_yes, w_no = float(self.sensitivity_weight[t, f]), float(self.false_alarm_weight[t, f])
        else:
            t = -1
            s, a = float(self.panel_sensitivity[f]), float(self.panel_false_alarm[f])
            w_yes, w_no = self.prior.sensitivity_strength, self.prior.false_alarm_strength
        k = n = 0.0
        if t >= 0 and batch in self.batches:
            b = self.batches.index(batch)
            k, n = float(self.heard_by[b, t, f]), float(self.asked_by[b, t, f])
            # What this batch itself taught of the taster is taken out, or the belief would confirm itself.
            q, effect = float(self.p_present[b, f]), 1.0 + max(n - 1.0, 0.0) * rho
            s, w_yes = _without(s, w_yes, q * k / effect, q * n / effect)
            a, w_no = _without(a, w_no, (1.0 - q) * k / effect, (1.0 - q) * n / effect)
        return s, a, float(total_concentration(w_yes, rho)), float(total_concentration(w_no, rho)), k, n


def fit(
    heard: ArrayLike,
    batch: ArrayLike,
    taster: ArrayLike,
    fault: ArrayLike,
    known: Known | None = None,
    prior: FaultPrior | None = None,
) -> FaultFit:
    """Learn presence, sensitivity, false alarms and prevalence from all reports together.

    Parameters
    ----------
    heard
        (n,) 1 where the taster reported the fault, 0 where asked and not heard. Not asked is no row.
    batch, taster, fault
        (n,) labels. A control cup that was spiked is a batch of its own: give it its own label.
    known
        The truth where it is known: a mapping (batch, fault) -> 0 or 1, or an (n,) array with NaN for unknown. Known
        batches teach the tasters' rates but not the prevalence, for a control is chosen, not met.
    prior
        See `FaultPrior`; its defaults when None.

    Returns
    -------
    FaultFit
        Deterministic: no random numbers are used.

    Raises
    ------
    DesignError
        Lengths differ, a report is not 0 or 1, there is no report, the known truth contradicts itself, or the prior is
        out of range.

    Notes
    -----
    Reports of different tasters are taken as independent once the truth is given. A weak fault that all miss, or one
    bad pull that all drink, breaks this; the probabilities are then too sure. Faults are fitted one by one.
    """
    prior = FaultPrior() if prior is None else prior
    y = np.asarray(heard, dtype=float)
    labels = [np.asarray(x).astype(str) for x in (batch, taster, fault)]
    if y.ndim != 1 or any(x.shape != y.shape for x in labels):
        raise DesignError(say("Reports, batches, tasters and faults must be lists of one length."))
    if y.size == 0:
        raise DesignError(say("There is no fault report to learn from; leave the faults out or give some."))
    wrong = np.flatnonzero(~((y == 0) | (y == 1)))
    if wrong.size:
        raise DesignError(
            say(
                "Report {number} is {value}; a report is 0 or 1, and not asked is no row.",
                number=wrong[0] + 1,
                value=y[wrong[0]],
            )
        )
    truth = _read_known(known, labels[0], labels[2])
    batches, b = _levels(labels[0], [pair[0] for pair in truth])
    tasters, t = _levels(labels[1], [])
    faults, f = _levels(labels[2], [pair[1] for pair in truth])
    shape = (len(batches), len(tasters), len(faults))
    n_b, n_t, n_f = shape
    common = prevalence_of(prior, faults)

    flat = (b * n_t + t) * n_f + f
    asked_by = np.bincount(flat, minlength=n_b * n_t * n_f)
    heard_by = np.bincount(flat, y, minlength=n_b * n_t * n_f).astype(np.int64)
    cell = np.flatnonzero(asked_by)
    cells = Cells(
        heard=heard_by[cell].astype(float),
        asked=asked_by[cell].astype(float),
        pair=cell // (n_t * n_f) * n_f + cell % n_f,
        ear=cell % (n_t * n_f),
        n_batches=n_b,
        n_tasters=n_t,
        n_faults=n_f,
    )
    known_pair = np.full(n_b * n_f, np.nan)
    where_b, where_f = {x: i for i, x in enumerate(batches)}, {x: i for i, x in enumerate(faults)}
    for (one_batch, one_fault), value in truth.items():
        known_pair[where_b[one_batch] * n_f + where_f[one_fault]] = value
    belief = infer(
        cells,
        known_pair,
        common * prior.prevalence_strength,
        (1.0 - common) * prior.prevalence_strength,
        rate_law(prior, "sensitivity", tasters, faults),
        rate_law(prior, "false_alarm", tasters, faults),
        prior.repeat_correlation,
    )
    by = (n_t, n_f)
    heard_all, asked_all = heard_by.reshape(shape), asked_by.reshape(shape).astype(np.int64)
    return FaultFit(
        batches=batches,
        tasters=tasters,
        faults=faults,
        p_present=belief.p_present.reshape(n_b, n_f),
        sensitivity=belief.sensitivity.mean.reshape(by),
        sensitivity_sd=belief.sensitivity.sd.reshape(by),
        false_alarm=belief.false_alarm.mean.reshape(by),
        false_alarm_sd=belief.false_alarm.sd.reshape(by),
        panel_sensitivity=belief.sensitivity.panel_mean,
        panel_false_alarm=belief.false_alarm.panel_mean,
        prevalence=belief.prevalence,
        prevalence_sd=belief.prevalence_sd,
        heard=heard_all.sum(axis=1),
        asked=asked_all.sum(axis=1),
        heard_by=heard_all,
        asked_by=asked_all,
        sensitivity_weight=belief.sensitivity.weight.reshape(by),
        false_alarm_weight=belief.false_alarm.weight.reshape(by),
        prior=prior,
        steps=belief.steps,
        converged=belief.converged,
    )


def update(p: ArrayLike, sensitivity: ArrayLike, false_alarm: ArrayLike, heard: ArrayLike) -> Floats:
    """Return the probability of a fault after one more independent report (Bayes' rule; the arguments broadcast).

    Parameters
    ----------
    p
        Probability before, in [0, 1].
    sensitivity, false_alarm
        Rates of who reports, in [0, 1].
    heard
        1 or 0.

    Raises
    ------
    DesignError
        An argument is out of range, or the report is impossible under the rates.
    """
    p, s, f, y = (np.asarray(x, dtype=float) for x in (p, sensitivity, false_alarm, heard))
    if any(np.any(~((x >= 0) & (x <= 1))) for x in (p, s, f)) or np.any((y != 0) & (y != 1)):
        raise DesignError(say("Probabilities and rates must lie in [0, 1], and a report is 0 or 1."))
    with_fault = p * np.where(y == 1, s, 1.0 - s)
    without = (1.0 - p) * np.where(y == 1, f, 1.0 - f)
    total = with_fault + without
    if np.any(total == 0):
        raise DesignError(say("A report is impossible under these rates; use rates strictly between 0 and 1."))
    return np.asarray(with_fault / total, dtype=float)


def _gain(rate: float, concentration: float, k: float, n: float, heard_more: int, asked_more: int) -> float:
    """Return the log probability of further reports of a taster who has given n with k heard."""
    one = np.array(1.0)
    after = log_likelihood(one * (k + heard_more), one * (n + asked_more), one * rate, one * concentration)
    return float(after - log_likelihood(one * k, one * n, one * rate, one * concentration))


def _without(rate: float, weight: float, yes: float, every: float) -> tuple[float, float]:
    """Take reports out of a rate again and return what is left, with its weight."""
    left = weight - every
    return min(max((rate * weight - yes) / left, 1e-9), 1.0 - 1e-9), left


def _beta_below(x: float, mean: float, sd: float) -> float:
    weight = max(mean * (1.0 - mean) / sd**2 - 1.0, 1e-6)
    return float(betainc(mean * weight, (1.0 - mean) * weight, x))


def _levels(labels: NDArray[np.str_], more: Sequence[str]) -> tuple[tuple[str, ...], NDArray[np.intp]]:
    levels, index = np.unique(labels, return_inverse=True)
    extra = sorted(set(more) - set(levels.tolist()))
    if not extra:
        return tuple(levels.tolist()), index
    joined = sorted([*levels.tolist(), *extra])
    return tuple(joined), np.searchsorted(np.array(joined), levels)[index]


def _read_known(known: Known | None, batch: NDArray[np.str_], fault: NDArray[np.str_]) -> dict[tuple[str, str], float]:
    if known is None:
        return {}
    if isinstance(known, Mapping):
        items = [((str(b), str(f)), float(value)) for (b, f), value in known.items()]
    else:
        values = np.asarray(known, dtype=float)
        if values.shape != batch.shape:
            raise DesignError(say("The known truth must be a mapping (batch, fault) -> 0 or 1, or one value a report."))
        rows = np.flatnonzero(~np.isnan(values))
        items = [((str(batch[i]), str(fault[i])), float(values[i])) for i in rows]
    truth: dict[tuple[str, str], float] = {}
    for pair, value in items:
        if value not in (0.0, 1.0):
            raise DesignError(
                say(
                    "The known truth of '{fault}' in batch '{batch}' is 0 or 1, not {value}.",
                    fault=pair[1],
                    batch=pair[0],
                    value=value,
                )
            )
        if truth.setdefault(pair, value) != value:
            raise DesignError(
                say(
                    "The known truth of '{fault}' in batch '{batch}' is both 0 and 1; give a spiked cup its own label.",
                    fault=pair[1],
                    batch=pair[0],
                )
            )
    return truth
