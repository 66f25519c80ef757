"""The fit against dense matrices: the likelihood from its definition, predictions from Henderson's equations.

Sources: Patterson and Thompson (1971), Biometrika 58, 545-554 (restricted likelihood); Henderson (1975), Biometrics 31,
423-447 (mixed-model equations and the covariance of their errors of prediction).
"""

import itertools

import numpy as np
import pytest

from evenhand.panel.mixed import TERMS, Fit, fit


def table(seed, batches=9, tasters=4, pulls=2, coffees=2, missing=0.0, repeats=1):
    """A small invented tasting: labels, covariates and scores."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"b{b}", f"t{t}", p, f"c{b % coffees}")
        for b in range(batches)
        for t in rng.choice(tasters, min(3, tasters), replace=False)
        for p in range(pulls)
        for _ in range(repeats)
        if rng.random() >= missing
    ]
    batch, taster, pull, coffee = (list(column) for column in zip(*rows, strict=True))
    n = len(rows)
    effects = {label: rng.normal(0, 0.7) for label in dict.fromkeys(batch + taster)}
    cells = {pair: rng.normal(0, 0.5) for pair in dict.fromkeys(zip(batch, taster, strict=True))}
    score = np.array([6 + effects[b] + effects[t] + cells[b, t] for b, t in zip(batch, taster, strict=True)])
    return {
        "score": score + rng.normal(0, 0.4, n),
        "batch": batch,
        "taster": taster,
        "pull": pull,
        "coffee": coffee,
        "covariates": rng.normal(size=(n, 2)),
    }


def indicator(labels):
    levels = sorted(dict.fromkeys(labels))
    return (np.array([levels.index(label) for label in labels])[:, None] == np.arange(len(levels))).astype(float)


def factors(data):
    """Indicator matrices of batch, taster, batch x taster and pull, in the order of TERMS."""
    return [
        indicator(data["batch"]),
        indicator(data["taster"]),
        indicator(list(zip(data["batch"], data["taster"], strict=True))),
        indicator(list(zip(data["batch"], data["pull"], strict=True))),
    ]


def dense_log_likelihood(data, variances, known_mean=None, known_sd=None):
    """Restricted log-likelihood from its definition; columns with a finite `known_sd` count as random."""
    y = np.asarray(data["score"], float)
    x = np.column_stack([indicator(data["coffee"]), data["covariates"]])
    sd = np.full(x.shape[1], np.inf) if known_sd is None else np.asarray(known_sd, float)
    mean = np.zeros(x.shape[1]) if known_mean is None else np.asarray(known_mean, float)
    flat = np.isinf(sd)
    v = variances[4] * np.eye(len(y)) + sum(s * z @ z.T for s, z in zip(variances, factors(data), strict=False))
    random = x[:, ~flat]
    y = y - random @ mean[~flat]
    v = v + (random * sd[~flat] ** 2) @ random.T
    fixed = x[:, flat]
    inverse = np.linalg.inv(v)
    middle = fixed.T @ inverse @ fixed
    residual = y - fixed @ np.linalg.solve(middle, fixed.T @ inverse @ y)
    n, p = fixed.shape
    logs = np.linalg.slogdet(v)[1] + np.linalg.slogdet(middle)[1]
    return -0.5 * ((n - p) * np.log(2 * np.pi) + logs + residual @ inverse @ residual)


def henderson(data, variances):
    """Solution and inverse of the mixed-model equations, columns: coffees, covariates, then each factor's levels."""
    y = np.asarray(data["score"], float)
    x = np.column_stack([indicator(data["coffee"]), data["covariates"]])
    parts = factors(data)
    w = np.column_stack([x, *parts])
    ridge = np.concatenate(
        [np.zeros(x.shape[1]), *(np.full(z.shape[1], 1 / s) for z, s in zip(parts, variances, strict=False))]
    )
    inverse = np.linalg.inv(w.T @ w / variances[4] + np.diag(ridge))
    at = np.cumsum([0, x.shape[1], *(z.shape[1] for z in parts)])
    return inverse @ (w.T @ y) / variances[4], inverse, [slice(a, b) for a, b in itertools.pairwise(at)], w


VARIANCES = np.array([0.5, 0.3, 0.25, 0.15, 0.4])
SHAPES = [{"missing": 0.0}, {"missing": 0.3}, {"batches": 30, "missing": 0.15}, {"repeats": 2, "missing": 0.2}]


@pytest.mark.parametrize("shape", SHAPES)
def test_log_likelihood_matches_its_definition(shape):
    data = table(1, **shape)
    fitted = fit(**data)
    for variances in (VARIANCES, np.array([0.5, 0.0, 0.25, 0.0, 0.4])):
        expected = dense_log_likelihood(data, variances)
        assert fitted.posterior(variances).log_likelihood == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize("shape", SHAPES)
