"""What comes out of reading a season: alerts, measures, joint charts, coffees, and the whole."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from evenhand.season.charts import JointChart, MeasureReading
from evenhand.season.roaster import RoasterReading
from evenhand.words import Words, capitalise, say

Floats = NDArray[np.float64]
State = Literal["shifted", "alert", "steady", "too_little"]
ChartName = Literal["single", "average", "sums"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Alert:
    """One stay beyond the limits of one chart: numbers, in the coffee's batches, of the first and last batch outside.

    `lasting` says that the last measured batch is still outside.
    """

    chart: ChartName
    first: int
    last: int
    lasting: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureSeason:
    """One measure of one coffee over its batches.

    Attributes
    ----------
    measure, unit
        As they are to be read.
    kind
        A taste at the house recipe, or a measure of the roast.
    value, sd
        Shape (batches of the coffee,), NaN where not measured.
    reading
        Charts and sentences; None where there is too little.
    gap
        What is too little, as it stands after the measure's name; empty where there is a reading.
    alerts
        Single batches, then averages, then sums.
    sign
        Whether something is a sign only: a step, a jump or a pattern, and no alert.
    state
        Shifted: averages or sums signal, and are still outside at the last measured batch or a step is seen. Alert: any
        other alert; it is over, or a single batch.
    """

    measure: str
    unit: str
    kind: Literal["taste", "roast"]
    value: Floats
    sd: Floats
    reading: MeasureReading | None
    gap: str
    alerts: tuple[Alert, ...]
    sign: bool
    state: State

    @property
    def too_little(self) -> str:
        """One sentence that says what is too little; empty where there is a reading."""
        return say("{measure}: {gap}", measure=self.measure, gap=self.gap) if self.gap else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class JointSeason:
    """Several measures of one coffee read as one, by Hotelling's T².

    Attributes
    ----------
    whole
        What it is, as it is read inside a sentence: "the roast".
    measures
        As they are to be read.
    chart
        T² of every batch; None where there are too few batches.
    sentences
        One for each batch that is odd as a whole.
    too_little
        One sentence where nothing is seen, but too few batches are there to see much; else empty.
    """

    whole: str
    measures: tuple[str, ...]
    chart: JointChart | None
    sentences: tuple[str, ...]
    too_little: str

    @property
    def name(self) -> Words:
        """What it is, as it stands alone."""
        return capitalise(self.whole)

    @property
    def signals(self) -> tuple[int, ...]:
        """Numbers of the batches that are odd as a whole."""
        return self.chart.signals if self.chart else ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CoffeeSeason:
    """One coffee over the season.

    Attributes
    ----------
    coffee, batches, dates
        Its batches in roasting order, with their roast dates.
    measures, joint
        Charts one by one, and of several measures together.
    together
        Sentences on measures that may have stepped at the same time.
    off_target
        A sentence for each batch off target, set against its fellows.
    state
        The worst of its charts.
    """

    coffee: str
    batches: tuple[str, ...]
    dates: tuple[str, ...]
    measures: tuple[MeasureSeason, ...]
    joint: tuple[JointSeason, ...]
    together: tuple[str, ...]
    off_target: tuple[str, ...]
    state: State


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonReading:
    """The whole season.

    Attributes
    ----------
    title, read_on, invented, warnings
        Handed on from the tastings.
    coffees
        Those asked for, in the order of their names.
    charted, alerting, by_luck
        How many measures have charts, how many of them hold an alert, and how many would by luck in steady seasons.
    across
        Sentences on the same step in several coffees.
    roaster
        What goes with what, over all coffees.
    """

    title: str
    read_on: str
    invented: bool
    warnings: tuple[str, ...]
    coffees: tuple[CoffeeSeason, ...]
    charted: int
    alerting: int
    by_luck: float
    across: tuple[str, ...]
    roaster: RoasterReading
