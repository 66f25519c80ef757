"""What the panel's fault reports say of the roasts."""

from collections.abc import Set

import numpy as np

from evenhand.panel import faults
from evenhand.verdict.tastings import Tastings

# Blind cups hide from a taster that they have met the batch before, so their reports on it repeat each other little.
_REPEATS = 0.1


def hear(tastings: Tastings, usable: Set[str]) -> faults.FaultFit | None:
    """Form beliefs about faults from the reports on cups that may be judged.

    Parameters
    ----------
    tastings
        All that was tasted.
    usable
        Names of the pulls that may be judged.

    Returns
    -------
    FaultFit or None
        None where no fault was asked for.
    """
    reports = tastings.reports
    rows = np.array([pull in usable for pull in reports.pull.tolist()], dtype=bool)
    if not rows.any():
        return None
    asked = len(np.unique(reports.fault[rows]))
    share = min(max(faults.split_prevalence(tastings.costs.bad_by_half, asked), 1e-9), 1.0 - 1e-9)
    prior = faults.FaultPrior(prevalence=share, repeat_correlation=_REPEATS)
    return faults.fit(reports.heard[rows], reports.batch[rows], reports.taster[rows], reports.fault[rows], prior=prior)
