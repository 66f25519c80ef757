"""Assessors: every measure against scipy or numpy computed apart, and sentences that stay mild on few data."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from evenhand.errors import DesignError
from evenhand.panel.assessors import assess


def panel(
    rng, n_batches=12, repeats=2, tasters=("Ada", "Bo", "Cy", "Di"), noise=0.5, offset=None, gain=None, sessions=6
):
    """Draw a panel with known tasters; returns score, batch, taster, when."""
    truth = rng.normal(5.0, 1.0, n_batches)
    rows = []
    for name in tasters:
        for b in range(n_batches):
            for _ in range(repeats):
                level = 5.0 + (gain or {}).get(name, 1.0) * (truth[b] - 5.0) + (offset or {}).get(name, 0.0)
                rows.append((level + rng.normal(0, noise), f"b{b:02d}", name, b * sessions // n_batches))
    return [np.array(column) for column in zip(*rows, strict=True)]


def one(found, taster, attribute=""):
    return next(x for x in found if (x.taster, x.attribute) == (taster, attribute))


def test_discrimination_is_the_one_way_analysis_of_variance():
    score, batch, taster, _ = panel(np.random.default_rng(1))
    keep = np.random.default_rng(2).random(len(score)) < 0.8  # unbalanced
    score, batch, taster = score[keep], batch[keep], taster[keep]
    for name in np.unique(taster):
        groups = [score[(taster == name) & (batch == b)] for b in np.unique(batch[taster == name])]
        expected = stats.f_oneway(*groups)
        got = one(assess(score, batch, taster), name).discrimination
        assert (got.f, got.p) == pytest.approx((expected.statistic, expected.pvalue))
        assert (got.df_between, got.df_within) == (len(groups) - 1, sum(map(len, groups)) - len(groups))


def test_between_batches_sd_finds_the_truth():
    found = [
        one(assess(*panel(np.random.default_rng(seed), 40)[:3]), "Ada").discrimination.between_sd for seed in range(20)
    ]
    assert np.mean(found) == pytest.approx(1.0, abs=0.1)


def test_repeatability_is_the_pooled_sd_with_its_chi_square_bounds():
    score, batch, taster, _ = panel(np.random.default_rng(3), repeats=3)
    mine = score[taster == "Bo"].reshape(12, 3)
    sd = np.sqrt(mine.var(axis=1, ddof=1).mean())
    rest = np.sqrt(np.mean([score[taster == x].reshape(12, 3).var(axis=1, ddof=1).mean() for x in ("Ada", "Cy", "Di")]))
    got = one(assess(score, batch, taster), "Bo").repeatability
    assert (got.sd, got.df, got.others_sd) == (pytest.approx(sd), 24, pytest.approx(rest))
    assert got.lower90 == pytest.approx(sd * np.sqrt(24 / stats.chi2.ppf(0.95, 24)))
    assert got.upper90 == pytest.approx(sd * np.sqrt(24 / stats.chi2.ppf(0.05, 24)))
    assert got.p_worse == pytest.approx(stats.f.sf(sd**2 / rest**2, 24, 72))


def test_agreement_is_correlation_and_regression_on_the_others():
    score, batch, taster, _ = panel(np.random.default_rng(4), gain={"Di": 0.5})
    means = {x: score[taster == x].reshape(12, 2).mean(axis=1) for x in ("Ada", "Bo", "Cy", "Di")}
    others = np.mean([means[x] for x in ("Ada", "Bo", "Cy")], axis=0)
    expected = stats.linregress(others, means["Di"])
    got = one(assess(score, batch, taster), "Di").agreement
    assert (got.correlation, got.slope, got.slope_se, got.p) == pytest.approx(
        (expected.rvalue, expected.slope, expected.stderr, expected.pvalue)
    )
    interval = stats.pearsonr(others, means["Di"]).confidence_interval(0.90)
    assert (got.lower90, got.upper90) == pytest.approx((interval.low, interval.high))


def test_scale_use_is_the_paired_difference_and_the_ratio_of_spreads():
    score, batch, taster, _ = panel(np.random.default_rng(5), offset={"Cy": 1.2}, gain={"Cy": 1.8}, n_batches=20)
    means = {x: score[taster == x].reshape(20, 2).mean(axis=1) for x in ("Ada", "Bo", "Cy", "Di")}
    others = np.mean([means[x] for x in ("Ada", "Bo", "Di")], axis=0)
    expected = stats.ttest_rel(means["Cy"], others)
    got = one(assess(score, batch, taster), "Cy").scale_use
    assert (got.offset, got.p) == pytest.approx((np.mean(means["Cy"] - others), expected.pvalue))
    spread = means["Cy"].std(ddof=1) / np.sqrt(np.mean([means[x].var(ddof=1) for x in ("Ada", "Bo", "Di")]))
    assert got.spread_ratio == pytest.approx(spread)
    assert 1.0 < got.lower90 < got.spread_ratio < got.upper90
    assert (got.lowest, got.highest) == (score[taster == "Cy"].min(), score[taster == "Cy"].max())


def test_bounds_of_the_spread_ratio_cover_as_often_as_they_say():
    inside = 0
    for seed in range(300):
        score, batch, taster, _ = panel(
            np.random.default_rng([9, seed]), n_batches=20, repeats=1, tasters=("Ada", "Bo", "Cy")
        )
        got = one(assess(score, batch, taster), "Ada").scale_use
        inside += got.lower90 <= 1.0 <= got.upper90
    assert 0.84 < inside / 300 < 0.97


def test_drift_is_the_regression_of_session_means():
    rng = np.random.default_rng(6)
    score, batch, taster, when = panel(rng, n_batches=24, sessions=8)
    score = score + np.where(taster == "Ada", 0.3 * when, 0.0)
    means = {x: score[taster == x].reshape(24, 2).mean(axis=1) for x in ("Ada", "Bo", "Cy", "Di")}
    gap = (means["Ada"] - np.mean([means[x] for x in ("Bo", "Cy", "Di")], axis=0)).reshape(8, 3).mean(axis=1)
    expected = stats.linregress(np.arange(8), gap)
    got = one(assess(score, batch, taster, when=when), "Ada").drift
    assert (got.slope, got.slope_se, got.p, got.sessions) == pytest.approx(
        (expected.slope, expected.stderr, expected.pvalue, 8)
    )
    assert any("drift up" in s for s in one(assess(score, batch, taster, when=when), "Ada").sentences)


def test_sessions_of_unequal_size_weigh_by_their_scores():
    rng = np.random.default_rng(12)
    score, batch, taster, when = panel(rng, n_batches=24, sessions=6)
    keep = (taster != "Ada") | (rng.random(len(score)) < 0.6)
    score, batch, taster, when = score[keep], batch[keep], taster[keep], when[keep]
    rest = [score[taster == x].reshape(24, 2).mean(axis=1) for x in ("Bo", "Cy", "Di")]
    gap = score[taster == "Ada"] - np.mean(rest, axis=0)[np.unique(batch, return_inverse=True)[1][taster == "Ada"]]
    times = when[taster == "Ada"]
    sizes = np.array([(times == x).sum() for x in range(6)])
    means = np.array([gap[times == x].mean() for x in range(6)])
    slope, _ = np.polyfit(np.arange(6), means, 1, w=np.sqrt(sizes))
    assert len(set(sizes)) > 1
    assert one(assess(score, batch, taster, when=when), "Ada").drift.slope == pytest.approx(slope)


def test_bounds_of_the_spread_ratio_are_the_jackknife():
    rng = np.random.default_rng(13)
    score, batch, taster, _ = panel(rng, n_batches=9, repeats=1)
    keep = (taster == "Ada") | (rng.random(len(score)) < 0.8)
    score, batch, taster = score[keep], batch[keep], taster[keep]
    got = one(assess(score, batch, taster), "Ada").scale_use
    ratios = []
    for gone in np.unique(batch):
        left = batch != gone
        ratios.append(np.log(one(assess(score[left], batch[left], taster[left]), "Ada").scale_use.spread_ratio))
    error = np.sqrt(8 / 9 * np.sum((ratios - np.mean(ratios)) ** 2))
    assert np.log(got.upper90 / got.lower90) == pytest.approx(2 * stats.norm.ppf(0.95) * error)


def test_an_ageing_batch_is_not_a_drifting_taster():
    # One batch, tasted at eight sessions, loses half a point a session for everybody.
    rng = np.random.default_rng(7)
    when = np.repeat(np.arange(8), 3)
    taster = np.tile(["Ada", "Bo", "Cy"], 8)
    score = 8.0 - 0.5 * when + rng.normal(0, 0.2, 24)
    got = one(assess(score, ["b"] * 24, taster, when=when), "Ada").drift
    assert abs(got.slope) < 0.1
    assert got.p > 0.01


def test_others_are_corrected_for_who_met_which_batch():
    # Mild scores 2 lower and met only the second half; without the correction those batches would look weak.
    truth = np.array([4.0, 5.0, 6.0, 4.0, 5.0, 6.0])
    rows = [(truth[b], f"b{b}", "Ada") for b in range(6)] + [(truth[b] + 1, f"b{b}", "Bo") for b in range(6)]
    rows += [(truth[b] - 2, f"b{b}", "Mild") for b in range(3, 6)]
    score, batch, taster = zip(*rows, strict=True)
    got = one(assess(score, batch, taster), "Ada")
    assert got.agreement.slope == pytest.approx(1.0)
    assert got.agreement.correlation == pytest.approx(1.0)
    assert got.scale_use.offset_se == pytest.approx(0.0, abs=1e-9)


@given(seed=st.integers(0, 10_000), shift=st.floats(-3, 3), scale=st.floats(0.2, 5))
@settings(max_examples=20, deadline=None)
def test_the_units_of_the_scale_do_not_matter(seed, shift, scale):
    score, batch, taster, when = panel(np.random.default_rng(seed), n_batches=8)
    one_way = one(assess(score, batch, taster, when=when), "Bo")
    other = one(assess(shift + scale * score, batch, taster, when=when), "Bo")
    assert other.discrimination.f == pytest.approx(one_way.discrimination.f)
    assert other.repeatability.sd == pytest.approx(scale * one_way.repeatability.sd)
    assert other.agreement.slope == pytest.approx(one_way.agreement.slope)
    assert other.scale_use.offset == pytest.approx(scale * one_way.scale_use.offset)
    assert other.scale_use.spread_ratio == pytest.approx(one_way.scale_use.spread_ratio)
    assert other.drift.slope == pytest.approx(scale * one_way.drift.slope)


def test_an_even_panel_is_rarely_called_uneven():
    # No taster differs: at most about one in a hundred sentences may say "clearly", lie or drift.
    said = 0
    for seed in range(60):
        score, batch, taster, when = panel(np.random.default_rng([3, seed]))
        for x in assess(score, batch, taster, when=when):
            said += any(
                word in s for s in x.sentences for word in ("clearly", "scores lie 0", "scores drift", "run against")
            )
    assert said <= 18  # 240 rows, three such tests each at 1 %: 7 expected


def test_clear_faults_of_a_taster_are_said():
    rng = np.random.default_rng(10)
    names = ("Ada", "Bo", "Cy", "Di", "Eo", "Fay")
    score, batch, taster, when = panel(rng, n_batches=20, tasters=names, offset={"Bo": 1.5})
    mine = taster == "Di"
    score[mine] = 10.0 - score[mine]
    mine = taster == "Cy"
    score[mine] = 5.0 + rng.normal(0, 1.5, mine.sum())
    found = assess(score, batch, taster, when=when)
    assert any("higher than the others" in s for s in one(found, "Bo").sentences)
    assert any("run against" in s for s in one(found, "Di").sentences)
    assert any("no sign of telling these batches apart" in s for s in one(found, "Cy").sentences)
    assert any("clearly more than" in s for s in one(found, "Cy").sentences)
    assert any(s == "Ada tells batches apart (20 batches, 20 repeats)." for s in one(found, "Ada").sentences)


def test_few_data_give_none_and_mild_words():
    found = assess([5.0, 6.0, 9.0], ["a", "b", "a"], ["Ada", "Ada", "Bo"])
    ada, bo = found
    assert (ada.discrimination, ada.repeatability, ada.agreement, ada.drift) == (None, None, None, None)
    assert (ada.scale_use.offset, ada.scale_use.offset_se, ada.scale_use.spread_ratio) == (-4.0, None, None)
    assert (bo.scores, bo.batches) == (1, 1)
    text = " ".join(ada.sentences)
    assert "says little" in text
    assert "clear" not in text
    lone = assess([5.0, 6.0, 5.5], ["a", "b", "a"], ["Ada"] * 3, when=[1, 2, 3])[0]
    assert lone.scale_use.offset is None
    assert "Drift needs three sessions shared with others." in lone.sentences


def test_huge_differences_on_two_repeats_are_not_called_clear():
    score = [1.0, 1.0, 9.0, 9.0, 5.0, 5.01]
    got = assess(score, ["a", "a", "b", "b", "c", "c"], ["Ada"] * 6)[0]
    assert got.discrimination.p < 1e-6
    assert "seems to tell" in got.sentences[0]


def test_scores_all_alike_are_no_crash():
    score = [5.0] * 16
    batch = [f"b{i // 2 % 4}" for i in range(16)]
    taster = ["Ada"] * 8 + ["Bo"] * 8
    for x in assess(score, batch, taster, when=np.arange(16) % 8 // 2):
        assert (x.discrimination, x.agreement, x.scale_use.spread_ratio) == (None, None, None)
        assert (x.repeatability.sd, x.scale_use.offset, x.drift.slope) == (0.0, 0.0, 0.0)
        assert any("same score" in s for s in x.sentences)


def test_attributes_are_assessed_apart_and_sorted():
    score, batch, taster, _ = panel(np.random.default_rng(9))
    two = assess(
        np.tile(score, 2), np.tile(batch, 2), np.tile(taster, 2), np.repeat(["sweetness, milk", "acidity"], len(score))
    )
    assert [(x.taster, x.attribute) for x in two[:3]] == [
        ("Ada", "acidity"),
        ("Ada", "sweetness, milk"),
        ("Bo", "acidity"),
    ]
    single = one(assess(score, batch, taster), "Bo")
    assert one(two, "Bo", "acidity").agreement == single.agreement
    assert "on acidity" in two[0].sentences[0]


@pytest.mark.parametrize(
    ("arguments", "options"),
    [
        (([], [], []), {}),
        (([1.0], ["a", "b"], ["t"]), {}),
        (([np.nan], ["a"], ["t"]), {}),
        (([1.0], ["a"], ["t"]), {"when": [np.inf]}),
        (([1.0], ["a"], ["t"]), {"when": [1, 2]}),
    ],
)
def test_what_cannot_be_is_refused(arguments, options):
    with pytest.raises(DesignError):
        assess(*arguments, **options)


@pytest.mark.parametrize("attribute", ["", "acidity"])
@pytest.mark.parametrize("batches", [1, 2, 3, 20])
@pytest.mark.parametrize("noise", [0.1, 1.5])
def test_every_word_but_names_can_be_told_in_another_language(untold, attribute, batches, noise):
    rng = np.random.default_rng(7)
    drawn = panel(rng, n_batches=batches, noise=noise, offset={"Bo": 2.0, "Di": -2.0}, gain={"Cy": 0.2, "Di": -1.0})
    score, batch, taster, when = drawn
    for found in assess(score, batch, taster, np.full(len(score), attribute), when=when):
        for said in found.sentences:
            assert untold(said) <= {found.taster, attribute}, said
