"""The public face of each module of the science, pinned: a name that goes or comes is a choice, not an accident."""

import importlib

import pytest

PUBLIC = {
    "evenhand": ["__version__", "judge"],
    "evenhand.espresso.caffeine": [
        "CAFFEINE_EXTRACTED_SHARE",
        "CAFFEINE_MG_PER_G_ROAST",
        "EFSA_DAY_MG",
        "EFSA_PREGNANCY_DAY_MG",
        "EFSA_SINGLE_DOSE_MG",
        "pull_caffeine_mg",
    ],
    "evenhand.espresso.extraction": [
        "Extraction",
        "extraction_dry_pct",
        "extraction_pct",
        "flow_g_per_s",
        "measure",
        "ratio",
        "solids_g",
    ],
    "evenhand.espresso.recipe": ["HouseRecipe", "Pull", "describe", "deviation", "judgeable"],
    "evenhand.panel.mixed": ["TERMS", "Fit", "LevelDraws", "Posterior", "Update", "fit", "fit_many"],
    "evenhand.panel.response": ["COVARIATES", "EffectPrior", "Response", "build", "effect_priors"],
    "evenhand.verdict.cost": ["Costs", "expected_hold", "expected_release"],
    "evenhand.verdict.judge": ["judge"],
    "evenhand.verdict.tolerance": ["Levels", "joint_within"],
    "evenhand.verdict.worth": [
        "Belief",
        "Tasting",
        "best",
        "most_it_could_save",
        "of_tasting",
        "one_attribute",
    ],
}


@pytest.mark.parametrize("module", sorted(PUBLIC))
def test_public_names(module):
    found = importlib.import_module(module)
    assert sorted(found.__all__) == sorted(PUBLIC[module])
    for name in found.__all__:
        assert getattr(found, name) is not None
