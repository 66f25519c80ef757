"""Milks and plant drinks: the heat they take, what they weigh, and who must not drink them."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from types import MappingProxyType

from evenhand.errors import QuantityError
from evenhand.units import Measured, half_width_to_sd


@dataclass(frozen=True, slots=True, kw_only=True)
class Milk:
    """A milk or plant drink.

    Parameters
    ----------
    name
        As a menu would say it.
    heat_j_per_g_k
        Specific heat capacity, mean over the way from cold to hot, J/(g K).
    density_hot_g_per_ml
        Density at about 60 °C with no air in it, g/mL.
    allergen
        What must be told to a guest, in words.

    Raises
    ------
    QuantityError
        If the heat capacity is not that of something watery (1 to 4.5 J/(g K)) or the density not that of a drink
        (0.9 to 1.2 g/mL).
    """

    name: str
    heat_j_per_g_k: Measured
    density_hot_g_per_ml: Measured
    allergen: str

    def __post_init__(self) -> None:
        if not 1.0 <= self.heat_j_per_g_k.value <= 4.5:
            raise QuantityError(
                f"{self.name}: a milk takes 1 to 4.5 J per gram and kelvin, not {self.heat_j_per_g_k.value:g}."
            )
        if not 0.9 <= self.density_hot_g_per_ml.value <= 1.2:
            raise QuantityError(
                f"{self.name}: a milk weighs 0.9 to 1.2 g per mL, not {self.density_hot_g_per_ml.value:g}."
            )


def heat_capacity_from_label(
    protein_pct: float, fat_pct: float, carbohydrate_pct: float, ash_pct: float = 0.5, *, at_c: float = 32.5
) -> float:
    """Estimate the specific heat capacity of a milk or plant drink from what its label states.

    Parameters
    ----------
    protein_pct, fat_pct, carbohydrate_pct, ash_pct
        Grams in 100 g (fibre counts as carbohydrate, salt as ash); the rest is taken to be water.
    at_c
        Temperature, °C; half way from 5 to 60 °C unless stated.

    Returns
    -------
    float
        J/(g K). Melting of fat is not in it: for whole milk from the fridge this adds a few hundredths.

    Raises
    ------
    QuantityError
        If a share is negative, or all of them leave no water.

    References
    ----------
    Y. Choi and M. R. Okos (1986), Effects of temperature and composition on the thermal properties of foods, in Food
    Engineering and Process Applications 1, 93-101; coefficients from memory.
    """
    solids = (protein_pct, fat_pct, carbohydrate_pct, ash_pct)
    if not all(isfinite(share) and share >= 0 for share in solids) or sum(solids) >= 100:
        raise QuantityError(
            "Protein, fat, carbohydrate and ash must each be 0 g or more in 100 g, and leave some water; "
            f"they are {', '.join(f'{share:g}' for share in solids)}."
        )
    # Columns: constant, linear and square term in °C, J/(g K).
    terms = (
        (100.0 - sum(solids), (4.1762, -9.0864e-5, 5.4731e-6)),
        (protein_pct, (2.0082, 1.2089e-3, -1.3129e-6)),
        (fat_pct, (1.9842, 1.4733e-3, -4.8008e-6)),
        (carbohydrate_pct, (1.5488, 1.9625e-3, -5.9399e-6)),
        (ash_pct, (1.0926, 1.8896e-3, -3.6817e-6)),
    )
    return sum(share / 100.0 * (a + b * at_c + c * at_c * at_c) for share, (a, b, c) in terms)


# Labels and books differ by about this much (half-width of a rectangle). Common practice, no source.
_HEAT_SD = half_width_to_sd(0.08)
_DENSITY_SD = half_width_to_sd(0.01)


def _kind(name: str, heat_j_per_g_k: float, density: float, allergen: str) -> Milk:
    return Milk(
        name=name,
        heat_j_per_g_k=Measured(heat_j_per_g_k, _HEAT_SD),
        density_hot_g_per_ml=Measured(density, _DENSITY_SD),
        allergen=allergen,
    )


_DAIRY = "milk"
# Allergens as Regulation (EU) No 1169/2011, annex II, groups them. Heat capacities: whole milk from memory of dairy
# handbooks (3.93 from fridge to hot, melting of fat included); the rest after Choi and Okos for a common label (from
# memory), semi-skimmed with a little for melting fat, rounded.
# Densities at 60 °C after the same authors for the same labels.
MILKS: Mapping[str, Milk] = MappingProxyType(
    {
        "whole": _kind("whole milk", 3.93, 1.01, _DAIRY),
        "semi-skimmed": _kind("semi-skimmed milk", 3.94, 1.01, _DAIRY),
        "skimmed": _kind("skimmed milk", 3.95, 1.02, _DAIRY),
        "oat": _kind("oat drink", 3.89, 1.01, "oats, a cereal that may hold gluten"),
        "soy": _kind("soy drink", 4.01, 1.00, "soybeans"),
        "almond": _kind("almond drink", 4.06, 1.00, "almonds, which are nuts"),
        "coconut": _kind("coconut drink", 4.07, 0.99, "ask the maker: coconut drinks are often mixed with soy or nuts"),
    }
)
"""Milks by the short name used on the command line."""


def find_milk(kind: str) -> Milk:
    """Look a milk up by its short name.

    Raises
    ------
    QuantityError
        If there is no such milk; the message lists those that are known.
    """
    if kind not in MILKS:
        raise QuantityError(f"There is no milk {kind}; choose among {', '.join(MILKS)}.")
    return MILKS[kind]
