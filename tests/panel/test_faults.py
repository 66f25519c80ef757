"""Faults: presence and rates against exact enumeration, simulation with known truth, and Bayes' rule by hand."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import betaln, logsumexp
from scipy.stats import beta, betabinom

from evenhand.errors import DesignError
from evenhand.panel.faults import FaultPrior, TasterPrior, fit, split_prevalence, update
from evenhand.words import Words

RATE = st.floats(0.01, 0.99)


def as_rows(heard, asked):
    """Turn (B, T) counts into reports."""
    rows = [
        (int(c < heard[i, j]), f"b{i}", f"t{j}", "green")
        for i, j in np.ndindex(heard.shape)
        for c in range(asked[i, j])
    ]
    return [list(column) for column in zip(*rows, strict=True)]


def enumerate_presence(heard, asked, prior):
    """Return exact P(present) by summing over every pattern of presence and integrating the panel means on a fine grid.

    Independent of the module: plain sums, scipy's beta law; repeated reports independent.
    """
    share = (np.arange(400) + 0.5) / 400

    def log_marginal(mean, strength, yes, every):
        panel = np.clip(beta.ppf(share, mean * prior.pool_strength, (1 - mean) * prior.pool_strength), 1e-9, 1 - 1e-9)
        a, b = panel * strength, (1 - panel) * strength
        each = betaln(a[:, None] + yes, b[:, None] + every - yes) - betaln(a, b)[:, None]
        return logsumexp(each.sum(axis=1)) - np.log(len(share))

    n_batches = heard.shape[0]
    a = prior.prevalence * prior.prevalence_strength
    b = (1 - prior.prevalence) * prior.prevalence_strength
    logs, patterns = [], []
    for pattern in itertools.product((0, 1), repeat=n_batches):
        z = np.array(pattern)[:, None]
        logs.append(
            betaln(a + z.sum(), b + n_batches - z.sum())
            + log_marginal(prior.sensitivity, prior.sensitivity_strength, (z * heard).sum(0), (z * asked).sum(0))
            + log_marginal(
                prior.false_alarm, prior.false_alarm_strength, ((1 - z) * heard).sum(0), ((1 - z) * asked).sum(0)
            )
        )
        patterns.append(z[:, 0])
    return np.exp(logs - logsumexp(logs)) @ np.array(patterns)


def simulate(rng, n_batches, n_tasters, n_faults, cups, prevalence=0.1, rho=0.2):
    """Draw presence, rates and reports from the model's own prior."""
    present = rng.random((n_batches, n_faults)) < prevalence
    s = rng.beta(2.8, 1.2, (n_tasters, n_faults))
    f = rng.beta(1.0, 19.0, (n_tasters, n_faults))
    weight = (1 - rho) / rho
    rate = np.clip(np.where(present[:, None, :], s, f), 1e-6, 1 - 1e-6)
    heard = rng.random((cups, n_batches, n_tasters, n_faults)) < rng.beta(rate * weight, (1 - rate) * weight)
    _, b, t, k = np.indices(heard.shape)
    names = [
        np.char.add(letter, np.char.zfill(x.ravel().astype(str), 3)) for letter, x in zip("btf", (b, t, k), strict=True)
    ]
    return present, s, f, (heard.ravel().astype(int), *names)


@pytest.mark.parametrize("seed", range(12))
def test_one_batch_agrees_with_exact_enumeration(seed):
    rng = np.random.default_rng(seed)
    asked = rng.integers(1, 3, (1, rng.integers(1, 5)))
    heard = rng.binomial(asked, 0.4)
    prior = FaultPrior(prevalence=0.2, repeat_correlation=0.0)
    exact = enumerate_presence(heard, asked, prior)
    assert fit(*as_rows(heard, asked), prior=prior).p_present[:, 0] == pytest.approx(exact, abs=0.01)


def test_few_batches_agree_with_exact_enumeration():
    prior = FaultPrior(prevalence=0.2, prevalence_strength=8.0, repeat_correlation=0.0)
    off = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        n_batches, n_tasters = rng.integers(2, 6), rng.integers(1, 5)
        asked = rng.integers(1, 3, (n_batches, n_tasters))
        present = rng.random(n_batches) < 0.3
        rate = np.where(present[:, None], rng.beta(2.8, 1.2, n_tasters), rng.beta(1, 19, n_tasters))
        heard = rng.binomial(asked, rate)
        exact = enumerate_presence(heard, asked, prior)
        off.append(np.abs(fit(*as_rows(heard, asked), prior=prior).p_present[:, 0] - exact))
    off = np.concatenate(off)
    # The fixed point takes the other batches' presence at its expectation; with few batches that costs a little.
    assert off.mean() < 0.015
    assert off.max() < 0.12


