"""The arithmetic behind faults: presence, hearing and false alarms, inferred together from counts.

For each fault on its own: a batch has it with probability pi; a taster hears it in a faulty cup with probability s
(sensitivity) and reports it in a clean cup with probability f (false alarm). pi, s and f have Beta priors, and the
prior means of s and f are themselves learned over the tasters. The unknown rates are integrated out; what is left is
one probability of presence for each batch and fault, found by a fixed point: each is computed from the expected counts
of all *other* batches (the zeroth-order collapsed variational update).

References
----------
Dawid, A. P., Skene, A. M. (1979). Maximum likelihood estimation of observer error-rates using the EM algorithm.
Applied Statistics 28(1), 20-28. (The model with latent truth and observers' error rates.)
Asuncion, A., Welling, M., Smyth, P., Teh, Y. W. (2009). On smoothing and inference for topic models. Proceedings of the
25th Conference on Uncertainty in Artificial Intelligence, 27-34. (The update from expected counts without oneself.)
Teh, Y. W., Jordan, M. I., Beal, M. J., Blei, D. M. (2006). Hierarchical Dirichlet processes. Journal of the American
Statistical Association 101(476), 1566-1581. (How much a group's count tells of the level above it.)
Kish, L. (1965). Survey Sampling. Wiley. (The design effect 1 + (n - 1) rho.)
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import digamma, expit, gammaln

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_TOLERANCE = 1e-6
_FREE_STEPS = 25
_MOST_STEPS = 300
_FEW = 6


@dataclass(frozen=True, slots=True)
class Cells:
    """Reports added up: `heard` of `asked` by one taster on one batch for one fault, one row a cell.

    `pair` is batch * n_faults + fault and `ear` is taster * n_faults + fault.
    """

    heard: Floats
    asked: Floats
    pair: Ints
    ear: Ints
    n_batches: int
    n_tasters: int
    n_faults: int


@dataclass(frozen=True, slots=True)
class RateLaw:
    """The prior of one kind of rate (sensitivity or false alarm).

    `mean` is the panel's prior mean, worth `pool_strength` tasters; each taster's rate is Beta around the panel's mean
    with `strength` reports' worth. `own_mean` and `own_strength` (tasters * faults,) replace it where not NaN.
    """

    mean: float
    strength: float
    pool_strength: float
    own_mean: Floats
    own_strength: Floats


@dataclass(frozen=True, slots=True)
class RateBelief:
    """What is believed of one kind of rate: mean, sd and weight (tasters * faults,), panel mean and sd (faults,)."""

    mean: Floats
    sd: Floats
    weight: Floats
    panel_mean: Floats
    panel_sd: Floats


@dataclass(frozen=True, slots=True)
class Belief:
    """The fixed point: presence (batches * faults,), rates, prevalence (faults,) and how it was reached."""

    p_present: Floats
    sensitivity: RateBelief
    false_alarm: RateBelief
    prevalence: Floats
    prevalence_sd: Floats
    steps: int
    converged: bool


def total_concentration(weight: Floats | float, repeat_correlation: float) -> Floats:
    """Return the Beta weight of one taster's rate on one batch, given the weight behind the taster's own rate.

    Two things make a taster's reports on one batch alike: the rate is not known exactly, and the day, the palate and
    the batch shift it. Both correlations are joined so that the variance of the count is right: (1 - r) = (1 - rho)
    weight / (weight + 1), and the result is (1 - r) / r.
    """
    kept = (1.0 - repeat_correlation) * np.asarray(weight, dtype=float) / (np.asarray(weight, dtype=float) + 1.0)
    return np.asarray(kept / (1.0 - kept), dtype=float)


def log_likelihood(heard: Floats, asked: Floats, rate: Floats, concentration: Floats) -> Floats:
    """Return the log probability of one order of `heard` yes and `asked - heard` no under a Beta-binomial law."""
    yes = rate * concentration
    no = concentration - yes
    most = int(np.max(asked, initial=0.0))
    if most > _FEW:
        return np.asarray(
            gammaln(yes + heard)
            - gammaln(yes)
            + gammaln(no + (asked - heard))
            - gammaln(no)
            - gammaln(concentration + asked)
            + gammaln(concentration),
            dtype=float,
        )
    # For few reports the product of the conditional chances is much quicker than six gamma functions.
    chance = np.ones_like(yes)
    for i in range(most):
        top_yes = np.where(i < heard, yes + i, 1.0)
        top_no = np.where(i < asked - heard, no + i, 1.0)
        chance = chance * (top_yes * top_no / np.where(i < asked, concentration + i, 1.0))
    return np.asarray(np.log(chance), dtype=float)


def infer(
    cells: Cells,
    known: Floats,
    presence_yes: Floats,
    presence_no: Floats,
    sensitivity: RateLaw,
    false_alarm: RateLaw,
    repeat_correlation: float,
) -> Belief:
    """Find presence, hearing and false alarms for every batch, taster and fault at once.

    Parameters
    ----------
    cells
        The counts.
    known
        (batches * faults,) 1 or 0 where the truth is known, NaN elsewhere. Known pairs teach the rates only: a control
        is chosen, not met, so it says nothing of how common a fault is.
    presence_yes, presence_no
        (faults,) Beta prior of the prevalence.
    sensitivity, false_alarm
        The priors of both rates.
    repeat_correlation
        Correlation between two reports of one taster on one batch, in [0, 1).
    """
    n_pairs = cells.n_batches * cells.n_faults
    fault_of_pair = np.arange(n_pairs) % cells.n_faults
    asked_pair = np.bincount(cells.pair, minlength=n_pairs) > 0
    is_known = ~np.isnan(known)
    free = asked_pair & ~is_known
    prior_mean = presence_yes / (presence_yes + presence_no)

    effect = 1.0 + (cells.asked - 1.0) * repeat_correlation
    heard, asked = cells.heard / effect, cells.asked / effect
    free_count = np.bincount(fault_of_pair[free], minlength=cells.n_faults).astype(float)

    panel_s = np.full(cells.n_faults, sensitivity.mean)
    panel_f = np.full(cells.n_faults, false_alarm.mean)
    converged, step = False, 0
    hearing = _Rates(cells, sensitivity, heard, asked)
    crying = _Rates(cells, false_alarm, heard, asked)
    q = np.where(is_known, known, np.where(free, prior_mean[fault_of_pair], 0.0))
    # Nothing is learned before the first look: only what is known counts, so the labels cannot swap.
    weight_yes, weight_no = np.where(is_known, q, 0.0), np.where(is_known, 1.0 - q, 0.0)
    for step in range(1, _MOST_STEPS + 1):
        panel_s, log_present = hearing.look(weight_yes, panel_s, repeat_correlation)
        panel_f, log_absent = crying.look(weight_no, panel_f, repeat_correlation)
        present = np.bincount(fault_of_pair[free], q[free], minlength=cells.n_faults)
        others_yes = presence_yes[fault_of_pair] + present[fault_of_pair] - q
        others_no = presence_no[fault_of_pair] + (free_count - present)[fault_of_pair] - (1.0 - q)
        logit = np.log(np.maximum(others_yes, 1e-12)) - np.log(np.maximum(others_no, 1e-12)) + log_present - log_absent
        fresh = np.where(free, expit(logit), q)
        if step > _FREE_STEPS:
            fresh = 0.5 * (fresh + q)  # a rare two-step swing dies out
        moved = float(np.max(np.abs(fresh - q), initial=0.0))
        q = fresh
        weight_yes = np.where(free | is_known, q, 0.0)
        weight_no = np.where(free | is_known, 1.0 - q, 0.0)
        if moved < _TOLERANCE:
            converged = True
            break

    present = np.bincount(fault_of_pair[free], q[free], minlength=cells.n_faults)
    total = presence_yes + presence_no + free_count
    prevalence = (presence_yes + present) / total
    sensitive = hearing.sum_up(weight_yes, panel_s)
    alarmed = crying.sum_up(weight_no, panel_f)
    doubt = np.where(free, q * (1.0 - q), 0.0)
    sd = _widen(cells, heard, asked, doubt, prevalence, total, sensitive, alarmed)
    ears = cells.n_tasters
    return Belief(
        p_present=np.where(free | is_known, q, prevalence[fault_of_pair]),
        sensitivity=replace(sensitive, sd=sd[:, 1 : ears + 1].T.ravel()),
        false_alarm=replace(alarmed, sd=sd[:, ears + 1 :].T.ravel()),
        prevalence=prevalence,
        prevalence_sd=sd[:, 0],
        steps=step,
        converged=converged,
    )


def _widen(
    cells: Cells,
    heard: Floats,
    asked: Floats,
    doubt: Floats,
    prevalence: Floats,
    total: Floats,
    sensitive: RateBelief,
    alarmed: RateBelief,
) -> Floats:
    """Return standard deviations (faults, 1 + 2 tasters) of prevalence and rates with presence itself in doubt.

    The information if presence were known, less the variance of its score over the presences that are believed in
    (Louis), on the log odds scale, one matrix a fault.

    References
    ----------
    Louis, T. A. (1982). Finding the observed information matrix when using the EM algorithm. Journal of the Royal
    Statistical Society B 44(2), 226-233.
    """
    n_b, n_t, n_f = cells.n_batches, cells.n_tasters, cells.n_faults
    mean = np.concatenate([[prevalence], sensitive.mean.reshape(n_t, n_f), alarmed.mean.reshape(n_t, n_f)]).T
    alone = np.concatenate(
        [
            [np.sqrt(prevalence * (1.0 - prevalence) / (total + 1.0))],
            sensitive.sd.reshape(n_t, n_f),
            alarmed.sd.reshape(n_t, n_f),
        ]
    ).T
    slope = mean * (1.0 - mean)
    score = np.zeros((n_f, n_b, 1 + 2 * n_t))
    score[:, :, 0] = 1.0
    batch, fault, taster = cells.pair // n_f, cells.pair % n_f, cells.ear // n_f
    score[fault, batch, 1 + taster] = heard - sensitive.mean[cells.ear] * asked
    score[fault, batch, 1 + n_t + taster] = -(heard - alarmed.mean[cells.ear] * asked)
    score *= np.sqrt(doubt.reshape(n_b, n_f).T)[:, :, None] * (alone / slope)[:, None, :]
    lost, axes = np.linalg.eigh(np.swapaxes(score, 1, 2) @ score)
    # Never more than nineteen twentieths of the information: beyond that the quadratic picture fails anyway.
    gain = 1.0 / (1.0 - np.clip(lost, 0.0, 0.95))
    return np.asarray(alone * np.sqrt(np.einsum("fij,fj->fi", axes**2, gain)), dtype=float)


class _Rates:
    """One kind of rate over all tasters and faults, looked at again in every step."""

    def __init__(self, cells: Cells, law: RateLaw, heard: Floats, asked: Floats) -> None:
        self.cells, self.law, self.heard, self.asked = cells, law, heard, asked
        self.n_ears = cells.n_tasters * cells.n_faults
        self.n_pairs = cells.n_batches * cells.n_faults
        self.own = ~np.isnan(law.own_mean)
        self.strength = np.where(self.own, law.own_strength, law.strength)
        self.fault_of_ear = np.arange(self.n_ears) % cells.n_faults
        self.fault_of_pair = np.arange(self.n_pairs) % cells.n_faults

    def _count(self, weight: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        w = weight[self.cells.pair]
        yes, every = w * self.heard, w * self.asked
        ear = self.cells.ear
        of_ear = [np.bincount(ear, values, self.n_ears).astype(np.float64) for values in (yes, every)]
        return yes, every, of_ear[0], of_ear[1]

    def _pool(self, panel: Floats, yes: Floats, every: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Return what each ear tells of the panel's mean (yes and no), and the panel's Beta (yes and no)."""
        tell_yes = np.where(self.own, 0.0, _tell(panel[self.fault_of_ear] * self.law.strength, yes))
        tell_no = np.where(self.own, 0.0, _tell((1.0 - panel[self.fault_of_ear]) * self.law.strength, every - yes))
        n = self.cells.n_faults
        pool_yes = self.law.mean * self.law.pool_strength + np.bincount(self.fault_of_ear, tell_yes, n)
        pool_no = (1.0 - self.law.mean) * self.law.pool_strength + np.bincount(self.fault_of_ear, tell_no, n)
        return tell_yes, tell_no, np.asarray(pool_yes, np.float64), np.asarray(pool_no, np.float64)

    def look(self, weight: Floats, panel: Floats, repeat_correlation: float) -> tuple[Floats, Floats]:
        """Return the panel's new mean (faults,) and each batch and fault's log likelihood, given all other batches."""
        cells = self.cells
        yes, every, ear_yes, ear_all = self._count(weight)
        tell_yes, tell_no, pool_yes, pool_no = self._pool(panel, ear_yes, ear_all)
        fresh = pool_yes / (pool_yes + pool_no)
        # What the batch itself told of the panel is taken out again, in proportion to its share of the count.
        share_yes = tell_yes[cells.ear] * _share(yes, ear_yes[cells.ear])
        share_no = tell_no[cells.ear] * _share(every - yes, (ear_all - ear_yes)[cells.ear])
        left_yes = pool_yes[self.fault_of_pair] - np.bincount(cells.pair, share_yes, self.n_pairs)
        left_no = pool_no[self.fault_of_pair] - np.bincount(cells.pair, share_no, self.n_pairs)
        strength = self.strength[cells.ear]
        total = strength + np.maximum(ear_all[cells.ear] - every, 0.0)
        others_yes = np.maximum(ear_yes[cells.ear] - yes, 0.0)
        concentration = total_concentration(total, repeat_correlation)
        log_of_node = []
        # The panel's mean is one unknown behind all tasters, which makes their reports alike: average over it.
        for node, mass in zip(*_nodes(left_yes, left_no), strict=True):
            mean = np.where(self.own[cells.ear], self.law.own_mean[cells.ear], node[cells.pair])
            rate = np.clip((mean * strength + others_yes) / total, 1e-9, 1.0 - 1e-9)
            each = log_likelihood(cells.heard, cells.asked, rate, concentration)
            log_of_node.append(np.log(mass) + np.bincount(cells.pair, each, self.n_pairs))
        return fresh, np.asarray(np.logaddexp.reduce(log_of_node, axis=0), dtype=float)

    def sum_up(self, weight: Floats, panel: Floats) -> RateBelief:
        """Return means and standard deviations as if presence were known with these weights."""
        _, _, ear_yes, ear_all = self._count(weight)
        _, _, pool_yes, pool_no = self._pool(panel, ear_yes, ear_all)
        pool = pool_yes + pool_no
        panel_mean = pool_yes / pool
        panel_var = panel_mean * (1.0 - panel_mean) / (pool + 1.0)
        total = self.strength + ear_all
        centre = np.where(self.own, self.law.own_mean, panel_mean[self.fault_of_ear])
        mean = (centre * self.strength + ear_yes) / total
        from_panel = np.where(self.own, 0.0, (self.strength / total) ** 2 * panel_var[self.fault_of_ear])
        variance = mean * (1.0 - mean) / (total + 1.0) + from_panel
        return RateBelief(mean, np.sqrt(variance), total, panel_mean, np.sqrt(panel_var))


