"""What the worth of the next tasting starts from: the belief about a batch, and the tastings that are on offer."""

import numpy as np
from numpy.typing import NDArray

from evenhand.panel import faults
from evenhand.verdict.arrangement import SERVICES, Arrangement
from evenhand.verdict.profile import Profiles
from evenhand.verdict.worth import Belief, Tasting

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_MOST_TASTERS = 4


def believe(
    profiles: Profiles,
    heard: faults.FaultFit | None,
    batch: str,
    index: int,
    asked: IntArray,
    p_within: float,
    *,
    panel: int,
) -> Belief:
    """What is believed of a batch before the next cup, in the form that the worth of a tasting is worked out from.

    Parameters
    ----------
    profiles, heard
        What all sheets say of profiles and faults; `heard` is None where no fault was asked about.
    batch, index
        The batch, and its row in `profiles`.
    asked
        The columns of its profile that have a target.
    p_within
        Probability that all of them lie within tolerance.
    panel
        How many tasters there are.
    """
    sd = profiles.sd[index, asked]
    columns = [profiles.columns[j] for j in asked.tolist()]

    def variance(term: str) -> FloatArray:
        return np.array([one.believed[term] for one in columns], dtype=float)

    return Belief(
        mean=profiles.estimate[index, asked],
        covariance=profiles.error_correlation[index][np.ix_(asked, asked)] * np.outer(sd, sd),
        low=profiles.low[index, asked],
        high=profiles.high[index, asked],
        service=tuple(one.service for one in columns),
        pull_var=variance("pull"),
        taster_var=variance("batch_taster"),
        sheet_var=variance("residual"),
        noise_correlation=profiles.noise_correlation[np.ix_(asked, asked)],
        met=np.array([one.tasters[index] for one in columns], dtype=float),
        sheets=np.array([one.scores[index] for one in columns], dtype=float),
        panel=panel,
        p_within=p_within,
        p_fault=np.array([heard.p(batch, name) for name in heard.faults]) if heard else np.zeros(0),
        sensitivity=heard.panel_sensitivity if heard else np.zeros(0),
        false_alarm=heard.panel_false_alarm if heard else np.zeros(0),
    )


def list_offers(bench: Arrangement, belief: Belief) -> list[Tasting]:
    """List the next tastings to choose from: one or two pulls in one service or in each, by one to four tasters."""
    services = [service for service in SERVICES if service in belief.service] or ["black"]
    people = sorted({count for count in (1, 2, _MOST_TASTERS) if count <= len(bench.panel.tasters)})
    if people and people[-1] < len(bench.panel.tasters) < _MOST_TASTERS:
        people.append(len(bench.panel.tasters))
    shapes: list[tuple[tuple[str, int], ...]] = [((service, number),) for number in (1, 2) for service in services]
    if len(services) > 1:
        shapes += [tuple((service, number) for service in services) for number in (1, 2)]
    return [Tasting(pulls=shape, tasters=number) for shape in shapes for number in people or [1]]
