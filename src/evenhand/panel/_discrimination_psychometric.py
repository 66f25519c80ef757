"""How often a taster answers right, given how far apart two coffees really are (Thurstone's model).

Each cup is heard as a number: its true strength plus noise with standard deviation 1. The distance of the two means is
``d_prime`` (no unit: it is counted in standard deviations of one hearing). Every method of testing turns that distance
into its own share of correct answers, the psychometric function of the method; only ``d_prime`` can be compared across
methods.

The sources give these functions as integrals. Here they are in closed form through Owen's function T(h, a), which is
exact and fast. The derivation is short: each slope below is a product of a normal density and a normal distribution,
and T is the integral of just such products.

References
----------
Frijters, Kooistra, Vereijken (1980), "Tables of d' for the triangular method and the 3-AFC signal detection procedure",
Perception & Psychophysics 27, 176-178. Ennis and Jesionka (2011), "The power of sensory discrimination methods
revisited", Journal of Sensory Studies 26, 371-382 (tetrad). Bi (2015), "Sensory Discrimination Tests and
Measurements", 2nd ed., Wiley. Owen (1956), "Tables for computing bivariate normal probabilities", Annals of
Mathematical Statistics 27, 1075-1090.
"""

import math
from collections.abc import Mapping
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri, owens_t

from evenhand.errors import QuantityError
from evenhand.words import say

FloatArray = NDArray[np.float64]

_SQRT2 = math.sqrt(2.0)
_SQRT3 = math.sqrt(3.0)
_SQRT6 = math.sqrt(6.0)
_FARTHEST_D_PRIME = 50.0  # beyond this every method answers right to the last bit of a double


class ForcedChoice(StrEnum):
    """The methods in which a taster must choose, so that guessing has a known share of correct answers.

    The unspecified methods (triangle, duo-trio, tetrad) ask which cups are alike. The specified ones (paired, 3-AFC)
    ask for the cup with more of a named attribute, and so need an attribute that everyone knows.
    """

    TRIANGLE = "triangle"
    DUO_TRIO = "duo-trio"
    PAIRED = "paired"
    THREE_AFC = "3-AFC"
    TETRAD = "tetrad"


_METHOD_WORD: Mapping[str, str] = {
    ForcedChoice.TRIANGLE: say("triangle"),
    ForcedChoice.DUO_TRIO: say("duo-trio"),
    ForcedChoice.PAIRED: say("paired"),
    ForcedChoice.THREE_AFC: say("3-AFC"),
    ForcedChoice.TETRAD: say("tetrad"),
}


def method_word(method: ForcedChoice) -> str:
    """Return what a method is called in a sentence."""
    return _METHOD_WORD.get(method, str(method))


def guess_rate(method: ForcedChoice) -> float:
    """Share of correct answers of a taster who cannot tell the coffees apart.

    Parameters
    ----------
    method
        The test method.

    Returns
    -------
    float
        1/2 for paired and duo-trio, 1/3 for triangle, 3-AFC and tetrad (three ways to split four cups into two pairs).
    """
    return 0.5 if ForcedChoice(method) in (ForcedChoice.PAIRED, ForcedChoice.DUO_TRIO) else 1.0 / 3.0


def proportion_correct(d_prime: ArrayLike, method: ForcedChoice) -> FloatArray:
    """Share of correct answers at a distance ``d_prime``: the psychometric function of the method.

    Parameters
    ----------
    d_prime
        Distance in standard deviations of one hearing, any shape. The paired test and 3-AFC take negative distances
        (the named attribute is stronger in the other coffee); the other methods see only the size of the distance.
    method
        The test method.

    Returns
    -------
    ndarray
        Shares between 0 and 1, in the shape of ``d_prime``.

    Notes
    -----
    With F the standard normal distribution and T Owen's function:

    - paired: F(d / sqrt 2)
    - 3-AFC: F(d / sqrt 2) - 2 T(d / sqrt 2, 1 / sqrt 3)
    - duo-trio: 1 - F(d / sqrt 2) - F(d / sqrt 6) + 2 F(d / sqrt 2) F(d / sqrt 6)
    - triangle: 1 - 4 T(d / sqrt 6, sqrt 3)
    - tetrad: 1 - 8 T(d / sqrt 2, 1 / sqrt 3)
    """
    d = np.asarray(d_prime, dtype=np.float64)
    method = ForcedChoice(method)
    if method is ForcedChoice.PAIRED:
        share = ndtr(d / _SQRT2)
    elif method is ForcedChoice.THREE_AFC:
        share = ndtr(d / _SQRT2) - 2.0 * owens_t(d / _SQRT2, 1.0 / _SQRT3)
    elif method is ForcedChoice.DUO_TRIO:
        near, far = ndtr(d / _SQRT2), ndtr(d / _SQRT6)
        share = 1.0 - near - far + 2.0 * near * far
    elif method is ForcedChoice.TRIANGLE:
        share = 1.0 - 4.0 * owens_t(d / _SQRT6, _SQRT3)
    else:
        share = 1.0 - 8.0 * owens_t(d / _SQRT2, 1.0 / _SQRT3)
    return np.clip(np.asarray(share, dtype=np.float64), 0.0, 1.0)


