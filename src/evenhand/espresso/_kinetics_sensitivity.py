"""What a gram, a second, a degree more does to the cup, with intervals that carry all that the shots leave open."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from evenhand.espresso._kinetics_fit import KineticsFit
from evenhand.espresso._kinetics_model import Brew, extraction_pct, strength_pct
from evenhand.espresso._kinetics_priors import Kinetics
from evenhand.units import Measured

# Half-width of the central 90 % of a normal distribution, in standard deviations.
Z90 = 1.6448536269514722


def interval90(measured: Measured) -> tuple[float, float]:
    """Give the central 90 % interval of a quantity taken as normal."""
    return measured.value - Z90 * measured.sd, measured.value + Z90 * measured.sd


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """What one change of a pull does; both effects in points (percentages, not shares of the old value).

    Attributes
    ----------
    change
        What was changed and what was held.
    extraction_points, strength_points
        Change in extraction yield and in strength, with the standard uncertainty of the change.
    """

    change: str
    extraction_points: Measured
    strength_points: Measured

    @property
    def extraction_interval(self) -> tuple[float, float]:
        """The 90 % interval of the change in extraction, points."""
        return interval90(self.extraction_points)

    @property
    def strength_interval(self) -> tuple[float, float]:
        """The 90 % interval of the change in strength, points."""
        return interval90(self.strength_points)

    @property
    def sentence(self) -> str:
        """The change in words, with its intervals."""
        parts = []
        for name, value, (low, high) in (
            ("extraction", self.extraction_points, self.extraction_interval),
            ("strength", self.strength_points, self.strength_interval),
        ):
            parts.append(f"{name} {value.value:+.2f} points (90 %: {low:+.2f} to {high:+.2f})")
        return f"{self.change}: {', '.join(parts)}."


def predict_extraction(fit: KineticsFit, brew: Brew) -> Measured:
    """Predict the extraction yield as is, % of the dose; the uncertainty is that of the mean of such pulls."""
    return fit.propagate(lambda kinetics: extraction_pct(kinetics, brew))


def predict_strength(fit: KineticsFit, brew: Brew) -> Measured:
    """Predict the dissolved solids of the beverage, % by mass; the uncertainty is that of the mean of such pulls."""
    return fit.propagate(lambda kinetics: strength_pct(kinetics, brew))


def list_sensitivities(fit: KineticsFit, brew: Brew | None = None) -> tuple[Sensitivity, ...]:
    """List what small changes of a pull do to extraction and strength.

    Parameters
    ----------
    fit
        What is known of the kinetics.
    brew
        The pull that is changed; the reference recipe where none is given.

    Returns
    -------
    tuple of Sensitivity
        1 g of beverage with the time held, then with the flow held; 1 s at the same grind, then by a finer grind;
        1 °C; 1 g of dose at the same beverage and time.

    Notes
    -----
    By a finer grind the time goes with particle size to the power -2 (Kozeny-Carman), and the rates rise with
    `size_exponent`. A grind so fine that the flow turns uneven may lower extraction instead (Cameron et al. 2020,
    Matter 2(3), 631); no model of an even bed shows that.
    """
    base = fit.reference if brew is None else brew
    flow = base.beverage_g / base.time_s
    longer = (base.time_s + 1) / base.time_s
    changes = (
        ("1 g more beverage in the same time", replace(base, beverage_g=base.beverage_g + 1)),
        (
            "1 g more beverage at the same flow",
            replace(base, beverage_g=base.beverage_g + 1, time_s=base.time_s + 1 / flow),
        ),
        ("1 s more at the same grind", replace(base, time_s=base.time_s + 1)),
        (
            "1 s more by a finer grind",
            replace(base, time_s=base.time_s + 1, size_ratio=base.size_ratio * longer**-0.5),
        ),
        ("1 °C hotter water", replace(base, water_c=base.water_c + 1)),
        ("1 g more dose, same beverage and time", replace(base, dose_g=base.dose_g + 1)),
    )
    return tuple(
        Sensitivity(
            words,
            fit.propagate(_difference(extraction_pct, changed, base)),
            fit.propagate(_difference(strength_pct, changed, base)),
        )
        for words, changed in changes
    )


def _difference(quantity: Callable[[Kinetics, Brew], float], changed: Brew, base: Brew) -> Callable[[Kinetics], float]:
    """Difference of a quantity between two pulls, as a function of the kinetics."""
    return lambda kinetics: quantity(kinetics, changed) - quantity(kinetics, base)