def test_repeated_cups_follow_the_beta_binomial_law():
    # One taster whose rates are known almost exactly, three of three heard: scipy's law with the stated correlation.
    own = TasterPrior(sensitivity=0.7, sensitivity_strength=1e7, false_alarm=0.05, false_alarm_strength=1e7)
    prior = FaultPrior(prevalence=0.1, repeat_correlation=0.2, tasters={("Ada", "smoky"): own})
    got = fit([1, 1, 1], ["b"] * 3, ["Ada"] * 3, ["smoky"] * 3, prior=prior).p("b", "smoky")
    with_fault = 0.1 * betabinom.pmf(3, 3, 0.7 * 4, 0.3 * 4)
    without = 0.9 * betabinom.pmf(3, 3, 0.05 * 4, 0.95 * 4)
    assert got == pytest.approx(with_fault / (with_fault + without), abs=1e-6)


def test_three_reports_on_one_batch_give_a_sane_answer():
    one_of_three = fit([1, 0, 0], ["b"] * 3, ["t1", "t2", "t3"], ["ashy"] * 3).p("b", "ashy")
    all_three = fit([1, 1, 1], ["b"] * 3, ["t1", "t2", "t3"], ["ashy"] * 3).p("b", "ashy")
    none = fit([0, 0, 0], ["b"] * 3, ["t1", "t2", "t3"], ["ashy"] * 3).p("b", "ashy")
    assert none < 0.01 < one_of_three < 0.3
    assert 0.9 < all_three < 0.999


def test_repeats_of_one_taster_weigh_less_than_two_tasters():
    same = fit([1, 1], ["b", "b"], ["t1", "t1"], ["ashy"] * 2).p("b", "ashy")
    two = fit([1, 1], ["b", "b"], ["t1", "t2"], ["ashy"] * 2).p("b", "ashy")
    one = fit([1], ["b"], ["t1"], ["ashy"]).p("b", "ashy")
    assert one < same < two


def test_probabilities_are_calibrated_on_known_truth():
    p, z = [], []
    for seed in range(25):
        present, _, _, reports = simulate(np.random.default_rng([7, seed]), 40, 3, 4, 2)
        result = fit(*reports, prior=FaultPrior(prevalence=0.1))
        assert result.converged
        p.append(result.p_present.ravel())
        z.append(present.ravel())
    p, z = np.concatenate(p), np.concatenate(z)
    assert np.mean((p - z) ** 2) < 0.25 * np.mean((0.1 - z) ** 2)  # far better than knowing the prevalence alone
    for low, high in ((0.0, 0.02), (0.02, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 0.97), (0.97, 1.01)):
        inside = (p >= low) & (p < high)
        said, seen, n = p[inside].mean(), z[inside].mean(), inside.sum()
        assert n > 20
        assert abs(said - seen) < 0.03 + 3 * np.sqrt(said * (1 - said) / n)


def test_uncertainty_of_the_rates_is_honest():
    far_s, far_f = [], []
    for seed in range(25):
        _, s, f, reports = simulate(np.random.default_rng([8, seed]), 40, 3, 4, 2)
        result = fit(*reports, prior=FaultPrior(prevalence=0.1))
        far_s.append(((result.sensitivity - s) / result.sensitivity_sd).ravel())
        far_f.append(((result.false_alarm - f) / result.false_alarm_sd).ravel())
    # 300 rates of each kind; a standard deviation of 1 would be perfect.
    assert 0.8 < np.std(np.concatenate(far_s)) < 1.25
    assert 0.8 < np.std(np.concatenate(far_f)) < 1.3


def test_a_deaf_taster_is_found_with_few_control_cups():
    reports = [(1, b, t) for b in range(6) for t in ("Ada", "Bo", "Cy")] + [(0, b, "Deaf") for b in range(6)]
    heard, batch, taster = zip(*reports, strict=True)
    labels = [f"control {b}" for b in batch]
    truth = {(f"control {b}", "green"): 1 for b in range(6)}
    result = fit(heard, labels, taster, ["green"] * len(heard), known=truth)
    deaf = result.tasters.index("Deaf")
    assert result.sensitivity[deaf, 0] < 0.35 < 0.8 < result.sensitivity[result.tasters.index("Ada"), 0]
    said = result.hard_of_hearing()
    assert [sentence.split()[0] for sentence in said] == ["Deaf"]
    assert all(isinstance(sentence, Words) for sentence in said)
    # The same lesson without controls, from the others' ears.
    unknown = fit(heard, labels, taster, ["green"] * len(heard))
    assert unknown.sensitivity[deaf, 0] < 0.4
    # A deaf taster's silence then means little, a good one's much.
    silent = [unknown.after("new", "green", [(name, 0)]) for name in ("Deaf", "Ada")]
    assert silent[1] < 0.5 * silent[0] < unknown.p("new", "green")


