"""Lines of a shop learned together: evidence against a dense normal law, and calm where nothing ages."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from evenhand.errors import QuantityError
from evenhand.season._ageing_cells import ln_evidence_of
from evenhand.season._ageing_together import learn_shares
from evenhand.season.ageing import CHANGE_SCALES, TastedLots, learn_ageing, learn_ageing_together


def line(rng, change, *, lots=2, batches=9, sd=0.4, scatter=0.2):
    months = np.concatenate([np.sort(rng.uniform(3, 12, batches)) for _ in range(lots)])
    lot = np.repeat([f"lot {j}" for j in range(lots)], batches)
    level = np.repeat(rng.normal(6, 0.3, lots), batches) + change * months
    level = level + rng.normal(0, np.hypot(sd, scatter), months.size)
    return TastedLots(level=level, level_sd=np.full(months.size, sd), lot=lot.tolist(), months=months)


def test_evidence_under_two_priors_differs_as_that_of_the_dense_normal_law():
    """One cell of the grid: the flat common level is a normal one so wide that its width cancels."""
    rng = np.random.default_rng(1)
    months, member = rng.uniform(2, 12, 8), np.repeat([0, 1], 4)
    y, sd, spread = rng.normal(0, 0.5, 8), np.full(8, 0.4), np.array([0.7, 0.05])
    w = 1 / sd**2
    is_of = (member[:, None] == np.arange(2)).astype(float)
    sums = [part @ is_of for part in (w, w * months, w * months**2, w * y, w * y * months)]
    constant = np.array((w * y**2 - np.log(w)).sum())
    same = member[:, None] == member[None, :]

    def ours(prior):
        return float(ln_evidence_of(sums, constant, spread, prior)) - np.log(prior)

    def dense(prior):
        product = np.outer(months, months)
        cov = np.diag(sd**2) + same * (spread[0] ** 2 + spread[1] ** 2 * product) + 1e6 + prior**2 * product
        return multivariate_normal(np.zeros(8), cov).logpdf(y)

    assert ours(0.3) - ours(0.02) == pytest.approx(dense(0.3) - dense(0.02), abs=1e-4)


def test_shares_of_a_mixture_are_recovered():
    """Three in four draws from a narrow normal law, one in four from a wide one."""
    rng = np.random.default_rng(2)
    draws = rng.normal(0, np.where(rng.random(4000) < 0.75, 0.1, 1.0))
    ln = np.stack([-0.5 * (draws / s) ** 2 - np.log(s) for s in (0.1, 1.0)], axis=1)
    assert learn_shares(ln) == pytest.approx([0.75, 0.25], abs=0.03)


def test_without_a_line_every_scale_counts_alike():
    lines, shares = learn_ageing_together([])
    assert lines == ()
    assert shares == pytest.approx([1 / len(CHANGE_SCALES)] * len(CHANGE_SCALES))


def test_in_a_shop_where_nothing_ages_few_lines_say_that_something_does():
    rng = np.random.default_rng(3)
    lines, shares = learn_ageing_together([line(rng, 0.0) for _ in range(24)])
    assert sum(one.shows for one in lines) <= 2
    assert shares[0] + shares[1] > 0.8
    # One line alone must reckon with a large change where its tastings say little.
    alone, _ = learn_ageing_together([line(np.random.default_rng(3), 0.0)])
    assert alone[0].change.sd > 1.5 * np.median([one.change.sd for one in lines])


def test_the_few_that_age_are_found_among_many_that_do_not():
    rng = np.random.default_rng(4)
    true = [-0.20, 0.17] + [0.0] * 24
    lines, _ = learn_ageing_together([line(rng, change) for change in true])
    for one, change in zip(lines[:2], true[:2], strict=True):
        for lot in one.lots:
            got, shows = one.lot_change(lot)
            assert shows
            assert got.value == pytest.approx(change, abs=2.5 * got.sd)
    assert sum(one.shows for one in lines[2:]) <= 3


def test_intervals_of_a_lots_change_hold_the_truth():
    """90 % intervals of 160 lots whose changes come from the mixture that is believed before any tasting."""
    rng = np.random.default_rng(5)
    true = rng.normal(0, rng.choice(CHANGE_SCALES, 80))
    lines, _ = learn_ageing_together([line(rng, change) for change in true])
    held = 0
    for one, change in zip(lines, true, strict=True):
        for lot in one.lots:
            got, _ = one.lot_change(lot)
            held += abs(got.value - change) <= 1.645 * got.sd
    assert 0.84 < held / 160 < 0.99


def test_a_wider_scale_has_wider_priors():
    rng = np.random.default_rng(6)
    one = line(rng, -0.1)
    wide = TastedLots(
        level=10 * np.asarray(one.level), level_sd=10 * one.level_sd, lot=one.lot, months=one.months, scale_width=100.0
    )
    (a,), _ = learn_ageing_together([one])
    (b,), _ = learn_ageing_together([wide])
    assert b.change.value == pytest.approx(10 * a.change.value, rel=1e-6)
    assert b.change.sd == pytest.approx(10 * a.change.sd, rel=1e-6)


def test_a_lot_tasted_at_one_age_alone_gives_no_line_and_takes_no_other_along():
    rng = np.random.default_rng(7)
    once = TastedLots(level=[6.0, 6.1], level_sd=[0.3, 0.3], lot=["a", "a"], months=[4.0, 4.0])
    none, some = learn_ageing_together([once, line(rng, 0.1)])[0]
    assert none is None
    assert some is not None


def test_with_one_scale_the_mixture_is_the_plain_line():
    from evenhand.season._ageing_model import mix_ageings

    one = line(np.random.default_rng(8), -0.1)
    parts = [
        learn_ageing(one.level, one.level_sd, one.lot, one.months, change_prior_sd=scale) for scale in (0.05, 0.15)
    ]
    mixed = mix_ageings(parts, [0.0, 1.0])
    assert mixed.change == parts[1].change
    assert mixed.shows == parts[1].shows
    at = [6.0, 12.0]
    for got, wanted in zip(mixed.level(at, "lot 1"), parts[1].level(at, "lot 1"), strict=True):
        assert got.value == pytest.approx(wanted.value)
        assert got.sd == pytest.approx(wanted.sd)
    both, alone = mixed.leaving(5, 7, 10, "lot 0"), parts[1].leaving(5, 7, 10, "lot 0")
    np.testing.assert_allclose(both.p_left, alone.p_left, atol=0.01)


def test_a_scale_without_width_is_refused():
    with pytest.raises(QuantityError, match="width"):
        learn_ageing_together([TastedLots(level=[1], level_sd=[1], lot=["a"], months=[1], scale_width=0.0)])
