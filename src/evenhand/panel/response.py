"""What a deviation from the house recipe does to the cup: covariates for the panel's model, with priors that say why.

The shop's own sheets teach the response, over all its coffees at once; where they say little, the published direction
holds. Four covariates carry a pull's deviation:

* ``log_ratio``: natural logarithm of the pull's ratio over the recipe's;
* ``log_time``: natural logarithm of the pull's time over the recipe's;
* ``water``: water temperature less the recipe's, °C;
* ``strength``: natural logarithm of measured dissolved solids, less what ratio and time explain, within a batch.

Extraction needs no covariate of its own: its logarithm is that of strength plus that of ratio.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError
from evenhand.words import say

__all__ = ["COVARIATES", "EffectPrior", "Response", "build", "effect_priors"]

FloatArray = NDArray[np.float64]

COVARIATES = ("log_ratio", "log_time", "water", "strength")

# Fewer pulls than this cannot say what range was seen; the prior alone then carries the doubt.
_PULLS_FOR_A_RANGE = 8
# A covariate is past what was seen when fewer than three pulls reach that far on its side, and it lies further from the
# recipe than three times the usual spread (median absolute deviation, scaled to an s.d.).
_USUAL_SPREADS = 3.0

SOURCES = {
    "log_ratio": (
        "Schmieder et al. (2023), Foods 12(15) 2871: the yield of the beverage is the main lever on what is extracted. "
        "The direction for each attribute is common practice, no source."
    ),
    "log_time": "Common practice, no source: a slow pull leans bitter and full, a fast one sour and thin.",
    "water": (
        "Batali et al. (2020), Scientific Reports 10 16450, and Klotz et al. (2020), Foods 9(1) 36: at equal strength "
        "and extraction the brew temperature does little; the sign is left open."
    ),
    "strength": "Common practice, no source: a stronger cup tastes fuller and more bitter.",
}

# Mean effect by kind of attribute, in shares of the scale per unit of (log_ratio, log_time, strength). One unit of
# log_ratio is a factor of 2.7, so 0.15 means: a pull 10 % long moves a 0 to 10 scale by 0.14 points.
_KINDS: tuple[tuple[tuple[str, ...], tuple[float, float, float]], ...] = (
    (("bitter", "ashy", "astring", "dry", "harsh"), (0.15, 0.20, 0.10)),
    (("acid", "sour", "bright"), (-0.15, -0.15, 0.00)),
    (("body", "mouth", "texture", "weight"), (-0.20, 0.10, 0.20)),
    (("strength", "intens", "coffee"), (-0.20, 0.10, 0.20)),
    (("roast", "smok"), (0.00, 0.10, 0.00)),
)
_SD = {"log_ratio": 0.25, "log_time": 0.25, "water": 0.01, "strength": 0.25}
# Common practice, no source: in a small milk drink the coffee is about a quarter of what is tasted, and what a pull
# did is heard at roughly half its size.
_MILK_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class EffectPrior:
    """What is believed of one covariate's effect on one attribute before the shop's own sheets.

    `mean` and `sd` are in points of the scale per unit of the covariate.
    """

    covariate: str
    mean: float
    sd: float
    source: str


def effect_priors(attribute: str, service: str, scale_low: float, scale_high: float) -> tuple[EffectPrior, ...]:
    """Give the prior of each covariate's effect on an attribute, in the order of `COVARIATES`.

    Parameters
    ----------
    attribute
        The shop's own name; known stems (bitter, acid, body ...) get a direction, others a mean of 0.
    service
        black, milk or bowl.
    scale_low, scale_high
        Ends of the scale, in points.

    Raises
    ------
    DesignError
        If the scale has no width.
    """
    width = scale_high - scale_low
    if not width > 0:
        raise DesignError(
            say(
                "The scale of {attribute} runs from {scale_low:g} to {scale_high:g}; it needs a width.",
                attribute=attribute,
                scale_low=scale_low,
                scale_high=scale_high,
            )
        )
    lowered = attribute.lower()
    by_kind = next((effects for stems, effects in _KINDS if any(stem in lowered for stem in stems)), (0.0, 0.0, 0.0))
    means = {"log_ratio": by_kind[0], "log_time": by_kind[1], "water": 0.0, "strength": by_kind[2]}
    share = _MILK_SHARE if service == "milk" else 1.0
    return tuple(
        EffectPrior(name, means[name] * width * share, _SD[name] * width * share, SOURCES[name]) for name in COVARIATES
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """The covariates of a set of pulls, ready for `panel.mixed`.

    Attributes
    ----------
    names
        Column names: those of `COVARIATES` that vary, then one ``beyond_...`` column for each that left what was seen.
    columns
        Values, shape (pulls, columns); 0 is the house recipe.
    base
        For each column, the covariate of `COVARIATES` that it belongs to.
    beyond
        For each pull, the covariates in which it lies outside what the shop's other pulls cover.
    """

    names: tuple[str, ...]
    columns: FloatArray
    base: tuple[str, ...]
    beyond: tuple[tuple[str, ...], ...]

    def priors(
        self, attribute: str, service: str, scale_low: float, scale_high: float
    ) -> tuple[FloatArray, FloatArray]:
        """Give prior means and standard deviations of the columns' effects, each of shape (columns,).

        A ``beyond_...`` column starts from a mean of 0: past what was seen the slope may bend either way.
        """
        by_name: Mapping[str, EffectPrior] = {
            prior.covariate: prior for prior in effect_priors(attribute, service, scale_low, scale_high)
        }
        pairs = zip(self.names, self.base, strict=True)
        mean = [by_name[base].mean if name == base else 0.0 for name, base in pairs]
        return np.array(mean, dtype=float), np.array([by_name[base].sd for base in self.base], dtype=float)


def strength_left_over(tds_pct: ArrayLike, log_ratio: ArrayLike, log_time: ArrayLike, batch: ArrayLike) -> FloatArray:
    """Find how much stronger each pull was than ratio and time explain, against its own batch.

    Only differences within a batch count: what all pulls of a batch share is the roast's own, and judging it is the
    point. The slope on ratio is learned within batches with a prior of -0.8 (s.d. 0.3; common practice, no source: a
    longer pull is weaker, a little less than in proportion), that on time with a prior of 0.1 (s.d. 0.2).

    Parameters
    ----------
    tds_pct
        Dissolved solids, %, shape (pulls,), NaN where not measured.
    log_ratio, log_time
        As in the module's list, shape (pulls,).
    batch
        Batch of each pull, shape (pulls,).

    Returns
    -------
    ndarray
        Natural-logarithm units, shape (pulls,); 0 where not measured or alone in its batch.
    """
    tds = np.asarray(tds_pct, dtype=float)
    x = np.column_stack([np.asarray(log_ratio, dtype=float), np.asarray(log_time, dtype=float)])
    left = np.zeros(len(tds))
    known = np.flatnonzero(np.isfinite(tds) & (tds > 0))
    if len(known) < 2:
        return left
    _, index = np.unique(np.asarray(batch)[known], return_inverse=True)
    count = np.bincount(index).astype(float)

    def centred(values: FloatArray) -> FloatArray:
        return np.asarray(values - (np.bincount(index, values) / count)[index], dtype=float)

    y = centred(np.log(tds[known]))
    w = np.column_stack([centred(x[known, 0]), centred(x[known, 1])])
    # A reading of 10 % with 0.1 point has 1 % noise; 3 % covers what else moves a shot.
    noise = 0.03
    precision = np.diag([1 / 0.3**2, 1 / 0.2**2])
    slope = np.linalg.solve(w.T @ w / noise**2 + precision, w.T @ y / noise**2 + precision @ np.array([-0.8, 0.1]))
    left[known] = y - w @ slope
    return left


def build(
    *,
    ratio: ArrayLike,
    recipe_ratio: ArrayLike,
    time_s: ArrayLike,
    recipe_time_s: ArrayLike,
    water_c: ArrayLike,
    recipe_water_c: ArrayLike,
    tds_pct: ArrayLike,
    batch: ArrayLike,
) -> Response:
    """Turn pulls and their recipes into covariates.

    Parameters
    ----------
    ratio, recipe_ratio
        Grams of beverage per gram of dose, shape (pulls,).
    time_s, recipe_time_s
        Seconds, shape (pulls,).
    water_c, recipe_water_c
        °C, shape (pulls,), NaN where not measured or not stated: the pull then counts as on recipe.
    tds_pct
        Dissolved solids, %, shape (pulls,), NaN where not measured.
    batch
        Batch of each pull, shape (pulls,).

    Raises
    ------
    DesignError
        If a ratio or a time is not positive.
    """
    positive = {"ratio": ratio, "recipe_ratio": recipe_ratio, "time_s": time_s, "recipe_time_s": recipe_time_s}
    for name, values in positive.items():
        if not np.all(np.asarray(values, dtype=float) > 0):
            raise DesignError(say("Every {name} of a pull must be more than 0.", name=name))
    log_ratio = np.log(np.asarray(ratio, dtype=float) / np.asarray(recipe_ratio, dtype=float))
    log_time = np.log(np.asarray(time_s, dtype=float) / np.asarray(recipe_time_s, dtype=float))
    water = np.asarray(water_c, dtype=float) - np.asarray(recipe_water_c, dtype=float)
    water = np.where(np.isfinite(water), water, 0.0)
    strength = strength_left_over(tds_pct, log_ratio, log_time, batch)
    by_name = dict(zip(COVARIATES, (log_ratio, log_time, water, strength), strict=True))
    names = [name for name in COVARIATES if np.any(np.abs(by_name[name]) > 1e-12)]
    columns = [by_name[name] for name in names]
    base = list(names)
    beyond: list[list[str]] = [[] for _ in log_ratio]
    for name in tuple(names):
        excess = _excess(by_name[name])
        if np.any(excess):
            names.append(f"beyond_{name}")
            columns.append(excess)
            base.append(name)
            for pull in np.flatnonzero(excess):
                beyond[pull].append(name)
    return Response(
        names=tuple(names),
        columns=np.column_stack(columns) if columns else np.zeros((len(log_ratio), 0)),
        base=tuple(base),
        beyond=tuple(tuple(covariates) for covariates in beyond),
    )


def _excess(values: FloatArray) -> FloatArray:
    """How far each value lies past what was seen on its side, 0 inside."""
    if len(values) < _PULLS_FOR_A_RANGE:
        return np.zeros(len(values))
    ordered = np.sort(values)
    usual = _USUAL_SPREADS * 1.4826 * float(np.median(np.abs(values)))
    low, high = min(ordered[2], -usual), max(ordered[-3], usual)
    return np.asarray(np.maximum(values - high, 0.0) + np.minimum(values - low, 0.0), dtype=float)
