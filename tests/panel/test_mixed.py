"""The public face of the mixed model: what it returns, what it leaves out, and what it refuses."""

import numpy as np
import pytest

from evenhand.errors import DesignError
from evenhand.panel.mixed import TERMS, fit, fit_many
from evenhand.words import Words


def tasting(seed=1, batches=12, tasters=4, pulls=2, coffees=3, repeats=1, sd=(0.6, 0.5, 0.3, 0.3, 0.5)):
    """An invented tasting in which every taster tastes every pull."""
    rng = np.random.default_rng(seed)
    grid = np.indices((batches, tasters, pulls, repeats)).reshape(4, -1)
    b, t, p = grid[:3]
    score = 6 + sd[0] * rng.normal(size=batches)[b] + sd[1] * rng.normal(size=tasters)[t]
    score += sd[2] * rng.normal(size=batches * tasters)[b * tasters + t]
    score += sd[3] * rng.normal(size=batches * pulls)[b * pulls + p] + sd[4] * rng.normal(size=len(b))
    return {"score": score, "batch": b, "taster": t, "pull": p, "coffee": b % coffees}


def assert_sound(fitted):
    """No NaN anywhere, nothing negative that cannot be."""
    for name in (
        "coefficients",
        "coefficients_cov",
        "batch_effect",
        "batch_sd",
        "taster_effect",
        "taster_sd",
        "log_sd",
    ):
        assert np.isfinite(getattr(fitted, name)).all(), name
    assert np.isfinite(fitted.log_likelihood)
    assert np.isfinite(fitted.information).all()
    assert all(np.isfinite(v) and v >= 0 for v in fitted.variances.values())
    assert fitted.variances["residual"] > 0
    assert (fitted.batch_sd >= 0).all()
    post = fitted.posterior()
    for name in ("level", "level_sd", "batch_taster_effect", "pull_effect", "residual"):
        assert np.isfinite(getattr(post, name)).all(), name


def reasons(fitted):
    return dict(fitted.dropped)


def test_a_full_tasting_has_every_term_and_says_nothing():
    data = tasting()
    fitted = fit(**data)
    assert_sound(fitted)
    assert tuple(fitted.variances) == TERMS
    assert fitted.converged
    assert fitted.dropped == ()
    assert fitted.levels["batch"] == tuple(range(12))
    assert fitted.levels["batch_taster"][:2] == ((0, 0), (0, 1))
    assert fitted.levels["pull"][:3] == ((0, 0), (0, 1), (1, 0))
    assert len(fitted.coefficients) == 3
    assert fitted.n == 96


def test_large_tasting_recovers_what_it_was_made_with():
    data = tasting(2, batches=400, tasters=40, coffees=1)
    fitted = fit(**data)
    truth = np.array([0.6, 0.5, 0.3, 0.3, 0.5]) ** 2
    found = np.array([fitted.variances[name] for name in TERMS])
    # four standard errors: batch 7 %, taster 23 %, the others well under 10 %
    np.testing.assert_array_less(np.abs(found / truth - 1), [0.35, 0.95, 0.1, 0.3, 0.05])


@pytest.mark.parametrize(
    ("keep", "change", "name", "word"),
    [
        (lambda d: d["taster"] == 0, {}, "taster", "one taster"),
        (lambda d: d["taster"] == 0, {}, "batch_taster", "one taster"),
        (lambda d: d["batch"] == 0, {}, "batch", "one batch"),
        (lambda d: d["pull"] == 0, {}, "pull", "one pull"),
        (lambda d: d["pull"] == 0, {}, "batch_taster", "once"),
        (lambda d: d["taster"] == d["pull"], {}, "pull", "one score"),
        (lambda d: d["taster"] < 4, {"coffees": 12}, "batch", "coffee"),
        (lambda d: d["taster"] == d["batch"] % 4, {}, "batch_taster", "one taster"),
        (lambda d: d["taster"] == d["pull"], {"repeats": 2}, "pull", "pull of their own"),
        (lambda d: (d["taster"] == 0) & (d["pull"] == 0), {}, "batch", "one score"),
    ],
)
def test_what_cannot_be_told_is_left_out_and_said(keep, change, name, word):
    data = tasting(**change)
    mask = keep(data)
    fitted = fit(**{key: value[mask] for key, value in data.items()})
    assert_sound(fitted)
    assert fitted.variances[name] == 0.0
    assert word in reasons(fitted)[name]
    assert all(isinstance(said, Words) for said in reasons(fitted).values())
    assert name not in fitted.active