def test_predictions_match_hendersons_equations(shape):
    data = table(2, **shape)
    post = fit(**data).posterior(VARIANCES)
    solution, inverse, (fixed, batch, taster, cell, pull), w = henderson(data, VARIANCES)
    np.testing.assert_allclose(post.coefficients, solution[fixed], atol=1e-9)
    np.testing.assert_allclose(post.coefficients_cov, inverse[fixed, fixed], atol=1e-9)
    np.testing.assert_allclose(post.batch_effect, solution[batch], atol=1e-9)
    np.testing.assert_allclose(post.batch_sd, np.sqrt(np.diag(inverse)[batch]), atol=1e-9)
    np.testing.assert_allclose(post.taster_effect, solution[taster], atol=1e-9)
    np.testing.assert_allclose(post.taster_sd, np.sqrt(np.diag(inverse)[taster]), atol=1e-9)
    np.testing.assert_allclose(post.batch_taster_effect, solution[cell], atol=1e-9)
    np.testing.assert_allclose(post.pull_effect, solution[pull], atol=1e-9)
    np.testing.assert_allclose(post.residual, data["score"] - w @ solution, atol=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
def test_levels_contrasts_and_joint_covariances_match_hendersons_equations(shape):
    data = table(3, **shape)
    fitted = fit(**data)
    post = fitted.posterior(VARIANCES)
    solution, inverse, (fixed, batch, taster, *_), _ = henderson(data, VARIANCES)
    coffee_of = dict(zip(data["batch"], data["coffee"], strict=True))
    coffees = fitted.levels["coffee"]
    rows = []
    for number, label in enumerate(fitted.levels["batch"]):
        toward = np.zeros((3, len(solution)))
        toward[0, fixed.start + coffees.index(coffee_of[label])] = 1
        toward[1, batch.start + number] = 1
        toward[2, taster] = 1 / (taster.stop - taster.start)
        mean, cov = post.joint(label)
        np.testing.assert_allclose(mean, toward @ solution, atol=1e-9)
        np.testing.assert_allclose(cov, toward @ inverse @ toward.T, atol=1e-9)
        rows.append(toward.sum(0))
    sums = np.array(rows)
    np.testing.assert_allclose(post.level, sums @ solution, atol=1e-9)
    np.testing.assert_allclose(post.level_sd, np.sqrt(np.diag(sums @ inverse @ sums.T)), atol=1e-9)
    labels = fitted.levels["batch"]
    for a, b in ((0, 1), (0, 2), (3, 5)):
        toward = sums[a] - sums[b]
        difference, sd = post.contrast(labels[a], labels[b])
        assert difference == pytest.approx(toward @ solution, abs=1e-9)
        assert sd == pytest.approx(np.sqrt(toward @ inverse @ toward), abs=1e-9)


def refine(function, start):
    """Maximise over log standard deviations by coordinate search, slowly and independently of the fit."""
    point, step = np.log(start) / 2, 0.3
    best = function(np.exp(2 * point))
    while step > 1e-6:
        moved = False
        for at in range(len(point)):
            for sign in (step, -step):
                trial = point.copy()
                trial[at] += sign
                value = function(np.exp(2 * trial))
                if value > best:
                    best, point, moved = value, trial, True
        step *= 1.0 if moved else 0.5
    return np.exp(2 * point), best


@pytest.mark.parametrize("seed", [4, 5])
def test_fit_is_at_the_maximum(seed):
    data = table(seed, batches=12, repeats=2)
    fitted = fit(**data)
    found = np.array([fitted.variances[name] for name in TERMS])
    assert fitted.converged
    variances, best = refine(lambda v: dense_log_likelihood(data, v), np.maximum(found, 0.01) * 1.7)
    assert fitted.log_likelihood >= best - 1e-8
    np.testing.assert_allclose(found, variances, rtol=1e-3, atol=1e-4)


def test_proper_priors_are_integrated_and_restrain():
    data = table(6, coffees=3)
    mean, sd = np.array([6.5, 5.0, 7.0]), np.array([0.4, np.inf, 0.2])
    fitted = fit(**data, coffee_prior=(mean, sd), covariate_prior=([0.3, 0.0], [0.1, np.inf]))
    known_mean, known_sd = np.append(mean, [0.3, 0.0]), np.append(sd, [0.1, np.inf])
    expected = dense_log_likelihood(data, VARIANCES, known_mean, known_sd)
    assert fitted.posterior(VARIANCES).log_likelihood == pytest.approx(expected, abs=1e-8)
    # the same from Henderson's equations with the priors as a ridge
    y = np.asarray(data["score"], float)
    x = np.column_stack([indicator(data["coffee"]), data["covariates"]])
    parts = factors(data)
    v = VARIANCES[4] * np.eye(len(y)) + sum(s * z @ z.T for s, z in zip(VARIANCES, parts, strict=False))
    precision = np.where(np.isinf(known_sd), 0, 1 / known_sd**2)
    cov = np.linalg.inv(x.T @ np.linalg.solve(v, x) + np.diag(precision))
    post = fitted.posterior(VARIANCES)
    np.testing.assert_allclose(post.coefficients, cov @ (x.T @ np.linalg.solve(v, y) + precision * known_mean))
    np.testing.assert_allclose(post.coefficients_cov, cov, atol=1e-10)


def test_information_is_the_curvature_of_the_log_density():
    data = table(7, batches=15, repeats=2)
    prior = {"pull": (0.3, 0.5), "taster": (0.5, 0.7)}
    fitted = fit(**data, variance_prior=prior)
    assert fitted.active == TERMS

    def density(log_sd):
        v = np.exp(2 * log_sd)
        out = dense_log_likelihood(data, v)
        for name, (median, width) in prior.items():
            z = (log_sd[TERMS.index(name)] - np.log(median)) / width
            out += -0.5 * z**2 - np.log(width * np.sqrt(2 * np.pi))
        return out

    at, h = fitted.log_sd, 1e-3
    assert fitted.posterior().log_density == pytest.approx(density(at), abs=1e-8)
    steps = h * np.eye(5)
    slope = [(density(at + s) - density(at - s)) / (2 * h) for s in steps]
    np.testing.assert_allclose(slope, 0, atol=1e-4)
    curve = [
        [
            (density(at + a + b) - density(at + a - b) - density(at - a + b) + density(at - a - b)) / (4 * h * h)
            for a in steps
        ]
        for b in steps
    ]
    np.testing.assert_allclose(fitted.information, -np.array(curve), rtol=1e-3, atol=1e-3)


def assert_same(update, fitted: Fit, variances):
    post = fitted.posterior(variances)
    for number, label in enumerate(update.batches):
        at = fitted.levels["batch"].index(label)
        assert update.level[number] == pytest.approx(post.level[at], abs=1e-8)
        assert update.level_sd[number] == pytest.approx(post.level_sd[at], abs=1e-8)
        assert update.batch_effect[number] == pytest.approx(post.batch_effect[at], abs=1e-8)
        assert update.batch_sd[number] == pytest.approx(post.batch_sd[at], abs=1e-8)
        mean, cov = post.joint(label)
        np.testing.assert_allclose(update.joint[label][0], mean, atol=1e-8)
        np.testing.assert_allclose(update.joint[label][1], cov, atol=1e-8)
    effects = dict(zip(update.tasters, update.taster_effect, strict=True))
    for label, effect in zip(fitted.levels["taster"], post.taster_effect, strict=True):
        assert effects[label] == pytest.approx(effect, abs=1e-8)
    assert update.log_likelihood == pytest.approx(post.log_likelihood, abs=1e-7)


@pytest.mark.parametrize(
    "sheets",
    [
        {"batch": ["b2"], "taster": ["t1"], "pull": [0], "coffee": ["c0"]},
        {"batch": ["b2"], "taster": ["stranger"], "pull": [7], "coffee": ["c0"]},
        {"batch": ["new"], "taster": ["t1"], "pull": [0], "coffee": ["c1"]},
        {"batch": ["b2", "new", "new"], "taster": ["t0", "t1", "x"], "pull": [0, 0, 1], "coffee": ["c0", "c1", "c1"]},
    ],
)
def test_further_sheets_equal_a_refit_at_the_same_variances(sheets):
    data = table(8, missing=0.2)
    k = len(sheets["batch"])
    more = {"score": [7.5, 3.0, 6.0][:k], "covariates": np.array([[0.3, -1.0], [0.0, 0.2], [1.0, 1.0]])[:k], **sheets}
    update = fit(**data).with_sheets(**more, variances=VARIANCES)
    whole = {
        key: np.concatenate([data[key], more[key]]) if key in ("score", "covariates") else data[key] + more[key]
        for key in data
    }
    assert_same(update, fit(**whole), VARIANCES)


def test_a_coffees_next_batch_is_expected_at_its_mean():
    data = table(9)
    fitted = fit(**data)
    post = fitted.posterior(VARIANCES)
    solution, inverse, (fixed, _, taster, *_), _ = henderson(data, VARIANCES)
    toward = np.zeros(len(solution))
    toward[fixed.start + 1] = 1
    toward[taster] = 1 / (taster.stop - taster.start)
    level, sd = post.new_batch("c1")
    assert level == pytest.approx(toward @ solution, abs=1e-9)
    assert sd == pytest.approx(np.sqrt(toward @ inverse @ toward + VARIANCES[0]), abs=1e-9)
