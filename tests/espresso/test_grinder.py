"""The grinder is learned exactly as Bayes says, forwards as well as at once, and its forecasts are honest."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.errors import DesignError, QuantityError
from evenhand.espresso._grinder_rows import log_time_at_reference_water, shared_columns
from evenhand.espresso.grinder import BELIEFS, SHARED, Scatter, Shots, find_step, learn, parse_setting

ONE = [Scatter(drift=0.15, batch=1.2)]
PLAIN = {"scatters": ONE, "outlier_sds": np.inf}


def invent(rng, pulls=120, days=12, slope=-0.06, scatter=0.05, drift=0.0075, batch_sd=0.06, setting=None):
    """Invent pulls on a grinder whose steps are 0.1 and whose slope a step is known."""
    day = np.sort(rng.integers(0, days, pulls)).astype(float)
    nth = np.arange(pulls) - np.searchsorted(day, day).astype(float)
    coffee = rng.integers(0, 2, pulls)
    batch = coffee * 10 + (day // 6).astype(int)
    level = np.cumsum(rng.normal(0, drift, days))[day.astype(int)]
    if setting is None:
        setting = np.round(4.5 + rng.integers(-2, 3, pulls) * 0.1, 1)
    dose, beverage = rng.normal(16, 0.2, pulls), rng.normal(32, 1.0, pulls)
    log_time = np.log(28) + slope * (setting - 4.5) / 0.1 + level + np.log(dose / 16) + 0.9 * np.log(beverage / 32)
    log_time += 0.1 * coffee + rng.normal(0, batch_sd, 100)[batch] + rng.normal(0, scatter, pulls)
    return Shots(
        day=day,
        nth=nth,
        rest_days=7.0 + day % 6,
        coffee=coffee.astype(str),
        batch=batch.astype(str),
        setting=setting,
        dose_g=dose,
        beverage_g=beverage,
        time_s=np.exp(log_time),
        pressure_bar=rng.normal(7, 0.2, pulls),
        water_c=rng.normal(92.5, 0.4, pulls),
    )


class TestSettings:
    @pytest.mark.parametrize(
        ("text", "number"),
        [("4.6", 4.6), ("4,6", 4.6), (" 12 ", 12.0), ("-3", -3.0), (".5", 0.5), ("5.", 5.0)],
    )
    def test_numbers_with_point_or_comma(self, text, number):
        assert parse_setting(text) == number

    @pytest.mark.parametrize("text", [None, "", "B 14", "2 1/2", "4.6.1", "3+2", "four", "1e3", "nan", "٣"])
    def test_all_else_is_no_number(self, text):
        assert parse_setting(text) is None

    @pytest.mark.parametrize(
        ("settings", "step"),
        [
            ([4.6, 4.7, 5.0], 0.1),
            ([4.0, 4.5, 6.0], 0.5),
            ([12, 14, 18], 2.0),
            ([1.25, 1.5], 0.25),
            ([4.6, np.nan], None),
        ],
    )
    def test_step_is_what_all_differences_are_made_of(self, settings, step):
        assert find_step(np.array(settings, dtype=float)) == step

    @pytest.mark.parametrize(("setting", "step"), [(4.6, 0.1), (12.0, 1.0), (4.25, 0.01)])
    def test_one_setting_alone_is_read_to_its_last_figure(self, setting, step):
        shots = invent(np.random.default_rng(1), pulls=3, setting=np.full(3, setting))
        assert learn(shots).reference.step == pytest.approx(step)


class TestLearning:
    def test_agrees_with_least_squares_solved_at_once(self):
        """One dense system by numpy: a level a day with its walk; what is believed beforehand as further rows."""
        shots = invent(np.random.default_rng(1))
        grinder = learn(shots, **PLAIN)
        x, y = shared_columns(shots, grinder.reference), log_time_at_reference_water(shots, grinder.reference)
        days, day = np.unique(shots.day, return_inverse=True)
        coffee, batch = (np.unique(label, return_inverse=True)[1] for label in (shots.coffee, shots.batch))
        design = np.hstack([np.eye(len(days))[day], x[:, 1:], np.eye(2)[coffee], np.eye(batch.max() + 1)[batch]])
        sds = np.array([BELIEFS[n].sd for n in SHARED[1:]] + [0.2] * 2 + [1.2 * 0.05] * (batch.max() + 1)) / 0.05
        means = np.zeros(len(sds))
        means[: len(SHARED) - 1] = [BELIEFS[n].mean for n in SHARED[1:]]
        first = np.eye(len(days))[:1] / (BELIEFS["level"].sd / 0.05)
        steps = np.diff(np.eye(len(days)), axis=0) / (0.15 * np.sqrt(np.diff(days)))[:, None]
        walk = np.vstack([first, steps])
        prior = np.block([[walk, np.zeros((len(days), len(sds)))], [np.zeros((len(sds), len(days))), np.diag(1 / sds)]])
        right = np.concatenate([first[0, :1] * BELIEFS["level"].mean, np.zeros(len(days) - 1), means / sds])
        full = np.vstack([design, prior])
        solution = np.linalg.lstsq(full, np.concatenate([y, right]), rcond=None)[0]
        shape = np.linalg.inv(full.T @ full)
        pick = np.arange(len(days) - 1, len(days) + len(SHARED) - 1)
        assert grinder.mean[0, : len(SHARED)] == pytest.approx(solution[pick], abs=1e-9)
        assert grinder.shape[0][: len(SHARED), : len(SHARED)] == pytest.approx(shape[np.ix_(pick, pick)], abs=1e-8)
        left = np.concatenate([y, right]) - full @ solution
        assert grinder.squares[0] == pytest.approx(6 * 0.05**2 + left @ left, rel=1e-9)

    @settings(max_examples=20)
    @given(st.integers(0, 2**32 - 1), st.integers(2, 30))
    def test_pull_by_pull_is_the_same_as_all_at_once(self, seed, pulls):
        shots = invent(np.random.default_rng(seed), pulls=pulls, days=6)
        whole = learn(shots, step=0.1, **PLAIN)
        order = np.lexsort((shots.nth, shots.day))
        start = learn(shots, step=0.1, **PLAIN)
        grinder = learn(shots.take(order[:1]), step=0.1, **PLAIN)
        # The reference is chosen from what is there at the start; the same one is given to both.
        empty = replace(grinder, reference=start.reference)
        grinder = learn_from(empty, shots.take(order[:1]))
        for i in order[1:]:
            grinder = grinder.update(shots.take(np.array([i])))
        assert grinder.mean == pytest.approx(whole.mean, abs=1e-8)
        assert grinder.squares == pytest.approx(whole.squares, rel=1e-8)
        assert grinder.log_likelihood == pytest.approx(whole.log_likelihood, abs=1e-6)

    def test_likelihood_of_a_day_is_the_multivariate_t(self):
        """scipy.stats.multivariate_t: what the prior says of a day's pulls together."""
        from scipy import stats

        shots = invent(np.random.default_rng(2), pulls=8, days=1)
        grinder = learn(shots, **PLAIN)
        x, y = shared_columns(shots, grinder.reference), log_time_at_reference_water(shots, grinder.reference)
        same = [(label[:, None] == label[None, :]).astype(float) for label in (shots.coffee, shots.batch)]
        shared = x @ np.diag([(BELIEFS[n].sd / 0.05) ** 2 for n in SHARED]) @ x.T
        covariance = np.eye(8) + shared + (0.2 / 0.05) ** 2 * same[0] + 1.2**2 * same[1]
        mean = x @ [BELIEFS[n].mean for n in SHARED]
        expected = stats.multivariate_t(mean, 0.05**2 * covariance, df=6).logpdf(y)
        assert grinder.log_likelihood[0] == pytest.approx(expected, rel=1e-9)

    def test_finds_slope_exponents_and_scatter(self):
        shots = invent(np.random.default_rng(3), pulls=2000, days=60)
        grinder = learn(shots)
        slope = grinder.coefficient("setting")
        assert slope.value == pytest.approx(-0.06, abs=3 * slope.sd)
        assert slope.sd < 0.002
        assert grinder.coefficient("dose").value == pytest.approx(1.0, abs=3 * grinder.coefficient("dose").sd)
        assert grinder.scatter == pytest.approx(0.05, rel=0.1)
        assert grinder.p_higher_is_finer < 1e-6

    def test_weights_favour_the_drift_that_was_there(self):
        steady = learn(invent(np.random.default_rng(4), pulls=1500, days=60, drift=0.0))
        walking = learn(invent(np.random.default_rng(4), pulls=1500, days=60, drift=0.03))
        drifts = np.array([s.drift for s in steady.scatters])
        assert walking.weight @ drifts > 0.4
        assert steady.weight @ drifts < 0.1
        assert steady.weight.sum() == pytest.approx(1.0)

    def test_a_setting_chosen_to_follow_the_drift_does_not_hide_the_slope(self):
        """A barista who grinds finer when shots run fast: time and setting hardly correlate, yet the slope shows."""
        rng = np.random.default_rng(5)
        level = np.cumsum(rng.normal(0, 0.03, 60))
        day = np.repeat(np.arange(60), 20)
        setting = np.round(4.5 + (level[day] / 0.06 + rng.integers(-1, 2, 1200)) * 0.1, 1)
        made = invent(rng, pulls=1200, days=60, drift=0.0, setting=setting)
        shots = replace(made, day=day.astype(float), time_s=made.time_s * np.exp(level[day]))
        assert abs(np.corrcoef(setting, np.log(shots.time_s))[0, 1]) < 0.4
        slope = learn(shots).coefficient("setting")
        assert slope.value == pytest.approx(-0.06, abs=4 * slope.sd)

    def test_a_mishap_counts_less(self):
        shots = invent(np.random.default_rng(6))
        time_s = shots.time_s.copy()
        time_s[60] *= 3
        spoilt = replace(shots, time_s=time_s)
        slopes = [learn(s, outlier_sds=z).coefficient("setting").value for s, z in ((shots, 3.0), (spoilt, 3.0))]
        careless = learn(spoilt, outlier_sds=np.inf).coefficient("setting").value
        assert abs(slopes[1] - slopes[0]) < 0.5 * abs(careless - slopes[0])
        assert learn(spoilt).played_down > learn(shots).played_down

    def test_pulls_without_a_setting_are_passed_over(self):
        shots = invent(np.random.default_rng(7))
        setting = shots.setting.copy()
        setting[::3] = np.nan
        grinder = learn(replace(shots, setting=setting), step=0.1)
        assert grinder.pulls == int(np.isfinite(setting).sum())
        none = learn(replace(shots, setting=np.full(len(shots), np.nan)))
        assert none.pulls == len(shots)
        assert none.p_higher_is_finer == pytest.approx(0.5)

    def test_what_the_shop_knows_of_the_direction_counts(self):
        shots = invent(np.random.default_rng(8), pulls=4)
        for finer, sign in (("higher", 1), ("lower", -1)):
            assert sign * (learn(shots.take(np.arange(1)), finer=finer).p_higher_is_finer - 0.5) > 0.3

    def test_many_coffees_and_batches_do_not_swell_it(self):
        shots = invent(np.random.default_rng(9), pulls=300, days=100)
        many = replace(
            shots, batch=np.array([f"{c}-{int(d) // 2}" for c, d in zip(shots.coffee, shots.day, strict=True)])
        )
        grinder = learn(many)
        assert len(grinder.batches) <= 12 + 2
        assert grinder.mean.shape[1] == len(SHARED) + len(grinder.coffees) + len(grinder.batches)


