"""Carry standard uncertainties through any function of several independent quantities, to first order."""

from collections.abc import Callable, Sequence
from math import sqrt

from evenhand.units import Measured


def propagate(function: Callable[..., Sequence[float]], *inputs: Measured) -> tuple[Measured, ...]:
    """Evaluate a function of numbers at measured inputs.

    Parameters
    ----------
    function
        Takes one float an input and returns a fixed number of floats.
    inputs
        Independent quantities.

    Returns
    -------
    tuple of Measured
        One a value returned. The uncertainty adds, in squares, half the difference that each input makes between one
        standard uncertainty above and one below its value.

    Notes
    -----
    JCGM 100:2008 (GUM), 5.1.3, note 2: the difference stands for the partial derivative times the uncertainty.
    """
    centre = [quantity.value for quantity in inputs]
    values = function(*centre)
    squares = [0.0] * len(values)
    for place, quantity in enumerate(inputs):
        if quantity.sd == 0.0:
            continue
        above, below = list(centre), list(centre)
        above[place] += quantity.sd
        below[place] -= quantity.sd
        pairs = zip(function(*above), function(*below), strict=True)
        squares = [total + ((high - low) / 2.0) ** 2 for total, (high, low) in zip(squares, pairs, strict=True)]
    return tuple(Measured(value, sqrt(square)) for value, square in zip(values, squares, strict=True))