def proportion_correct_slope(d_prime: ArrayLike, method: ForcedChoice) -> FloatArray:
    """Slope of the psychometric function: change of the share of correct answers for a unit of ``d_prime``.

    Parameters
    ----------
    d_prime
        Distance in standard deviations of one hearing, any shape.
    method
        The test method.

    Returns
    -------
    ndarray
        Slopes in the shape of ``d_prime``. The slope is 0 at 0 for triangle, duo-trio and tetrad: near no difference
        these methods say almost nothing about its size.
    """
    d = np.asarray(d_prime, dtype=np.float64)
    near_density, far_density = _density(d / _SQRT2), _density(d / _SQRT6)
    near, far = ndtr(d / _SQRT2), ndtr(d / _SQRT6)
    method = ForcedChoice(method)
    if method is ForcedChoice.PAIRED:
        slope = near_density / _SQRT2
    elif method is ForcedChoice.THREE_AFC:
        slope = _SQRT2 * near_density * far
    elif method is ForcedChoice.DUO_TRIO:
        slope = near_density * (2.0 * far - 1.0) / _SQRT2 + far_density * (2.0 * near - 1.0) / _SQRT6
    elif method is ForcedChoice.TRIANGLE:
        slope = _SQRT2 / _SQRT3 * far_density * (2.0 * near - 1.0)
    else:
        slope = 2.0 * _SQRT2 * near_density * (2.0 * far - 1.0)
    return np.asarray(slope, dtype=np.float64)


def d_prime_from_proportion(proportion: ArrayLike, method: ForcedChoice) -> FloatArray:
    """Distance ``d_prime`` at which a method gives a share of correct answers: the inverse psychometric function.

    Parameters
    ----------
    proportion
        Shares of correct answers between 0 and 1, any shape.
    method
        The test method.

    Returns
    -------
    ndarray
        Distances in the shape of ``proportion``; 0 at or below the guess rate, infinite at 1.

    Raises
    ------
    QuantityError
        If a share is not between 0 and 1.
    """
    share = np.asarray(proportion, dtype=np.float64)
    if not bool(np.all((share >= 0.0) & (share <= 1.0))):
        raise QuantityError(
            say("A share of correct answers must lie between 0 and 1; give correct answers over all answers.")
        )
    method = ForcedChoice(method)
    if method is ForcedChoice.PAIRED:
        with np.errstate(divide="ignore"):
            return np.asarray(np.maximum(_SQRT2 * ndtri(share), 0.0), dtype=np.float64)
    low = np.zeros(share.shape)
    high = np.full(share.shape, _FARTHEST_D_PRIME)
    for _ in range(60):  # halving 50 sixty times reaches the spacing of doubles; no slope is needed, which is 0 at 0
        middle = 0.5 * (low + high)
        below = proportion_correct(middle, method) < share
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    distance = np.where(share <= guess_rate(method), 0.0, 0.5 * (low + high))
    return np.asarray(np.where(share >= 1.0, np.inf, distance), dtype=np.float64)


def discriminators_from_proportion(proportion: ArrayLike, method: ForcedChoice) -> FloatArray:
    """Share of discriminators behind a share of correct answers (Abbott's correction for guessing).

    Parameters
    ----------
    proportion
        Shares of correct answers, any shape.
    method
        The test method.

    Returns
    -------
    ndarray
        Share of answers that were told and not guessed, 0 at or below the guess rate.

    Notes
    -----
    The model behind it is cruder than Thurstone's: an answer is either known for certain or a pure guess. It depends
    on the method: the same two coffees give a larger share in 3-AFC than in a triangle. It is kept because ISO 4120
    and its sisters set their limits in it.
    """
    guess = guess_rate(method)
    share = np.asarray(proportion, dtype=np.float64)
    return np.asarray(np.maximum((share - guess) / (1.0 - guess), 0.0), dtype=np.float64)


def proportion_from_discriminators(discriminators: ArrayLike, method: ForcedChoice) -> FloatArray:
    """Share of correct answers when some tasters tell the coffees apart and the others guess.

    Parameters
    ----------
    discriminators
        Share of discriminators between 0 and 1, any shape.
    method
        The test method.

    Returns
    -------
    ndarray
        Shares of correct answers.

    Raises
    ------
    QuantityError
        If a share is not between 0 and 1.
    """
    share = np.asarray(discriminators, dtype=np.float64)
    if not bool(np.all((share >= 0.0) & (share <= 1.0))):
        raise QuantityError(say("A share of discriminators must lie between 0 and 1, as in 0.3 for 30 %."))
    guess = guess_rate(method)
    return np.asarray(guess + (1.0 - guess) * share, dtype=np.float64)


def _density(x: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi), dtype=np.float64)
