"""The result of a fit: variances, coefficients, and answers about batches at these or any other variances."""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from evenhand.errors import DesignError
from evenhand.panel._blocks import Contraction
from evenhand.panel._mixed_design import TERMS, Design, Floats, Labels
from evenhand.panel._mixed_likelihood import sums_at
from evenhand.panel._mixed_posterior import Posterior, posterior_at
from evenhand.panel._mixed_prepare import Covariates, Prepared
from evenhand.panel._mixed_update import Update, with_sheets
from evenhand.words import say

_LEAST_SHARE: Final = 1e-12  # residual variance over the largest, below which nothing can be solved


@dataclass(frozen=True, slots=True)
class LevelDraws:
    """Levels of every batch at several sets of variances.

    `log_density` has shape (draws,); `level` and `level_sd` have shape (draws, batches).
    """

    log_density: Floats
    level: Floats
    level_sd: Floats


@dataclass(frozen=True, kw_only=True)
class Fit:
    """One attribute fitted: variances, coefficients, and what is believed of each batch and taster.

    Attributes
    ----------
    variances
        Variance by term (batch, taster, batch_taster, pull, residual), in points squared; 0.0 for a term left out.
    log_likelihood
        Restricted log-likelihood, without the density of variance priors; coefficients with a proper prior are
        integrated out, flat ones restricted out with their number taken off in the power of 2 pi.
    coefficients, coefficients_cov
        Coffee means in sorted order, then covariates in the order given.
    batch_effect, batch_sd
        Best prediction of each batch's own effect and its prediction-error standard deviation.
    taster_effect, taster_sd
        The same of each taster.
    levels
        Sorted labels by factor: coffee, batch, taster, batch_taster as (batch, taster) and pull as (batch, pull) pairs,
        covariate. Only levels that were scored are there.
    dropped
        What the data could not tell, as (name, sentence) pairs.
    at_zero
        Terms whose estimate is zero though the data could have told.
    active, log_sd, information
        Terms above zero, the residual last; their log standard deviations; and the observed information about those,
        the curvature of variance priors included: its inverse is the covariance of Laplace's approximation.
    converged, evaluations
        Whether the climb ended at a maximum, and how often the likelihood was evaluated on the way.
    n
        How many scores were used.
    """

    variances: Mapping[str, float]
    log_likelihood: float
    coefficients: Floats
    coefficients_cov: Floats
    batch_effect: Floats
    batch_sd: Floats
    taster_effect: Floats
    taster_sd: Floats
    levels: Mapping[str, tuple[Any, ...]]
    dropped: tuple[tuple[str, str], ...]
    at_zero: tuple[str, ...]
    active: tuple[str, ...]
    log_sd: Floats
    information: Floats
    converged: bool
    evaluations: int
    n: int
    prepared: Prepared

    @property
    def design(self) -> Design:
        """The sorted rows behind this fit."""
        return self.prepared.problem.design

    @cached_property
    def _own(self) -> Posterior:
        """The posterior at the fitted variances."""
        return posterior_at(self.prepared.problem, self._vector(None))

    @cached_property
    def _sums(self) -> Contraction:
        """The blocks' sums at the fitted variances."""
        return sums_at(self.prepared.problem, self._vector(None))

    def posterior(self, variances: Mapping[str, float] | npt.ArrayLike | None = None) -> Posterior:
        """Predict everything at given variances.

        Parameters
        ----------
        variances
            By name (names left out keep the fitted value), or five in the order of TERMS; the fitted ones when None.

        Returns
        -------
        The posterior.

        Raises
        ------
        DesignError
            When a variance is negative or not finite, or the residual's is not above zero.
        """
        return self._own if variances is None else posterior_at(self.prepared.problem, self._vector(variances))

    def posteriors(self, variances: npt.ArrayLike) -> LevelDraws:
        """Predict every batch's level at several sets of variances.

        Parameters
        ----------
        variances
            Shape (draws, 5), in the order of TERMS.

        Returns
        -------
        The levels, one row for each set.
        """
        table = np.atleast_2d(np.asarray(variances, float))
        batches = len(self.levels["batch"])
        density, level, sd = np.empty(len(table)), np.empty((len(table), batches)), np.empty((len(table), batches))
        for row, one in enumerate(table):
            at = posterior_at(self.prepared.problem, self._vector(one))
            density[row], level[row], sd[row] = at.log_density, at.level, at.level_sd
        return LevelDraws(density, level, sd)

    def level(self, batch: Hashable) -> tuple[float, float]:
        """Level of a batch at the house recipe for the panel's mean taster, with its standard deviation."""
        mean, cov = self.joint(batch)
        return float(mean.sum()), float(np.sqrt(max(float(cov.sum()), 0.0)))

    def joint(self, batch: Hashable) -> tuple[Floats, Floats]:
        """Coffee mean, batch effect and panel mean of a batch (3,), with their joint covariance (3, 3)."""
        return self._own.joint(batch)

    def contrast(self, batch_a: Hashable, batch_b: Hashable) -> tuple[float, float]:
        """Level of one batch less that of another, with the standard deviation of the difference."""
        return self._own.contrast(batch_a, batch_b)

    def with_sheets(
        self,
        score: npt.ArrayLike,
        batch: Labels,
        taster: Labels,
        pull: Labels | None = None,
        coffee: Labels | None = None,
        covariates: Covariates | None = None,
        *,
        variances: Mapping[str, float] | npt.ArrayLike | None = None,
    ) -> Update:
        """Refresh what is believed of some batches after further sheets, at given variances, without fitting anew.

        Parameters
        ----------
        score, batch, taster, pull, coffee, covariates
            The further sheets, as in `fit`. A new batch must be of a known coffee; a new taster joins the panel.
        variances
            As in `posterior`; the fitted ones when None.

        Returns
        -------
        The update, which holds the batches that the sheets belong to.
        """
        vector = self._vector(variances)
        sums = self._sums if variances is None else sums_at(self.prepared.problem, vector)
        return with_sheets(self.prepared.problem, vector, sums, score, batch, taster, pull, coffee, covariates)

    def _vector(self, variances: Mapping[str, float] | npt.ArrayLike | None) -> Floats:
        """Variances in the order of TERMS, checked."""
        if variances is None:
            return np.array([self.variances[name] for name in TERMS])
        if isinstance(variances, Mapping):
            for name in variances:
                if name not in TERMS:
                    raise DesignError(
                        say("There is no variance {name}; choose among {terms}.", name=name, terms=", ".join(TERMS))
                    )
            vector = np.array([float(variances.get(name, self.variances[name])) for name in TERMS])
        else:
            vector = np.array(variances, float)
            if vector.shape != (5,):
                raise DesignError(
                    say(
                        "Variances have shape {shape}; give five, in the order {terms}.",
                        shape=vector.shape,
                        terms=", ".join(TERMS),
                    )
                )
        if not np.all(np.isfinite(vector)) or np.any(vector < 0) or vector[4] <= 0:
            raise DesignError(say("Variances must be finite and not negative, the residual's above zero."))
        if vector[4] < _LEAST_SHARE * vector.max():
            raise DesignError(
                say(
                    "The residual variance is below {share:g} of the largest, too little to compute with; raise it.",
                    share=_LEAST_SHARE,
                )
            )
        return vector
