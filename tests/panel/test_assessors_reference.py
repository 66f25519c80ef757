"""Assessors against worked examples in print; data and figures are given from memory."""

import numpy as np
import pytest

from evenhand.panel.assessors import assess

# McDonald, J. H., Handbook of Biological Statistics (one-way anova): a standardised length in mussels from five places;
# printed result F = 7.12, P = 2.8e-4.
MUSSELS = {
    "Tillamook": [0.0571, 0.0813, 0.0831, 0.0976, 0.0817, 0.0859, 0.0735, 0.0659, 0.0923, 0.0836],
    "Newport": [0.0873, 0.0662, 0.0672, 0.0819, 0.0749, 0.0649, 0.0835, 0.0725],
    "Petersburg": [0.0974, 0.1352, 0.0817, 0.1016, 0.0968, 0.1064, 0.1050],
    "Magadan": [0.1033, 0.0915, 0.0781, 0.0685, 0.0677, 0.0697, 0.0764, 0.0689],
    "Tvarminne": [0.0703, 0.1026, 0.0956, 0.0973, 0.1039, 0.1045],
}

# Anscombe, F. J. (1973). Graphs in statistical analysis. The American Statistician 27(1), 17-21, first set; printed:
# slope 0.500 with standard error 0.118, correlation 0.816.
X = [10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5]
Y = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68]


def test_discrimination_on_unbalanced_data():
    score = np.concatenate(list(MUSSELS.values()))
    batch = np.repeat(list(MUSSELS), [len(x) for x in MUSSELS.values()])
    got = assess(score, batch, ["one taster"] * len(score))[0].discrimination
    assert got.f == pytest.approx(7.12, abs=0.005)
    assert got.p == pytest.approx(2.8e-4, abs=0.05e-4)
    assert (got.df_between, got.df_within) == (4, 34)


def test_agreement_of_two_tasters():
    batch = [f"b{i:02d}" for i in range(11)]
    got = next(x for x in assess(X + Y, batch * 2, ["x"] * 11 + ["y"] * 11) if x.taster == "y").agreement
    assert got.slope == pytest.approx(0.500, abs=0.0005)
    assert got.slope_se == pytest.approx(0.118, abs=0.0005)
    assert got.correlation == pytest.approx(0.816, abs=0.0005)