def test_a_prior_makes_a_single_batch_a_coffee_tellable():
    data = tasting(coffees=12)
    assert "batch" in reasons(fit(**data))
    by_mean = fit(**data, coffee_prior=(6.0, 0.3))
    by_variance = fit(**data, variance_prior={"batch": (0.5, 0.5)})
    for fitted in (by_mean, by_variance):
        assert_sound(fitted)
        assert "batch" not in reasons(fitted)
        assert fitted.variances["batch"] > 0
    # with nothing but the prior to go by, the mode is the prior's
    assert np.sqrt(by_variance.variances["batch"]) == pytest.approx(0.5, rel=1e-3)


def test_a_variance_prior_on_an_exact_copy_says_how_much_is_whose():
    data = tasting()
    mask = data["pull"] == 0
    fitted = fit(**{k: v[mask] for k, v in data.items()}, variance_prior={"batch_taster": (0.3, 0.5)})
    assert "batch_taster" not in reasons(fitted)
    # where each taster scored each batch once the rows tell only the sum of the two, and the prior divides it
    without = fit(**{k: v[mask] for k, v in data.items()})
    assert "batch_taster" in reasons(without)
    both = fitted.variances["batch_taster"] + fitted.variances["residual"]
    assert both == pytest.approx(without.variances["residual"], rel=0.2)
    assert fitted.variances["batch_taster"] == pytest.approx(0.3**2, rel=0.3)


def test_priors_on_every_variance_keep_all_inside():
    data = tasting(3, batches=3, coffees=1)
    prior = dict.fromkeys(TERMS, (0.4, 0.5))
    fitted = fit(**data, variance_prior=prior)
    assert fitted.active == TERMS
    assert fitted.at_zero == ()
    assert np.linalg.eigvalsh(fitted.information).min() > 0
    tight = fit(**data, variance_prior=dict.fromkeys(TERMS, (0.4, 0.001)))
    np.testing.assert_allclose(np.exp(tight.log_sd), 0.4, rtol=1e-3)


def test_one_score_can_be_used_with_priors_and_is_refused_without():
    one = {"score": [7.0], "batch": ["a"], "taster": ["t"], "pull": ["p"], "coffee": ["c"]}
    with pytest.raises(DesignError, match="more scores"):
        fit(**one)
    prior = dict.fromkeys(TERMS, (0.5, 0.5))
    fitted = fit(**one, coffee_prior=(5.0, 1.0), variance_prior=prior)
    assert_sound(fitted)
    level, sd = fitted.level("a")
    assert 5.0 < level < 7.0
    assert 0 < sd < 1.3


@pytest.mark.parametrize("value", [0.0, 6.0, 1e6])
def test_constant_scores_have_no_scatter_and_do_not_fail(value):
    data = tasting()
    data["score"] = np.full(len(data["batch"]), value)
    fitted = fit(**data)
    assert_sound(fitted)
    assert "residual" in reasons(fitted)
    assert fitted.variances["batch"] == 0.0
    assert fitted.level(3)[0] == pytest.approx(value)
    with_prior = fit(**data, variance_prior=dict.fromkeys(TERMS, (0.4, 0.5)))
    assert_sound(with_prior)
    assert with_prior.level(3)[0] == pytest.approx(value, rel=1e-5, abs=1e-5)


def test_scores_that_the_terms_explain_exactly_do_not_fail():
    data = tasting()
    data["score"] = data["taster"] + 0.5 * data["batch"]
    fitted = fit(**data)
    assert_sound(fitted)
    assert "exactly" in reasons(fitted)["residual"]
    assert fitted.level(1)[0] - fitted.level(4)[0] == pytest.approx(-1.5, abs=1e-3)


