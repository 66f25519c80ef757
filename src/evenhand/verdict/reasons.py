"""The reasons for a verdict in plain words, as mild as the evidence is thin.

Each sentence names the attribute or fault, the direction, the size in tolerances, and how sure it is; the last ones say
what was put down to the pull and to the tasters, and what would change the mind.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from evenhand.panel.faults import explain
from evenhand.verdict.cost import Costs
from evenhand.verdict.judgement import AttributeVerdict, BatchVerdict

# An effect of pull or tasters is told from this size on, in tolerances.
_WORTH_TELLING = 0.25
# An attribute is told when it is this likely outside its tolerance, a fault when it is this likely there.
_WORTH_NAMING = 0.2
_WORTH_MENTIONING = 0.03
_MOST_NAMED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What the reasons need beside the verdict.

    Attributes
    ----------
    costs
        The stakes, for what would change the mind.
    beyond
        For each pull outside what the shop has seen, the covariates in which it is.
    service_of_pull
        How each pull was served, for those that were scored.
    settle
        For each fault in doubt, a sentence on how many further cups would settle it.
    """

    costs: Costs
    beyond: Mapping[str, Sequence[str]]
    service_of_pull: Mapping[str, str]
    settle: Mapping[str, str]


def give(case: BatchVerdict, context: Context) -> tuple[str, ...]:
    """Give the reasons for one verdict, the weightiest first.

    Parameters
    ----------
    case
        The verdict, its own reasons still empty.
    context
        What they need beside it.

    Returns
    -------
    tuple of str
        Plain sentences; at least one.
    """
    sentences = [_lead(case)]
    sentences += _untasted(case)
    sentences += _attributes(case)
    sentences += _faults(case, context.settle)
    sentences += _pulls(case, context)
    sentences += _tasters(case)
    sentences += _mind(case, context.costs)
    return tuple(sentences)


def _money(value: float) -> str:
    """Two significant figures below ten, whole units above, powers of ten where nobody counts."""
    if value == 0:
        return "0"
    if value >= 1e7 or value < 1e-3:
        return f"{value:.1e}"
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"


def _chance(p: float) -> str:
    if p > 0.99:
        return "over 99 %"
    if p < 0.01:
        return "under 1 %"
    return f"{100 * p:.0f} %"


def _lead(case: BatchVerdict) -> str:
    cost = case.expected_cost
    good = f"it is good against its target with a probability of {_chance(case.p_good)}"
    if case.decision == "release":
        return (
            f"Release: {good}; releasing is expected to cost {_money(cost['release'])}, "
            f"holding {_money(cost['hold'])}, and no further cup is worth its price."
        )
    if case.decision == "hold":
        return (
            f"Hold: {good}; holding is expected to cost {_money(cost['hold'])}, "
            f"releasing {_money(cost['release'])}, and no further cup is worth its price."
        )
    return (
        f"Taste again: {good}, and that does not settle it; {case.next_cup.what} costs {_money(case.next_cup.cost)} "
        f"and would save {_money(case.next_cup.worth)} on average."
    )


def _untasted(case: BatchVerdict) -> list[str]:
    scored = {one.service for one in case.profile if one.scores > 0}
    missing = sorted({one.service for one in case.profile} - scored)
    if case.profile and not scored:
        return [
            "It has no cup that can be judged yet; all that is known of it is its target, how the shop's batches "
            "spread, and how this coffee's other batches came out, where there are any."
        ]
    return [
        f"It was not tasted {_in(service)}; there its profile is what the target and this coffee's other batches, "
        "where there are any, suggest."
        for service in missing
    ]


def _in(service: str) -> str:
    return {"black": "in black", "milk": "in milk", "bowl": "in the bowl"}.get(service, f"in {service}")


def _name(one: AttributeVerdict) -> str:
    return f"{one.attribute} {_in(one.service)}"


def _sides(one: AttributeVerdict) -> tuple[float, float]:
    """Probability above and below the tolerance."""
    return one.p_above, max(1.0 - one.p_within - one.p_above, 0.0)


def _how_sure(p: float) -> str:
    if p >= 0.95:
        return "is"
    if p >= 0.7:
        return "is probably"
    if p >= 0.4:
        return "may well be"
    return "could be"


def _attributes(case: BatchVerdict) -> list[str]:
    named = sorted((one for one in case.profile if 1 - one.p_within >= _WORTH_NAMING), key=lambda one: one.p_within)
    if not named:
        widest = max(case.profile, key=lambda one: abs(one.estimate - one.target) / one.tolerance, default=None)
        if widest is None:
            return ["No attribute has a target, so only faults were judged."]
        return [f"Nothing in the profile stands out: furthest from its target is {_name(widest)}, {_size(widest)}."]
    said = []
    for one in named[:_MOST_NAMED]:
        above, below = _sides(one)
        side, p = ("above", above) if above >= below else ("below", below)
        said.append(
            f"{_capital(_name(one))} {_how_sure(p)} {side} its tolerance ({_chance(p)}): "
            f"{one.estimate:.1f} (90 % interval {one.lower90:.1f} to {one.upper90:.1f}) against "
            f"{one.target:g} ± {one.tolerance:g}, {_size(one)}."
        )
    if len(named) > _MOST_NAMED:
        rest = ", ".join(_name(one) for one in named[_MOST_NAMED:])
        said.append(f"Less so, but not clear of their limits: {rest}.")
    return said


