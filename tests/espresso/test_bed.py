"""The bed: ratios of Darcy and Kozeny-Carman, permeability read off a pull, and uneven flow."""

from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import DesignError, QuantityError
from evenhand.espresso.bed import (
    Change,
    Exponents,
    bed_depth_mm,
    predict_time,
    read_evenness,
    read_permeability_m2,
    size_change,
    size_seen_um,
)
from evenhand.units import Measured

RATIO = st.floats(0.7, 1.4)
TIME = st.floats(10.0, 60.0)


class TestTime:
    def test_28_s_from_32_s_takes_grains_6_9_percent_coarser(self):
        """Kozeny-Carman: time goes with size to the power -2, so (32/28)^(1/2) = 1.069."""
        size = size_change(32.0, 28.0)
        assert size.value == pytest.approx(1.069, abs=5e-4)
        assert size.sd > 0

    def test_15_g_for_16_g_takes_32_s_to_30_s(self):
        """Darcy: depth, and so time, is proportional to dose in one basket."""
        assert predict_time(Measured(32.0), Change(dose=15 / 16)).time_s.value == pytest.approx(30.0, abs=1e-9)

    def test_pressure_carries_the_range_of_its_exponent(self):
        """28 s at 9 bar after 7 bar: between 28 (7/9) = 21.8 s and 28 (7/9)^0.5 = 24.7 s."""
        found = predict_time(Measured(28.0), Change(pressure=9 / 7))
        assert found.range_s == pytest.approx((28 * 7 / 9, 28 * (7 / 9) ** 0.5))
        assert found.range_s[0] < found.time_s.value < found.range_s[1]
        assert found.time_s.sd > 0

    def test_a_known_pressure_exponent_has_no_range(self):
        found = predict_time(Measured(28.0), Change(pressure=9 / 7), Exponents(pressure=(1.0, 1.0)))
        assert found.range_s[0] == pytest.approx(found.range_s[1])

    @given(TIME, TIME)
    def test_size_change_brings_the_time_home(self, time_s, target_s):
        found = predict_time(Measured(time_s), Change(size=size_change(time_s, target_s).value))
        assert found.time_s.value == pytest.approx(target_s, rel=1e-9)

    @given(TIME, RATIO, RATIO, RATIO, RATIO, RATIO)
    def test_a_change_and_its_reverse_cancel(self, time_s, size, dose, beverage, pressure, diameter):
        there = Change(size=size, dose=dose, beverage=beverage, pressure=pressure, basket_diameter=diameter)
        back = Change(
            size=1 / size, dose=1 / dose, beverage=1 / beverage, pressure=1 / pressure, basket_diameter=1 / diameter
        )
        once = predict_time(Measured(time_s), there).time_s
        assert predict_time(once, back).time_s.value == pytest.approx(time_s, rel=1e-9)

    def test_same_ratios_as_darcys_law_written_out(self):
        """Time = m mu L / (rho k A dp), with L = dose / (bulk A) and k ~ size², worked out for two whole pulls."""

        def time(dose, beverage, size, bar, diameter):
            area = pi * diameter**2 / 4
            return beverage * (dose / area) / (size**2 * area * bar)

        change = Change(size=1.1, dose=18 / 16, beverage=40 / 32, pressure=9 / 6, basket_diameter=54 / 58)
        darcy = Exponents(pressure=(1.0, 1.0))
        found = predict_time(Measured(27.0), change, darcy).time_s.value / 27.0
        assert found == pytest.approx(time(18, 40, 1.1, 9, 54) / time(16, 32, 1.0, 6, 58), rel=1e-12)

    def test_cooler_water_runs_slower_by_its_viscosity(self):
        """IAPWS R12-08 at 0.8 MPa: 0.31436 mPa s at 90 °C, 0.29727 at 95 °C."""
        found = predict_time(Measured(28.0), Change(water_c=(95.0, 90.0)))
        assert found.time_s.value == pytest.approx(28 * 0.31436 / 0.29727, rel=1e-3)

    @given(RATIO.filter(lambda r: abs(r - 1) > 0.01))
    def test_the_further_the_change_the_less_sure(self, dose):
        near = predict_time(Measured(28.0, 1.0), Change(dose=dose**0.5)).time_s
        far = predict_time(Measured(28.0, 1.0), Change(dose=dose)).time_s
        assert far.sd / far.value > near.sd / near.value > 1 / 28

    def test_what_cannot_be_is_refused(self):
        with pytest.raises(QuantityError, match="dose"):
            Change(dose=0.0)
        with pytest.raises(QuantityError, match="time"):
            predict_time(Measured(0.0), Change())
        with pytest.raises(QuantityError, match="times"):
            size_change(28.0, -1.0)
        with pytest.raises(QuantityError, match="exponent"):
            Exponents(pressure=(1.0, 0.5))
        with pytest.raises(QuantityError, match="no grind"):
            size_change(28.0, 30.0, Exponents(size=Measured(0.0)))