def test_known_truth_as_mapping_or_array_is_the_same():
    heard, batch, taster, fault = [1, 0, 1, 0], ["a", "a", "b", "b"], ["t", "u", "t", "u"], ["baked"] * 4
    one = fit(heard, batch, taster, fault, known={("a", "baked"): 1})
    two = fit(heard, batch, taster, fault, known=[1, np.nan, np.nan, np.nan])
    assert np.array_equal(one.p_present, two.p_present)
    assert one.p("a", "baked") == 1.0
    assert one.after("a", "baked", [("t", 0)]) == 1.0
    free = fit(heard, batch, taster, fault)
    assert one.sensitivity[0, 0] > free.sensitivity[0, 0]


def test_controls_do_not_move_the_prevalence():
    control = [f"c{i}" for i in range(30)]
    heard = [1] * 30 + [0]
    result = fit(heard, [*control, "b"], ["t"] * 31, ["ashy"] * 31, known={(c, "ashy"): 1 for c in control})
    assert result.prevalence[0] < 0.051


def test_what_was_never_asked_has_the_prevalence():
    result = fit([1, 0, 0], ["a", "b", "b"], ["t"] * 3, ["ashy", "ashy", "green"], known={("never tasted", "green"): 0})
    assert result.p("a", "green") == pytest.approx(float(result.prevalence[result.faults.index("green")]))
    assert result.p("elsewhere", "ashy") == pytest.approx(float(result.prevalence[0]))
    assert result.p("never tasted", "green") == 0.0
    assert result.asked.tolist() == [[1, 0], [1, 1], [0, 0]]
    assert result.heard.tolist() == [[1, 0], [0, 0], [0, 0]]


def test_any_fault_lies_within_its_bounds():
    _, _, _, reports = simulate(np.random.default_rng(3), 12, 3, 4, 1)
    result = fit(*reports)
    for batch in (*result.batches, "unseen"):
        row = [result.p(batch, fault) for fault in result.faults]
        low, high = result.p_any_bounds(batch)
        assert result.p_any(batch) == pytest.approx(1 - np.prod([1 - x for x in row]))
        assert low - 1e-12 <= result.p_any(batch) <= high + 1e-12
        assert low == max(row)


def test_further_reports_without_refitting_come_close_to_refitting():
    _, _, _, (heard, batch, taster, fault) = simulate(np.random.default_rng(11), 40, 4, 2, 2)
    result = fit(heard, batch, taster, fault)
    off, moved = [], []
    for one_batch in result.batches[:10]:
        for one_fault in result.faults:
            more = [("t000", 1), ("t002", 0)]
            again = fit(
                np.append(heard, [1, 0]),
                np.append(batch, [one_batch] * 2),
                np.append(taster, ["t000", "t002"]),
                np.append(fault, [one_fault] * 2),
            )
            before, after, fitted = (
                np.log(p / (1 - p))
                for p in (
                    result.p(one_batch, one_fault),
                    result.after(one_batch, one_fault, more),
                    again.p(one_batch, one_fault),
                )
            )
            off.append(after - fitted)
            moved.append(fitted - before)
    # What the new reports teach of the tasters is left out: under half a unit of log odds, where the belief moves by 3.
    assert np.max(np.abs(off)) < 0.5
    assert np.median(np.abs(off)) < 0.15 * np.median(np.abs(moved))


def test_a_further_report_on_the_only_batch_is_exact():
    # With the panel's mean known, one taster and one batch, the sequential answer must be that of all reports at once.
    prior = FaultPrior(pool_strength=1e7)
    for heard in itertools.product((0, 1), repeat=4):
        first = fit(heard[:2], ["b"] * 2, ["t"] * 2, ["ashy"] * 2, prior=prior)
        whole = fit(heard, ["b"] * 4, ["t"] * 4, ["ashy"] * 4, prior=prior)
        after = first.after("b", "ashy", [("t", heard[2]), ("t", heard[3])])
        assert after == pytest.approx(whole.p("b", "ashy"), abs=1e-5)


