"""What a shop does without a model: average the same cups, and release what lies within tolerance."""

import numpy as np
from numpy.typing import NDArray

from evenhand.verdict.tastings import Tastings

# A fault counts as there when this share of the reports on a batch names it; chosen in favour of the naive rule, which
# does best near it with the rates of the study's panels.
HEARD_SHARE = 1 / 3


def release(tastings: Tastings) -> NDArray[np.bool_]:
    """Release a batch when every mean score lies within tolerance and no fault is heard by a third of the reports.

    Parameters
    ----------
    tastings
        What was tasted; pulls and tasters are not looked at.

    Returns
    -------
    ndarray
        Shape (batches,), in the order of `tastings.batches`. A batch not scored on an attribute is not held for it.
    """
    scores, reports = tastings.scores, tastings.reports
    place = {one.batch: index for index, one in enumerate(tastings.batches)}
    coffee = [one.coffee for one in tastings.batches]
    out = np.ones(len(place), dtype=bool)
    keys = np.array([place[name] for name in scores.batch.tolist()])
    columns: dict[tuple[str, str], list[int]] = {}
    for row, column in enumerate(zip(scores.service.tolist(), scores.attribute.tolist(), strict=True)):
        columns.setdefault(column, []).append(row)
    for column, rows in columns.items():
        index = np.array(rows)
        count = np.bincount(keys[index], minlength=len(place))
        total = np.bincount(keys[index], scores.score[index], minlength=len(place))
        for batch in np.flatnonzero(count):
            goal = tastings.targets[coffee[batch]].get(column)
            if goal is not None and abs(total[batch] / count[batch] - goal.target) > goal.tolerance:
                out[batch] = False
    report_keys = np.array([place[name] for name in reports.batch.tolist()], dtype=int)
    for fault in np.unique(reports.fault):
        mine = reports.fault == fault
        asked = np.bincount(report_keys[mine], minlength=len(place))
        heard = np.bincount(report_keys[mine], reports.heard[mine], minlength=len(place))
        out &= ~((asked > 0) & (heard >= HEARD_SHARE * asked))
    return out
