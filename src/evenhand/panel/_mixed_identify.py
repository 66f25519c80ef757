"""Finds what the data cannot tell apart, and says so in words: terms that coincide, covariates that add nothing."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from evenhand.panel._mixed_design import Bools, Design, Floats, Ints
from evenhand.words import say

_COLLINEAR: Final = 1e-10  # share of a covariate's squares left over by the coffees and the columns before it

Dropped = tuple[tuple[str, str], ...]

TERM_WORD: Final[Mapping[str, str]] = {
    "batch": say("batch"),
    "taster": say("taster"),
    "batch_taster": say("batch x taster"),
    "pull": say("pull"),
    "residual": say("residual"),
}
"""What each term is called in a sentence."""


def keep_covariates(coffee: Ints, covariates: Floats, names: tuple[str, ...], flat: Bools) -> tuple[Ints, Dropped]:
    """Choose the covariates that tell something beside the coffee means and the covariates before them.

    Parameters
    ----------
    coffee
        Each row's coffee, shape (n,).
    covariates
        Shape (n, k).
    names
        The k names.
    flat
        Which of them have no prior, shape (k,). One with a prior is always kept: the prior tells it.

    Returns
    -------
    The numbers of the kept columns, and a sentence for each one dropped.
    """
    kept: list[int] = []
    dropped: list[tuple[str, str]] = []
    basis: list[Floats] = []
    counts = np.maximum(np.bincount(coffee), 1)
    for j, name in enumerate(names):
        if not flat[j]:
            kept.append(j)
            continue
        column = covariates[:, j]
        size = float(column @ column)
        left = column - (np.bincount(coffee, column) / counts)[coffee]
        left = left - (np.bincount(coffee, left) / counts)[coffee]
        within = float(left @ left)
        for _ in range(2):  # twice, for the sake of rounding
            for direction in basis:
                left = left - (direction @ left) * direction
        rest = float(left @ left)
        if size == 0.0:
            dropped.append(
                (name, say("The covariate {name} is zero in every row, so its effect was left out.", name=name))
            )
        elif within <= 1e-20 * size:
            dropped.append(
                (
                    name,
                    say("The covariate {name} is constant within every coffee, so its effect was left out.", name=name),
                )
            )
        elif rest <= _COLLINEAR * within:
            before = ", ".join(names[i] for i in kept if flat[i])
            said = say(
                "The covariate {name} follows from {before} and the coffee, so its effect was left out.",
                name=name,
                before=before,
            )
            dropped.append((name, said))
        else:
            kept.append(j)
            basis.append(left / np.sqrt(rest))
    return np.array(kept, np.int64), tuple(dropped)


def coinciding(design: Design, wanted: set[str]) -> dict[str, str]:
    """Terms whose levels split the rows exactly as another term's do, with a sentence for each.

    Parameters
    ----------
    design
        The sorted rows.
    wanted
        Names of the terms asked for.

    Returns
    -------
    The sentence by term.
    """
    out: dict[str, str] = {}
    rows, batches, tasters, cells, pulls = (
        design.n,
        len(design.batches),
        len(design.tasters),
        len(design.cells),
        len(design.pulls),
    )
    if "batch" in wanted and batches == rows:
        out["batch"] = say("Each batch has one score, so it was left out and its scatter counts as residual.")
    if "taster" in wanted and tasters > 1:
        if tasters == rows:
            out["taster"] = say("Each taster gave one score, so it was left out and its scatter counts as residual.")
        elif tasters == batches == cells and "batch" in wanted:
            out["taster"] = say(
                "Each batch was tasted by a taster of its own, so it was left out and its scatter counts as the "
                "batch's."
            )
    if "batch_taster" in wanted:
        if cells == rows:
            out["batch_taster"] = say(
                "Each taster scored each batch once, so it was left out and its scatter counts as residual."
            )
        elif cells == batches and "batch" in wanted:
            out["batch_taster"] = say(
                "Each batch was tasted by one taster, so it was left out and its scatter counts as the batch's."
            )
        elif cells == tasters and "taster" in wanted:
            out["batch_taster"] = say(
                "Each taster tasted one batch, so it was left out and its scatter counts as the taster's."
            )
    if "pull" in wanted:
        if pulls == rows:
            out["pull"] = say("Each pull has one score, so it was left out and its scatter counts as residual.")
        elif pulls == batches and "batch" in wanted:
            out["pull"] = say("Each batch has one pull, so it was left out and its scatter counts as the batch's.")
        elif pulls == cells and "batch_taster" in wanted and "batch_taster" not in out:
            pairs = np.unique(design.pull * np.int64(cells) + design.cell)
            if len(pairs) == cells:
                out["pull"] = say(
                    "Each taster had a pull of their own, so it was left out and its scatter counts as batch x taster."
                )
    return out


def sentence(term: str, design: Design, swallowed: bool) -> str:
    """Say why a term is left out that the numbers show to be unidentified.

    Parameters
    ----------
    term
        Name of the term.
    design
        The sorted rows.
    swallowed
        True when the fixed effects account for it, False when other terms do.

    Returns
    -------
    One sentence.
    """
    if term == "taster" and len(design.tasters) == 1:
        return say(
            "Only one taster scored, so the taster's own level cannot be told from the coffee's and was left out."
        )
    if term == "batch" and len(design.batches) == 1:
        return say("There is only one batch, so its own level cannot be told from the coffee's mean and was left out.")
    if term == "batch" and len(design.batches) == len(design.coffees):
        return say(
            "Each coffee has one batch, so the batch's level cannot be told from the coffee's mean and was left out."
        )
    what = TERM_WORD[term]
    if swallowed:
        return say("The coffee means and covariates account for all of {what}, so it was left out.", what=what)
    return say(
        "The scatter of {what} cannot be told from that of the other terms with this design, so it was left out.",
        what=what,
    )