def _size(one: AttributeVerdict) -> str:
    distance = (one.estimate - one.target) / one.tolerance
    if abs(distance) < 0.05:
        return "on its target"
    return f"{abs(distance):.1f} tolerances {'high' if distance > 0 else 'low'}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _faults(case: BatchVerdict, settle: Mapping[str, str]) -> list[str]:
    said: list[str] = []
    stray: list[str] = []
    unasked: list[str] = []
    for belief in sorted(case.faults, key=lambda one: -one.p_present):
        name = _capital(belief.fault)
        heard = f"heard in {belief.heard} of {belief.asked} reports"
        if not belief.asked:
            unasked.append(belief.fault)
            continue
        if belief.p_present >= _WORTH_NAMING:
            said.append(f"{name} {_how_sure(belief.p_present)} in the roast ({_chance(belief.p_present)}): {heard}.")
            said.extend(explain(belief.fault))
        elif belief.heard > 0 and belief.p_present >= _WORTH_MENTIONING:
            said.append(
                f"{name} was {heard}: not enough to tell it from false alarms, and not nothing "
                f"({_chance(belief.p_present)})."
            )
        elif belief.heard > 0:
            stray.append(f"{belief.fault} ({belief.heard} of {belief.asked})")
        if belief.fault in settle:
            said.append(settle[belief.fault])
    if unasked:
        said.append(
            f"Nobody was asked about {', '.join(unasked)} on it; how likely they are comes from the other batches."
        )
    if stray:
        said.append(f"Reports of {', '.join(stray)} are no more than false alarms would give.")
    return said


def _pulls(case: BatchVerdict, context: Context) -> list[str]:
    said = [
        f"Pull {one.pull} was too far from its recipe to be judged ({one.note}); its cups were left out."
        for one in case.pulls
        if not one.judgeable
    ]
    largest = max(
        (one for one in case.profile if one.scores),
        key=lambda one: abs(one.shot_effect) / one.tolerance,
        default=None,
    )
    if largest is not None and abs(largest.shot_effect) >= _WORTH_TELLING * largest.tolerance:
        off = [
            f"{one.pull} {one.note}"
            for one in case.pulls
            if one.judgeable and one.note and context.service_of_pull.get(one.pull) == largest.service
        ]
        because = f" ({'; '.join(off[:3])})" if off else ""
        said.append(
            f"The shot and not the roast explains {largest.shot_effect:+.1f} of the raw {largest.raw_mean:.1f} for "
            f"{_name(largest)}{because}; that part was taken out."
        )
    words = {"log_ratio": "ratio", "log_time": "time", "water": "water temperature", "strength": "strength"}
    for pull, covariates in context.beyond.items():
        what = " and ".join(words[name] for name in covariates)
        said.append(f"Pull {pull} lies outside the {what} this shop has seen; its correction was given a wider doubt.")
    return said


def _tasters(case: BatchVerdict) -> list[str]:
    largest = max(
        (one for one in case.profile if one.scores),
        key=lambda one: abs(one.taster_effect) / one.tolerance,
        default=None,
    )
    if largest is None or abs(largest.taster_effect) < _WORTH_TELLING * largest.tolerance:
        return []
    way = "higher" if largest.taster_effect > 0 else "lower"
    return [
        f"Those who tasted it scored {_name(largest)} {abs(largest.taster_effect):.1f} {way} than the panel's mean "
        "taster would; that part was taken out."
    ]


def _mind(case: BatchVerdict, costs: Costs) -> list[str]:
    """What would turn release into hold, or hold into release."""
    edge = costs.release_above
    if case.decision == "taste_again" or not case.profile or not 0 < edge < 1:
        return []
    if case.decision == "release":
        one = min(case.profile, key=lambda each: each.p_within)
        others = case.p_good / max(one.p_within, 1e-12)
        if others <= edge:
            return []
        above, below = _sides(one)
        turn = _turning_level(one, edge / others, upward=above >= below)
        if turn is None:
            return []
        word = "or more" if turn > one.estimate else "or less"
        return [f"{_capital(_name(one))} at {turn:.1f} {word}, as sure as now, would change this to hold."]
    if case.p_fault > 1 - edge:
        worst = max(case.faults, key=lambda each: each.p_present)
        if case.p_within <= edge:
            return [
                f"Only further cups in which {worst.fault} is not heard and the profile comes out within tolerance "
                "could change this to release."
            ]
        return [f"Only further cups in which {worst.fault} is not heard could change this to release."]
    one = min(case.profile, key=lambda each: each.p_within)
    others = case.p_good / max(one.p_within, 1e-12)
    wanted = edge / others if others > 0 else 2.0
    turn = _turning_level(one, wanted, upward=one.estimate < one.target) if wanted < 1 else None
    if turn is None:
        return ["No single attribute read anew would change this to release; several would have to."]
    word = "or less" if one.estimate > one.target else "or more"
    return [f"{_capital(_name(one))} at {turn:.1f} {word}, as sure as now, would change this to release."]


def _turning_level(one: AttributeVerdict, p_wanted: float, *, upward: bool) -> float | None:
    """Level at which the attribute's own probability within tolerance reaches `p_wanted`, other things as they are."""
    sd = max(one.sd, 1e-12)

    low, high = one.target - one.tolerance, one.target + one.tolerance
    # A tolerance that reaches the end of the scale has no limit there.
    low, high = low if low > one.scale_low else -np.inf, high if high < one.scale_high else np.inf

    def within(level: float) -> float:
        return float(ndtr((high - level) / sd) - ndtr((low - level) / sd))

    releasing = within(one.estimate) < p_wanted
    start = one.estimate
    end = one.target if releasing else start + (1 if upward else -1) * (2 * one.tolerance + 8 * sd)
    if (within(end) < p_wanted) == (within(start) < p_wanted):
        return None
    for _ in range(60):
        middle = 0.5 * (start + end)
        if (within(middle) < p_wanted) == releasing:
            start = middle
        else:
            end = middle
    level = 0.5 * (start + end)
    return level if one.scale_low <= level <= one.scale_high else None