PULL = {
    "dose_g": Measured(16.0, 0.1),
    "beverage_g": Measured(32.0, 0.1),
    "time_s": Measured(28.0, 0.2),
    "pressure_bar": Measured(7.0, 0.2),
    "water_c": 92.5,
    "diameter_mm": 58.0,
}


class TestPermeability:
    def test_depth_of_16_g_in_58_mm(self):
        """16 g at 0.4 g/ml is 40 ml, over pi 2.9² cm²: 1.514 cm."""
        assert bed_depth_mm(16.0, 58.0).value == pytest.approx(40 / (pi * 2.9**2) * 10)

    def test_gives_back_the_flow_by_darcys_law(self):
        k = read_permeability_m2(**PULL)
        area, depth = pi * 0.029**2, 0.4e-1 * 1e-3 / (pi * 0.029**2)
        flow_m3_s = k.value * area * 7e5 / (0.3056e-3 * depth)
        assert flow_m3_s * 963.9 * 1e3 == pytest.approx(32 / 28, rel=1e-3)

    def test_uncertainty_is_the_bulk_densitys_above_all(self):
        k = read_permeability_m2(**PULL)
        assert 0.1 < k.sd / k.value < 0.12

    def test_size_is_the_one_of_kozeny_and_carman(self):
        """Permeability e³ d² / (180 (1 - e)²) of grains of 100 µm at e = 0.4: 9.877e-12 m²."""
        assert size_seen_um(Measured(9.8765e-12), Measured(0.4)).value == pytest.approx(100.0, rel=1e-4)

    def test_uncertainty_of_the_size_by_drawing(self):
        rng = np.random.default_rng(7)
        k, e = rng.normal(3e-15, 1e-16, 20_000), rng.normal(0.3, 0.01, 20_000)
        drawn = np.std(1e6 * np.sqrt(180 * k * (1 - e) ** 2 / e**3))
        assert size_seen_um(Measured(3e-15, 1e-16), Measured(0.3, 0.01)).sd == pytest.approx(drawn, rel=0.05)

    @pytest.mark.parametrize("name", ["beverage_g", "time_s", "pressure_bar", "diameter_mm", "dose_g"])
    def test_nothing_may_be_nought(self, name):
        nought = 0.0 if name == "diameter_mm" else Measured(0.0)
        with pytest.raises(QuantityError):
            read_permeability_m2(**{**PULL, name: nought})

    def test_share_must_be_a_share(self):
        with pytest.raises(QuantityError, match="share"):
            size_seen_um(Measured(1e-15), Measured(1.0))


def invent(rng, slope, scatter_fine=0.03, cells=12, pulls=4):
    """Invent cells at settings 0 to 3 and return the arguments of read_evenness."""
    fineness = np.repeat(np.arange(cells) % 4, pulls).astype(float)
    cell = np.repeat(np.arange(cells), pulls)
    log_ratio = rng.normal(0, 0.03, cells * pulls)
    extraction = 19 + slope * fineness + 6 * log_ratio + rng.normal(0, 0.2, cells)[cell]
    spread = np.where(fineness > 1.5, scatter_fine, 0.03)
    return {
        "fineness": fineness,
        "extraction_pct": extraction + rng.normal(0, 0.2, cells * pulls),
        "log_ratio": log_ratio,
        "log_time": 0.06 * fineness + spread * rng.normal(size=cells * pulls),
        "group": np.repeat("A", cells * pulls),
        "cell": cell,
    }