def learn_from(empty, shots):
    """Start over from a grinder's reference with its first pulls."""
    count = len(empty.scatters)
    sds = np.array([BELIEFS[n].sd for n in SHARED]) / 0.05
    return replace(
        empty,
        mean=np.tile([BELIEFS[n].mean for n in SHARED], (count, 1)),
        shape=np.tile(np.diag(sds**2), (count, 1, 1)),
        degrees=6.0,
        squares=np.full(count, 6 * 0.05**2),
        log_likelihood=np.zeros(count),
        coffees=(),
        batches=(),
        batch_seen=(),
        day=None,
        pulls=0,
    ).update(shots)


class TestForecast:
    def forecast(self, grinder, setting=4.5, **more):
        return grinder.forecast(coffee="0", batch="0", setting=setting, dose_g=16.0, beverage_g=32.0, **more)

    def test_probability_is_that_of_the_mixture(self):
        from scipy import stats

        found = self.forecast(learn(invent(np.random.default_rng(10))))
        each = [
            stats.t(d, m, s).cdf(np.log(30)) - stats.t(d, m, s).cdf(np.log(26))
            for d, m, s in zip(found.degrees, found.location, found.scale, strict=True)
        ]
        assert found.p_inside(26.0, 30.0) == pytest.approx(float(found.weight @ each))
        assert found.p_inside(0.0, 1e9) == pytest.approx(1.0)
        drawn = stats.t(found.degrees, found.location, found.scale).std()
        spread = found.weight @ (drawn**2 + (found.location - found.weight @ found.location) ** 2)
        assert found.time_s.sd / found.time_s.value == pytest.approx(spread**0.5)

    def test_stated_probabilities_come_true(self):
        """Over 300 invented shops with 25 pulls each, the next pull falls inside as often as was said."""
        rng = np.random.default_rng(11)
        said, inside = [], []
        for _ in range(300):
            shots = invent(rng, pulls=26, days=5, slope=rng.choice([-1, 1]) * rng.uniform(0.02, 0.1))
            order = np.lexsort((shots.nth, shots.day))
            shots = shots.take(order)
            last = shots.take(np.array([25]))
            grinder = learn(shots.take(np.arange(25)), step=0.1)
            found = grinder.forecast(
                coffee=str(last.coffee[0]),
                batch=str(last.batch[0]),
                setting=float(last.setting[0]),
                dose_g=float(last.dose_g[0]),
                beverage_g=float(last.beverage_g[0]),
                pressure_bar=float(last.pressure_bar[0]),
                water_c=float(last.water_c[0]),
                rest_days=float(last.rest_days[0]),
                nth=float(last.nth[0]),
                days_ahead=float(last.day[0] - grinder.day),
            )
            centre = found.time_s.value * np.exp(rng.normal(0, 0.05))
            said.append(found.p_inside(centre - 2, centre + 2))
            inside.append(centre - 2 <= last.time_s[0] <= centre + 2)
        said, inside = np.array(said), np.array(inside)
        assert abs(inside.sum() - said.sum()) < 3 * np.sqrt(np.sum(said * (1 - said)))

    def test_further_ahead_and_further_out_is_less_sure(self):
        grinder = learn(invent(np.random.default_rng(12)), scatters=ONE)
        now = self.forecast(grinder).time_s
        assert self.forecast(grinder, days_ahead=30.0).time_s.sd > 1.1 * now.sd
        out = self.forecast(grinder, setting=7.5).time_s
        assert out.sd / out.value > 1.1 * now.sd / now.value
        new = grinder.forecast(coffee="new", batch="new", setting=4.5, dose_g=16.0, beverage_g=32.0).time_s
        assert new.sd / new.value > 2 * now.sd / now.value

    def test_days_ahead_spread_as_a_walk(self):
        """Var(d) = scatter² (1 + x'Px + d drift²): the growth is in proportion to days."""
        grinder = learn(invent(np.random.default_rng(13)), scatters=ONE)
        squares = [self.forecast(grinder, days_ahead=d).scale[0] ** 2 for d in (0.0, 10.0, 30.0)]
        assert (squares[2] - squares[0]) == pytest.approx(3 * (squares[1] - squares[0]))
        assert squares[1] - squares[0] == pytest.approx(grinder.squares[0] / grinder.degrees * 10 * 0.15**2)

    def test_cooler_water_is_forecast_slower_by_its_viscosity(self):
        """IAPWS R12-08 at 0.8 MPa: 0.31436 mPa s at 90 °C, 0.29727 at 95 °C."""
        grinder = learn(invent(np.random.default_rng(14)))
        cool, hot = (self.forecast(grinder, water_c=c).time_s.value for c in (90.0, 95.0))
        assert cool / hot == pytest.approx(0.31436 / 0.29727, rel=1e-3)


class TestRefusals:
    def test_no_pull(self):
        with pytest.raises(DesignError, match="there is none"):
            learn(invent(np.random.default_rng(15)).take(np.zeros(0, dtype=int)))

    def test_no_answer(self):
        with pytest.raises(DesignError, match="answer"):
            learn(invent(np.random.default_rng(15)), scatters=[])

    @pytest.mark.parametrize("step", [-0.1, float("nan")])
    def test_step(self, step):
        with pytest.raises(QuantityError, match="step"):
            learn(invent(np.random.default_rng(15)), step=step)

    def test_backwards(self):
        shots = invent(np.random.default_rng(16))
        grinder = learn(shots)
        with pytest.raises(DesignError, match="forwards"):
            grinder.update(shots.take(np.arange(1)))

    def test_lengths(self):
        shots = invent(np.random.default_rng(17))
        with pytest.raises(DesignError, match="one entry a pull"):
            replace(shots, dose_g=shots.dose_g[:-1])
        with pytest.raises(DesignError, match="time_s"):
            replace(shots, time_s=np.zeros(len(shots)))
        with pytest.raises(DesignError, match="day"):
            replace(shots, day=np.full(len(shots), np.nan))
