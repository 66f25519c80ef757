"""What is believed of extraction before the shop's own shots: the parameters of `kinetics`, their priors and sources.

One prior a parameter, in working coordinates where it is taken as normal: logarithm for what must be positive, logit
for a share, the number itself for the rest.
"""

from dataclasses import dataclass, fields
from math import exp, isfinite, log

from evenhand.errors import QuantityError

GAS_CONSTANT_J_PER_MOL_K = 8.314462618  # CODATA 2018, exact
KELVIN_AT_0_C = 273.15
# The rates are stated at this temperature. Common practice, no source: the usual set point of an espresso machine.
REFERENCE_WATER_C = 93.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Kinetics:
    """How one coffee, ground one way, gives up its solubles.

    Attributes
    ----------
    soluble_pct
        All that this water could dissolve in the end, % of the dose.
    fast_share
        Share of it in the fast pool (broken cells at the surface); the rest sits in the slow kernels.
    fast_per_s, slow_per_s
        Rates of the two pools at `REFERENCE_WATER_C`, 1/s.
    capacity_ratio
        Grams of saturated liquor that would carry all solubles of a gram of dose.
    held_g_per_g
        Water that the wet bed holds, g per g of dose.
    activation_kj_per_mol
        Activation energy of both rates.
    size_exponent
        Both rates go with particle size to the minus this power.

    Raises
    ------
    QuantityError
        If a value cannot be what it is said to be.
    """

    soluble_pct: float
    fast_share: float
    fast_per_s: float
    slow_per_s: float
    capacity_ratio: float
    held_g_per_g: float
    activation_kj_per_mol: float
    size_exponent: float

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            signed = field.name in ("activation_kj_per_mol", "size_exponent")
            if not (isfinite(value) and (signed or value > 0)):
                raise QuantityError(
                    f"Kinetics: {field.name} must be a finite number{'' if signed else ' above 0'}, not {value}."
                )
        if not self.fast_share < 1:
            raise QuantityError(f"Kinetics: fast_share must lie between 0 and 1, not {self.fast_share}.")

    @property
    def saturated_pct(self) -> float:
        """Strength of saturated liquor, % by mass: what the first drops can reach."""
        return self.soluble_pct / self.capacity_ratio


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed of one parameter before any shot: normal in its working coordinate.

    `value` is in the parameter's own unit; `sd` is in the working coordinate (`log`, `logit` or `linear`).
    """

    name: str
    value: float
    sd: float
    coordinate: str
    unit: str
    source: str

    def to_working(self, value: float) -> float:
        """Turn a value in the parameter's own unit into the working coordinate."""
        if self.coordinate == "log":
            return log(value)
        return log(value / (1 - value)) if self.coordinate == "logit" else value

    def to_own(self, working: float) -> float:
        """Turn a working coordinate into the parameter's own unit."""
        if self.coordinate == "log":
            return exp(working)
        return 1 / (1 + exp(-working)) if self.coordinate == "logit" else working

    def own_slope(self, working: float) -> float:
        """Give the derivative of the own value by the working coordinate."""
        own = self.to_own(working)
        if self.coordinate == "log":
            return own
        return own * (1 - own) if self.coordinate == "logit" else 1.0


PRIORS: tuple[Prior, ...] = (
    Prior(
        "level_pct",
        20.0,
        0.12,
        "log",
        "% of the dose",
        "Common practice, no source: extraction of an espresso at its house recipe.",
    ),
    Prior(
        "fast_share",
        0.55,
        0.50,
        "logit",
        "",
        "From memory: in two-pool models of ground coffee about half of the solubles come fast "
        "(Moroney et al. 2015, Chem. Eng. Sci. 137, 216, for the form).",
    ),
    Prior(
        "fast_per_s",
        0.4,
        0.50,
        "log",
        "1/s",
        "Common practice, no source: the stream is dark for the first third of a pull and pale at its end.",
    ),
    Prior(
        "slow_per_s",
        0.022,
        0.40,
        "log",
        "1/s",
        "Common practice, no source: an espresso stopped at twice its mass gains about a tenth to a fifth in "
        "extraction.",
    ),
    Prior(
        "capacity_ratio",
        1.4,
        0.20,
        "log",
        "g/g",
        "From memory: about 30 % of a roast dissolves (Lockhart 1957) and liquor saturates near 21 % "
        "(212 kg/m3 in Moroney et al. 2015).",
    ),
    Prior(
        "held_g_per_g",
        1.1,
        0.20,
        "log",
        "g/g",
        "Common practice, no source: a spent bed holds about its own mass of water and a little more.",
    ),
    Prior(
        "activation_kj_per_mol",
        15.5,
        6.0,
        "linear",
        "kJ/mol",
        "Diffusion in water goes as temperature over viscosity (Stokes-Einstein): 15.5 kJ/mol near 93 °C. How far "
        "coffee follows is common practice, no source; Batali et al. (2020), Sci. Rep. 10, 16450, find little effect.",
    ),
    Prior(
        "size_exponent",
        1.5,
        0.5,
        "linear",
        "",
        "Between surface to volume (1) and diffusion across a grain (2); common practice, no source for coffee.",
    ),
)
