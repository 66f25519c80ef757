"""Difference and similarity tests: can two coffees be told apart, how far apart are they, and what could the test see.

Forced choice (triangle, duo-trio, paired, 3-AFC, tetrad), yes-no tests (A-not-A, same-different), replicates by the
beta-binomial model and Wald's sequential plan. This module is the door; each part has its own file beside it:

- ``_discrimination_psychometric``: share of correct answers at a distance d', slope and inverse
- ``_discrimination_exact``: exact binomial p-values, critical numbers, intervals
- ``_discrimination_power``: power, numbers of answers, smallest difference
- ``_discrimination_results``: one test read in full, and its sentence
- ``_discrimination_rates``, ``_discrimination_fisher``: A-not-A and same-different
- ``_discrimination_replicates``: several answers from each taster
- ``_discrimination_sequential``: stop as soon as it is clear
"""

from evenhand.panel._discrimination_exact import (
    critical_number,
    difference_p_value,
    exact_interval,
    similarity_number,
    similarity_p_value,
)
from evenhand.panel._discrimination_fisher import MOST_CUPS_A_SIDE, cups_for_rates, fisher_p_value, rates_power
from evenhand.panel._discrimination_power import (
    MOST_ANSWERS,
    AnswersNeeded,
    SmallestDifference,
    answers_for_difference,
    answers_for_similarity,
    difference_power,
    similarity_power,
    smallest_difference,
)
from evenhand.panel._discrimination_psychometric import (
    ForcedChoice,
    d_prime_from_proportion,
    discriminators_from_proportion,
    guess_rate,
    proportion_correct,
    proportion_correct_slope,
    proportion_from_discriminators,
)
from evenhand.panel._discrimination_rates import (
    RatesResult,
    a_not_a_rates,
    a_not_a_test,
    rates_upper_bound,
    same_different_rates,
    same_different_test,
)
from evenhand.panel._discrimination_replicates import (
    ReplicatedResult,
    replicated_log_likelihood,
    replicated_test,
    tarone_shuffled,
    tarone_z,
)
from evenhand.panel._discrimination_results import (
    DifferenceResult,
    SimilarityResult,
    difference_test,
    reading,
    similarity_test,
)
from evenhand.panel._discrimination_sequential import (
    SequentialCharacteristic,
    SequentialDecision,
    SequentialPlan,
    sequential_characteristic,
    sequential_decision,
    sequential_plan,
    sequential_plan_for_shares,
    wald_expected_answers,
)

__all__ = [
    "MOST_ANSWERS",
    "MOST_CUPS_A_SIDE",
    "AnswersNeeded",
    "DifferenceResult",
    "ForcedChoice",
    "RatesResult",
    "ReplicatedResult",
    "SequentialCharacteristic",
    "SequentialDecision",
    "SequentialPlan",
    "SimilarityResult",
    "SmallestDifference",
    "a_not_a_rates",
    "a_not_a_test",
    "answers_for_difference",
    "answers_for_similarity",
    "critical_number",
    "cups_for_rates",
    "d_prime_from_proportion",
    "difference_p_value",
    "difference_power",
    "difference_test",
    "discriminators_from_proportion",
    "exact_interval",
    "fisher_p_value",
    "guess_rate",
    "proportion_correct",
    "proportion_correct_slope",
    "proportion_from_discriminators",
    "rates_power",
    "rates_upper_bound",
    "reading",
    "replicated_log_likelihood",
    "replicated_test",
    "same_different_rates",
    "same_different_test",
    "sequential_characteristic",
    "sequential_decision",
    "sequential_plan",
    "sequential_plan_for_shares",
    "similarity_number",
    "similarity_p_value",
    "similarity_power",
    "similarity_test",
    "smallest_difference",
    "tarone_shuffled",
    "tarone_z",
    "wald_expected_answers",
]
