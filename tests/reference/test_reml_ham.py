"""Restricted likelihood against published values on the ham data, and against a second implementation.

The data: ratings of four dry-cured hams by 81 consumers, twice each, with and without information, from the R package
lmerTest (A. Kuznetsova, P. B. Brockhoff, R. H. B. Christensen, Journal of Statistical Software 82(13), 2017; data set
`ham`, after Naes and others, Statistics for Sensory and Consumer Science, 2010). Reference values: log-likelihoods and
variances given by lme4's lmer for these models; mixedlm is run beside them as a second opinion.
"""

import csv
import warnings
from pathlib import Path

import numpy as np
import pytest

from evenhand.panel.mixed import TERMS, fit

HAM = Path(__file__).parent / "data" / "ham.csv"


@pytest.fixture(scope="module")
def ham():
    with HAM.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {name: [row[name] for row in rows] for name in rows[0]}


def liking(ham):
    return np.array(ham["Informed.liking"], float)


def second_opinion(formula, columns):
    """Log-likelihood, and variances by the name of their group, of the other implementation."""
    import mixedlm
    import pandas

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        result = mixedlm.lmer(formula, pandas.DataFrame(columns), REML=True)
    variances = {name: float(group.variance["(Intercept)"]) for name, group in result.VarCorr().groups.items()}
    return float(result.logLik()), {**variances, "residual": float(result.sigma) ** 2}


def test_ham_is_complete(ham):
    assert len(ham["Consumer"]) == 648
    assert len(set(ham["Consumer"])) == 81
    assert len(set(ham["Product"])) == 4


@pytest.mark.parametrize("swap", [False, True])
def test_crossed_ham_model_matches_lme4(ham, swap):
    """Informed.liking ~ Information + (1|Product) + (1|Consumer) + (1|Consumer:Product)."""
    information = {"information": (np.array(ham["Information"]) == "2").astype(float)}
    blocks, border = ("Product", "Consumer") if swap else ("Consumer", "Product")
    fitted = fit(liking(ham), ham[blocks], ham[border], covariates=information)
    consumer, product = ("taster", "batch") if swap else ("batch", "taster")
    assert fitted.converged
    assert fitted.log_likelihood == pytest.approx(-1356.987077422, abs=1e-6)
    assert fitted.variances["batch_taster"] == pytest.approx(3.153894222, rel=1e-4)
    assert fitted.variances[consumer] == pytest.approx(0.373559229, rel=1e-4)
    assert fitted.variances[product] == pytest.approx(0.139572946, rel=1e-4)
    assert fitted.variances["residual"] == pytest.approx(1.684152070, rel=1e-4)


def test_ham_model_with_fixed_products_matches_lme4(ham):
    """Informed.liking ~ Product + (1|Consumer) + (1|Consumer:Product)."""
    products = {name: (np.array(ham["Product"]) == name).astype(float) for name in ("2", "3", "4")}
    fitted = fit(liking(ham), ham["Consumer"], ham["Product"], covariates=products, terms=("batch", "batch_taster"))
    assert fitted.log_likelihood == pytest.approx(-1355.102053616, abs=1e-6)
    assert fitted.variances["batch_taster"] == pytest.approx(3.146440491, rel=1e-4)
    assert fitted.variances["batch"] == pytest.approx(0.373564612, rel=1e-4)
    assert fitted.variances["residual"] == pytest.approx(1.699073560, rel=1e-4)


def test_fixed_product_variances_follow_from_the_table_of_mean_squares(ham):
    """In a balanced table with no estimate at zero the restricted estimates are those from the mean squares.

    Source: Searle, Casella and McCulloch, Variance Components (1992), chapter 4 (chapter from memory).
    """
    order = np.lexsort((ham["Information"], ham["Product"], np.array(ham["Consumer"], int)))
    table = liking(ham)[order].reshape(81, 4, 2)
    cell, consumer, product = table.mean(2), table.mean((1, 2)), table.mean((0, 2))
    within = ((table - cell[:, :, None]) ** 2).sum() / (81 * 4)
    crossed = 2 * ((cell - consumer[:, None] - product + table.mean()) ** 2).sum() / (80 * 3)
    between = 8 * ((consumer - table.mean()) ** 2).sum() / 80
    products = {name: (np.array(ham["Product"]) == name).astype(float) for name in ("2", "3", "4")}
    fitted = fit(liking(ham), ham["Consumer"], ham["Product"], covariates=products, terms=("batch", "batch_taster"))
    assert fitted.variances["residual"] == pytest.approx(within, rel=1e-6)
    assert fitted.variances["batch_taster"] == pytest.approx((crossed - within) / 2, rel=1e-6)
    assert fitted.variances["batch"] == pytest.approx((between - crossed) / 8, rel=1e-6)
    # the products' means are the plain ones
    assert fitted.coefficients[0] == pytest.approx(product[0])
    np.testing.assert_allclose(fitted.coefficients[1:], product[1:] - product[0], atol=1e-9)


def test_ham_models_match_mixedlm(ham):
    columns = {**ham, "liking": liking(ham)}
    random = "(1|Consumer) + (1|Consumer:Product)"
    crossed, variances = second_opinion(f"liking ~ Information + (1|Product) + {random}", columns)
    information = (np.array(ham["Information"]) == "2").astype(float)
    fitted = fit(liking(ham), ham["Consumer"], ham["Product"], covariates=information)
    assert fitted.log_likelihood == pytest.approx(crossed, abs=1e-6)
    assert fitted.variances["batch_taster"] == pytest.approx(variances["Consumer:Product"], rel=1e-4)
    assert fitted.variances["taster"] == pytest.approx(variances["Product"], rel=1e-4)
    fixed, _ = second_opinion(f"liking ~ Product + {random}", columns)
    assert fixed == pytest.approx(-1355.102053616, abs=1e-6)


def invented_year(seed, missing):
    """An invented half-year: 60 batches of 3 coffees, 4 of 8 tasters, 2 pulls, 2 covariates."""
    rng = np.random.default_rng(seed)
    rows = [
        (b, t, b * 2 + p)
        for b in range(60)
        for t in rng.choice(8, 4, replace=False)
        for p in range(2)
        if rng.random() >= missing
    ]
    b, t, p = np.array(rows).T
    x = rng.normal(size=(120, 2))[p]
    score = 6 + x @ [0.3, -0.2] + 0.6 * rng.normal(size=60)[b] + 0.5 * rng.normal(size=8)[t]
    score += 0.4 * rng.normal(size=480)[b * 8 + t] + 0.35 * rng.normal(size=120)[p] + 0.6 * rng.normal(size=len(b))
    return score, b, t, p, b % 3, x


@pytest.mark.parametrize(("seed", "missing"), [(1, 0.0), (2, 0.0), (3, 0.2), (4, 0.2)])
def test_invented_years_match_mixedlm(seed, missing):
    score, b, t, p, c, x = invented_year(seed, missing)
    fitted = fit(score, b, t, p, c, x)
    columns = {"score": score, "x1": x[:, 0], "x2": x[:, 1]}
    columns |= {name: [f"{name}{k}" for k in v] for name, v in {"b": b, "t": t, "p": p, "c": c}.items()}
    value, variances = second_opinion("score ~ c + x1 + x2 + (1|b) + (1|t) + (1|b:t) + (1|p)", columns)
    assert fitted.log_likelihood == pytest.approx(value, abs=1e-6)
    names = {"batch": "b", "taster": "t", "batch_taster": "b:t", "pull": "p", "residual": "residual"}
    for name in TERMS:
        assert fitted.variances[name] == pytest.approx(variances[names[name]], rel=1e-4), name
