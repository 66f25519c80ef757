"""Properties of the fit that hold whatever the data: order, names, units, copies, and never a NaN."""

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evenhand.errors import DesignError
from evenhand.panel.mixed import TERMS, fit, fit_many

SLOWLY = settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])


def tasting(seed, missing=0.15):
    rng = np.random.default_rng(seed)
    b, t, p = np.indices((int(rng.integers(6, 20)), 4, 2)).reshape(3, -1)
    keep = rng.random(len(b)) >= missing
    b, t, p = b[keep], t[keep], p[keep]
    sd = np.exp(rng.normal(-0.7, 0.7, 5))
    score = 6 + sd[0] * rng.normal(size=40)[b] + sd[1] * rng.normal(size=4)[t] + sd[2] * rng.normal(size=160)[b * 4 + t]
    score = score + sd[3] * rng.normal(size=80)[b * 2 + p] + sd[4] * rng.normal(size=len(b))
    return {"score": score, "batch": b, "taster": t, "pull": p, "coffee": b % 2, "covariates": rng.normal(size=len(b))}


def assert_same_fit(one, two, like=1e-7, share=2e-4):
    assert abs(one.log_likelihood - two.log_likelihood) < like
    for name in TERMS:
        assert abs(one.variances[name] - two.variances[name]) <= share * max(
            one.variances["residual"], one.variances[name]
        )


@SLOWLY
@given(st.integers(0, 10_000))
def test_order_of_rows_does_not_matter(seed):
    data = tasting(seed)
    order = np.random.default_rng(seed).permutation(len(data["score"]))
    one, two = fit(**data), fit(**{key: value[order] for key, value in data.items()})
    assert_same_fit(one, two)
    np.testing.assert_allclose(one.posterior().level, two.posterior().level, atol=1e-4)
    np.testing.assert_allclose(one.posterior().residual[order], two.posterior().residual, atol=1e-4)


@SLOWLY
@given(st.integers(0, 10_000))
def test_names_do_not_matter(seed):
    data = tasting(seed)
    rng = np.random.default_rng(seed)
    names = {key: rng.permutation(100)[data[key]] for key in ("batch", "taster", "coffee")}
    one, two = fit(**data), fit(**{**data, **names})
    assert_same_fit(one, two)
    again = dict(zip(two.levels["batch"], two.batch_effect, strict=True))
    renamed = dict(zip(data["batch"].tolist(), names["batch"].tolist(), strict=True))
    np.testing.assert_allclose(one.batch_effect, [again[renamed[b]] for b in one.levels["batch"]], atol=1e-4)


@SLOWLY
@given(st.integers(0, 10_000), st.floats(-1e4, 1e4), st.sampled_from([1e-3, 0.1, -1.0, 10.0, 1e3]))
def test_shift_and_scale_carry_over(seed, shift, scale):
    data = tasting(seed)
    one, two = fit(**data), fit(**{**data, "score": shift + scale * data["score"]})
    n, p = one.n, len(one.coefficients)
    assert abs(one.log_likelihood - (n - p) * np.log(abs(scale)) - two.log_likelihood) < 1e-5
    level = one.posterior().level
    np.testing.assert_allclose(two.posterior().level, shift + scale * level, atol=abs(scale) * 1e-3, rtol=1e-9)
    np.testing.assert_allclose(two.batch_sd, abs(scale) * one.batch_sd, rtol=5e-3, atol=abs(scale) * 1e-3)


@SLOWLY
@given(st.integers(0, 10_000))
def test_a_copy_of_an_attribute_gets_the_same_answer(seed):
    data = tasting(seed)
    score = data.pop("score")
    one, other, two = fit_many(np.column_stack([score, score[::-1], score]), **data)
    assert one.variances == two.variances
    assert one.log_likelihood == two.log_likelihood
    assert other.log_likelihood != one.log_likelihood


@SLOWLY
@given(st.integers(0, 10_000))
def test_no_variance_nearby_is_better(seed):
    data = tasting(seed)
    fitted = fit(**data)
    assert fitted.converged
    rng = np.random.default_rng(seed)
    found = np.array([fitted.variances[name] for name in TERMS])
    for size in (0.01, 0.1, 0.5):
        near = np.abs(found * np.exp(size * rng.normal(size=5)) + (found == 0) * size * found[4] * rng.random(5))
        assert fitted.posterior(near).log_likelihood <= fitted.log_likelihood + 1e-8


labels = st.integers(0, 3)


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(st.tuples(st.integers(0, 5), labels, labels, labels), min_size=1, max_size=14),
    st.sampled_from([None, (4.0, 1.0), (4.0, np.inf), (4.0, 0.0)]),
    st.sampled_from([None, {"batch": (0.5, 0.5)}, dict.fromkeys(TERMS, (0.4, 0.5))]),
    st.booleans(),
    st.booleans(),
)
def test_any_small_table_is_fitted_or_refused_and_never_nan(rows, coffee_prior, variance_prior, pulls, slopes):
    score, batch, taster, pull = np.array(rows, float).T
    arguments = {"coffee": batch // 2, "coffee_prior": coffee_prior, "variance_prior": variance_prior}
    if pulls:
        arguments["pull"] = pull
    if slopes:
        arguments["covariates"] = np.column_stack([pull, taster - pull])
    try:
        fitted = fit(score, batch, taster, **arguments)
    except DesignError as error:
        assert "more scores" in str(error)  # noqa: PT017
        return
    post = fitted.posterior()
    values = [*fitted.variances.values(), fitted.log_likelihood, post.log_density]
    arrays = (post.level, post.level_sd, fitted.batch_sd, fitted.coefficients_cov, fitted.information, post.residual)
    assert np.isfinite(values).all()
    for array in arrays:
        assert np.isfinite(array).all()
    assert fitted.converged
    _, cov = fitted.joint(fitted.levels["batch"][0])
    assert np.linalg.eigvalsh(cov).min() > -1e-6 * max(1.0, np.abs(cov).max())