def test_a_batch_with_one_score_is_believed_less():
    data = tasting()
    mask = (data["batch"] != 0) | ((data["taster"] == 0) & (data["pull"] == 0))
    fitted = fit(**{key: value[mask] for key, value in data.items()})
    assert_sound(fitted)
    assert fitted.batch_sd[0] > 1.2 * fitted.batch_sd[3]


def test_variance_at_zero_is_exactly_zero_and_listed():
    data = tasting(5, batches=30, coffees=1, sd=(0.8, 0.5, 0.0, 0.0, 1.0))
    both = fit(**data)
    assert both.at_zero
    for name in both.at_zero:
        assert both.variances[name] == 0.0
        assert name not in both.active
    assert both.converged
    assert both.evaluations < 25
    # at zero the likelihood must not rise away from it
    for name in both.at_zero:
        assert both.posterior({name: 1e-4}).log_likelihood < both.log_likelihood


def test_useless_covariates_are_left_out_and_said():
    data = tasting()
    n = len(data["batch"])
    rng = np.random.default_rng(1)
    good = rng.normal(size=n)
    table = {"good": good, "zero": np.zeros(n), "same": np.full(n, 2.0), "twice": 2 * good + data["coffee"]}
    fitted = fit(**data, covariates=table)
    assert_sound(fitted)
    assert set(reasons(fitted)) == {"zero", "same", "twice"}
    assert fitted.levels["covariate"] == tuple(table)
    assert len(fitted.coefficients) == 3 + 4
    np.testing.assert_array_equal(fitted.coefficients[4:], 0.0)
    alone = fit(**data, covariates=good)
    assert fitted.log_likelihood == pytest.approx(alone.log_likelihood)
    kept = fit(**data, covariates=table, covariate_prior=(0.1, 0.2))
    assert reasons(kept) == {}
    assert kept.coefficients[4] == pytest.approx(0.1)  # no row tells it: the prior stands


def test_terms_can_be_left_out():
    data = tasting()
    fitted = fit(**data, terms=("batch", "taster"))
    assert fitted.variances["pull"] == fitted.variances["batch_taster"] == 0.0
    assert fitted.dropped == ()
    assert fitted.log_likelihood <= fit(**data).log_likelihood


def test_many_attributes_equal_one_by_one_with_missing_scores():
    data = tasting()
    rng = np.random.default_rng(4)
    scores = data.pop("score")[:, None] + rng.normal(size=(96, 4))
    scores[data["batch"] == 2, 1] = np.nan
    scores[rng.random(96) < 0.3, 2] = np.nan
    scores[data["coffee"] == 1, 3] = np.nan
    x = rng.normal(size=96)
    means = rng.normal(6, 1, size=(3, 4))
    many = fit_many(scores, **data, covariates=x, coffee_prior=(means, 0.5))
    for a, fitted in enumerate(many):
        use = ~np.isnan(scores[:, a])
        present = np.unique(data["coffee"][use])
        one = fit(
            scores[use, a],
            **{k: v[use] for k, v in data.items()},
            covariates=x[use],
            coffee_prior=(means[present, a], 0.5),
        )
        assert fitted.log_likelihood == pytest.approx(one.log_likelihood, abs=1e-8)
        np.testing.assert_allclose(fitted.batch_effect, one.batch_effect, atol=1e-6)
        assert fitted.levels == one.levels
        assert fitted.n == use.sum()
    assert 2 not in many[1].levels["batch"]
    assert many[3].levels["coffee"] == (0, 2)


def test_draws_of_levels_equal_one_posterior_each():
    fitted = fit(**tasting())
    rng = np.random.default_rng(1)
    draws = rng.uniform(0.05, 1, size=(6, 5))
    levels = fitted.posteriors(draws)
    for row, one in enumerate(draws):
        post = fitted.posterior(dict(zip(TERMS, one, strict=True)))
        assert levels.log_density[row] == pytest.approx(post.log_density)
        np.testing.assert_allclose(levels.level[row], post.level)
        np.testing.assert_allclose(levels.level_sd[row], post.level_sd)