class TestEvenness:
    def test_even_flow_gives_no_sign(self):
        found = read_evenness(**invent(np.random.default_rng(1), slope=0.3))
        assert not found.uneven
        assert found.describe() == ""
        assert found.extraction_per_step.value == pytest.approx(0.3, abs=3 * found.extraction_per_step.sd)

    def test_finer_that_extracts_less_is_read_as_uneven(self):
        found = read_evenness(**invent(np.random.default_rng(2), slope=-0.5))
        assert found.uneven
        assert "lowered extraction" in found.describe()
        assert "Cameron" in found.describe()

    def test_finer_that_scatters_more_is_read_as_uneven(self):
        found = read_evenness(**invent(np.random.default_rng(3), slope=0.3, scatter_fine=0.12))
        assert found.uneven
        assert "scattered" in found.describe()
        assert "lowered" not in found.describe()

    def test_slope_agrees_with_a_plain_regression(self):
        """scipy.stats.linregress over the means of the cells, where the ratio is always the recipe's."""
        from scipy import stats

        given_ = invent(np.random.default_rng(4), slope=-0.1) | {"log_ratio": np.zeros(48)}
        found = read_evenness(**given_)
        means = [np.mean(given_["extraction_pct"][given_["cell"] == c]) for c in range(12)]
        plain = stats.linregress(np.arange(12) % 4, means, alternative="less")
        assert found.extraction_per_step.value == pytest.approx(plain.slope)
        assert found.extraction_per_step.sd == pytest.approx(plain.stderr)
        assert found.p_finer_lowers == pytest.approx(1 - plain.pvalue)

    def test_scatter_agrees_with_the_f_distribution(self):
        from scipy import stats

        given_ = invent(np.random.default_rng(5), slope=0.0, scatter_fine=0.05)
        found = read_evenness(**given_)
        within = {c: np.var(given_["log_time"][given_["cell"] == c], ddof=1) for c in range(12)}
        fine, coarse = (np.mean([within[c] for c in range(12) if (c % 4 > 1.5) is side]) for side in (True, False))
        assert found.scatter_ratio == pytest.approx((fine / coarse) ** 0.5)
        assert found.p_finer_scatters == pytest.approx(stats.f(18, 18).cdf(fine / coarse))

    def test_one_setting_tells_nothing(self):
        given_ = invent(np.random.default_rng(6), slope=0.0)
        found = read_evenness(**{**given_, "fineness": np.zeros(48)})
        assert found.extraction_per_step is None
        assert found.p_finer_scatters is None
        assert not found.uneven

    def test_without_dissolved_solids_only_the_scatter_is_read(self):
        given_ = invent(np.random.default_rng(7), slope=-0.5)
        found = read_evenness(**{**given_, "extraction_pct": np.full(48, np.nan)})
        assert found.extraction_per_step is None
        assert found.scatter_ratio is not None

    def test_false_alarms_are_rare(self):
        rng = np.random.default_rng(8)
        alarms = sum(read_evenness(**invent(rng, slope=0.0)).uneven for _ in range(200))
        # Two signs at 2.5 % each, even where finer gains nothing at all.
        assert alarms <= 200 * 0.05 + 3 * (200 * 0.05 * 0.95) ** 0.5

    def test_lengths_must_agree(self):
        with pytest.raises(DesignError):
            read_evenness(**{**invent(np.random.default_rng(9), slope=0.0), "fineness": [1.0]})

    def test_no_pull_at_all(self):
        none = {name: [] for name in ("fineness", "extraction_pct", "log_ratio", "log_time", "group", "cell")}
        assert not read_evenness(**none).uneven
