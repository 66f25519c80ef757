"""Fits every table of a shop: plain REML for the report, and the fit that judges, its priors learned from the first."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenhand.panel import mixed
from evenhand.verdict.priors import coffee_sd, first_priors, learn_priors
from evenhand.verdict.tables import Panel, Table, Work


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """The fits of all tables, each in the order of the tables and their attributes.

    Attributes
    ----------
    works
        The tables as they were fitted.
    plain
        Plain REML; None where there are too few scores for it.
    informed
        The fits that judge.
    priors
        What was believed of each spread before any sheet: median and s.d. of the logarithm, the batches' in tolerances.
    about_target
        Spread of batches about their targets before any sheet, in tolerances.
    """

    works: tuple[Work, ...]
    plain: tuple[Sequence[mixed.Fit | None], ...]
    informed: tuple[Sequence[mixed.Fit], ...]
    priors: dict[str, tuple[float, float]]
    about_target: float


def fit_tables(tables: Sequence[Table], panel: Panel) -> Fitted:
    """Fit every attribute of every table; the attributes lend each other what they tell of spreads.

    Parameters
    ----------
    tables
        The sheets, one table a service; at least one score in each column.
    panel
        What the indices mean, and what is asked.
    """
    works = tuple(Work.on(table, panel) for table in tables)
    plain = tuple(work.fit_plain() for work in works)
    usual = coffee_sd(works, plain)
    priors = first_priors(usual, panel)
    learned = learn_priors(works, [work.fit_informed(usual, priors) for work in works], priors)
    return Fitted(
        works=works,
        plain=plain,
        informed=tuple(work.fit_informed(usual, learned) for work in works),
        priors=priors,
        about_target=float(np.hypot(usual, priors["batch"][0])),
    )