def test_labels_may_be_of_any_kind_and_pulls_count_within_their_batch():
    data = tasting()
    names = {**data, "batch": [f"B-{b:02d}" for b in data["batch"]], "taster": ["x", 3, ("y", 1), "3"]}
    names["taster"] = [names["taster"][t] for t in data["taster"]]
    unique = {**data, "pull": data["batch"] * 2 + data["pull"]}
    plain = fit(**data)
    assert fit(**names).log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-8)
    assert fit(**unique).variances == pytest.approx(plain.variances, rel=1e-5)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"batch": [1, 2]}, "labels of batch"),
        ({"taster": [None] * 96}, "no label of taster"),
        ({"score": np.full(96, np.nan)}, "No row has a score"),
        ({"score": np.full(96, np.inf)}, "infinite"),
        ({"score": np.zeros((96, 2))}, "fit_many"),
        ({"covariates": np.full(96, np.nan)}, "not a finite number"),
        ({"covariates": np.zeros((5, 2))}, "96 rows"),
        ({"coffee": np.arange(96)}, "two coffees"),
        ({"terms": ("batch", "colour")}, "no term colour"),
        ({"pull": None, "terms": ("pull",)}, "no pulls were given"),
        ({"coffee_prior": (np.zeros(7), 1.0)}, "shape"),
        ({"coffee_prior": (0.0, -1.0)}, "below zero"),
        ({"coffee_prior": (np.nan, 1.0)}, "not a finite"),
        ({"variance_prior": {"colour": (1.0, 1.0)}}, "names colour"),
        ({"variance_prior": {"batch": (0.0, 1.0)}}, "above zero"),
    ],
)
def test_wrong_arguments_are_refused_in_words(change, word):
    with pytest.raises(DesignError, match=word) as refused:
        fit(**{**tasting(), **change})
    assert isinstance(refused.value.args[0], Words)


def test_too_many_coffees_for_one_fit_are_refused():
    labels = np.arange(2400) // 2
    with pytest.raises(DesignError, match="families of coffees"):
        fit(np.zeros(2400), labels, np.arange(2400) % 2, coffee=labels)


def test_a_batch_tasted_over_and_over_is_fitted_with_the_others():
    rng = np.random.default_rng(3)
    b = np.concatenate([np.zeros(300, int), np.repeat(np.arange(1, 20), 6)])
    t, p = rng.integers(0, 5, len(b)), rng.integers(0, 40, len(b))
    score = 6 + rng.normal(size=20)[b] + 0.5 * rng.normal(size=5)[t] + 0.5 * rng.normal(size=len(b))
    fitted = fit(score, b, t, p)
    assert_sound(fitted)
    assert fitted.converged
    assert fitted.batch_sd[0] < fitted.batch_sd[1]


def test_wrong_questions_to_a_fit_are_refused_in_words():
    fitted = fit(**tasting())
    for ask in (lambda: fitted.level("nowhere"), lambda: fitted.contrast(0, "nowhere")):
        with pytest.raises(DesignError, match="nowhere"):
            ask()
    for variances in ([1, 1, 1, 1, 0], [1, 1, 1], {"colour": 1.0}, [np.nan] * 5, [-1, 1, 1, 1, 1], [1e15, 1, 1, 1, 1]):
        with pytest.raises(DesignError) as refused:
            fitted.posterior(variances)
        assert isinstance(refused.value.args[0], Words)
    with pytest.raises(DesignError, match="not among those fitted"):
        fitted.with_sheets([6.0], ["new"], [0], [0], ["unknown"])
    with pytest.raises(DesignError, match="Pulls"):
        fitted.with_sheets([6.0], [0], [0])


def test_contrast_of_one_coffee_is_narrower_than_two_levels():
    fitted = fit(**tasting())
    difference, sd = fitted.contrast(0, 3)  # both of coffee 0
    (level_a, sd_a), (level_b, sd_b) = fitted.level(0), fitted.level(3)
    assert difference == pytest.approx(level_a - level_b)
    assert sd < np.hypot(sd_a, sd_b)
    assert fitted.contrast(0, 0) == (0.0, 0.0)