def _tell(prior_count: Floats, count: Floats) -> Floats:
    """Return how many independent draws from the panel a taster's count is worth, never more than the count."""
    return np.asarray(
        np.minimum(count, prior_count * (digamma(prior_count + count) - digamma(prior_count))), dtype=float
    )


def _share(part: Floats, whole: Floats) -> Floats:
    return np.divide(part, whole, out=np.zeros_like(part), where=whole > 0.0)


def _nodes(yes: Floats, no: Floats) -> tuple[list[Floats], list[Floats]]:
    """Return the Gauss rule of a Beta law: points in (0, 1) and masses, right for all powers below twice their number.

    The points are the roots of the orthogonal polynomial of degree 3, found as the eigenvalues of its 3 x 3 matrix of
    recurrence coefficients in closed form (the trigonometric solution of a cubic), so that it runs over arrays.

    References
    ----------
    Golub, G. H., Welsch, J. H. (1969). Calculation of Gauss quadrature rules. Mathematics of Computation 23(106),
    221-230.
    """
    # Recurrence of the Jacobi polynomials shifted to [0, 1], weight x^(yes - 1) (1 - x)^(no - 1).
    total = yes + no
    a0 = yes / total
    b1 = yes * no / (total**2 * (total + 1.0))
    a1 = _centre(1.0, yes, no)
    a2 = _centre(2.0, yes, no)
    b2 = 2.0 * (yes + 1.0) * (no + 1.0) * total / ((total + 1.0) * (total + 2.0) ** 2 * (total + 3.0))
    mean = (a0 + a1 + a2) / 3.0
    p = ((a0 - mean) ** 2 + (a1 - mean) ** 2 + (a2 - mean) ** 2 + 2.0 * (b1 + b2)) / 6.0
    det = (a0 - mean) * ((a1 - mean) * (a2 - mean) - b2) - b1 * (a2 - mean)
    angle = np.arccos(np.clip(det / (2.0 * p**1.5), -1.0, 1.0)) / 3.0
    points, masses = [], []
    for turn in range(3):
        x = np.clip(mean + 2.0 * np.sqrt(p) * np.cos(angle + 2.0 * np.pi * turn / 3.0), 1e-9, 1.0 - 1e-9)
        first = x - a0
        second = (x - a1) * first - b1
        mass = 1.0 / (1.0 + first**2 / b1 + second**2 / (b1 * b2))
        points.append(x)
        masses.append(mass)
    return points, masses


def _centre(k: float, yes: Floats, no: Floats) -> Floats:
    """Return the k-th diagonal coefficient (k >= 1) of the recurrence of the shifted Jacobi polynomials."""
    t = 2.0 * k + yes + no - 2.0
    return np.asarray(0.5 + (yes - 1.0 - (no - 1.0)) * (yes + no - 2.0) / (2.0 * t * (t + 2.0)), dtype=float)