def test_order_of_further_reports_does_not_matter():
    _, _, _, reports = simulate(np.random.default_rng(5), 20, 3, 1, 1)
    result = fit(*reports)
    said = [("t000", 1), ("t001", 0), ("t000", 0), ("someone new", 1)]
    answers = [result.after("b001", "f000", order) for order in itertools.permutations(said)]
    assert np.ptp(answers) < 1e-12
    assert result.after("b001", "f000", []) == pytest.approx(result.p("b001", "f000"))


@given(seed=st.integers(0, 10_000))
@settings(max_examples=15, deadline=None)
def test_the_order_of_rows_does_not_matter(seed):
    rng = np.random.default_rng(seed)
    _, _, _, reports = simulate(rng, 8, 3, 2, 1)
    shuffled = rng.permutation(len(reports[0]))
    one, two = fit(*reports), fit(*(column[shuffled] for column in reports))
    assert one.p_present == pytest.approx(two.p_present, abs=1e-9)


@given(seed=st.integers(0, 10_000))
@settings(max_examples=15, deadline=None)
def test_one_more_report_moves_the_belief_its_own_way(seed):
    rng = np.random.default_rng(seed)
    _, _, _, (heard, batch, taster, fault) = simulate(rng, 8, 3, 1, 1)
    result = fit(heard, batch, taster, fault)
    i = rng.integers(len(heard))
    flipped = heard.copy()
    flipped[i] = 1 - heard[i]
    other = fit(flipped, batch, taster, fault)
    change = other.p(batch[i], fault[i]) - result.p(batch[i], fault[i])
    assert change * (1 if flipped[i] else -1) > 0
    assert np.all((result.p_present > 0) & (result.p_present < 1))


@given(p=RATE, s=RATE, f=RATE)
def test_a_report_on_average_changes_nothing(p, s, f):
    chance = p * s + (1 - p) * f
    mean = chance * update(p, s, f, 1) + (1 - chance) * update(p, s, f, 0)
    assert float(mean) == pytest.approx(p, abs=1e-12)


def test_bayes_rule_by_hand_and_by_arrays():
    # 2 % of roasts smoky, heard in 80 of 100 of them and in 10 of 100 others: of 1,000 roasts 16 + 98 are reported.
    assert float(update(0.02, 0.8, 0.1, 1)) == pytest.approx(16 / 114)
    assert float(update(0.02, 0.8, 0.1, 0)) == pytest.approx(4 / 886)
    assert update([[0.02], [0.5]], 0.8, 0.1, [0, 1]).shape == (2, 2)


def test_a_share_of_bad_batches_is_split():
    each = split_prevalence(0.12, 5)
    assert 1 - (1 - each) ** 5 == pytest.approx(0.12)
    with pytest.raises(DesignError):
        split_prevalence(1.0, 5)


def test_a_prevalence_for_each_fault():
    result = fit(
        [0, 0], ["b", "b"], ["t", "t"], ["ashy", "green"], prior=FaultPrior(prevalence={"ashy": 0.4, "green": 0.1})
    )
    assert result.p("elsewhere", "ashy") > 0.3 > 0.11 > result.p("elsewhere", "green")


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (([], [], [], []), "no fault report"),
        (([1, 2], ["a", "a"], ["t", "t"], ["x", "x"]), "Report 2 is 2"),
        (([np.nan], ["a"], ["t"], ["x"]), "not asked is no row"),
        (([1], ["a", "b"], ["t"], ["x"]), "one length"),
        (([1, 1], ["a", "a"], ["t", "t"], ["x", "x"], [0, 1]), "both 0 and 1"),
        (([1], ["a"], ["t"], ["x"], {("a", "x"): 0.5}), "0 or 1"),
        (([1], ["a"], ["t"], ["x"], [1, 0]), "one value a report"),
        (([1], ["a"], ["t"], ["x"], None, FaultPrior(sensitivity=1.0)), "strictly between"),
        (([1], ["a"], ["t"], ["x"], None, FaultPrior(pool_strength=0.0)), "above 0"),
        (([1], ["a"], ["t"], ["x"], None, FaultPrior(repeat_correlation=1.0)), "repeat correlation"),
        (([1], ["a"], ["t"], ["x"], None, FaultPrior(prevalence={"y": 0.1})), "no prevalence for the fault 'x'"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(arguments, word):
    with pytest.raises(DesignError, match=word) as refused:
        fit(*arguments)
    assert isinstance(refused.value.args[0], Words)


def test_unknown_fault_is_refused():
    with pytest.raises(DesignError, match="knows ashy"):
        fit([1], ["b"], ["t"], ["ashy"]).p("b", "asy")
