"""The reasons for a verdict in plain words, as mild as the evidence is thin.

Each sentence names the attribute or fault, the direction, the size in tolerances, and how sure it is; the last ones say
what was put down to the pull and to the tasters, and what would change the mind.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from evenhand.panel.faults import explain
from evenhand.verdict._service_words import in_service, name_attribute
from evenhand.verdict.cost import Costs
from evenhand.verdict.judgement import AttributeVerdict, BatchVerdict, FaultBelief
from evenhand.words import capitalise, join, say

# An effect of pull or tasters is told from this size on, in tolerances.
_WORTH_TELLING = 0.25
# An attribute is told when it is this likely outside its tolerance, a fault when it is this likely there.
_WORTH_NAMING = 0.2
_WORTH_MENTIONING = 0.03
_MOST_NAMED = 3

# A thing is said in four ways, as mild as the evidence is thin.
_ABOVE = (
    say("is above its tolerance"),
    say("is probably above its tolerance"),
    say("may well be above its tolerance"),
    say("could be above its tolerance"),
)
_BELOW = (
    say("is below its tolerance"),
    say("is probably below its tolerance"),
    say("may well be below its tolerance"),
    say("could be below its tolerance"),
)
_IN_THE_ROAST = (
    say("is in the roast"),
    say("is probably in the roast"),
    say("may well be in the roast"),
    say("could be in the roast"),
)
_COVARIATE: Mapping[str, str] = {
    "log_ratio": say("ratio"),
    "log_time": say("time"),
    "water": say("water temperature"),
    "strength": say("strength"),
}


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
        return say("{amount:.1e}", amount=value)
    return say("{amount:.0f}", amount=value) if value >= 10 else say("{amount:.2g}", amount=value)


def _chance(p: float) -> str:
    if p > 0.99:
        return say("over 99 %")
    if p < 0.01:
        return say("under 1 %")
    return say("{percent:.0f} %", percent=100 * p)


def _lead(case: BatchVerdict) -> str:
    chance = _chance(case.p_good)
    if case.decision == "taste_again":
        return say(
            "Taste again: it is good against its target with a probability of {chance}, and that does not settle it; "
            "{what} costs {cost} and would save {worth} on average.",
            chance=chance,
            what=case.next_cup.what,
            cost=_money(case.next_cup.cost),
            worth=_money(case.next_cup.worth),
        )
    release, hold = _money(case.expected_cost["release"]), _money(case.expected_cost["hold"])
    if case.decision == "release":
        return say(
            "Release: it is good against its target with a probability of {chance}; releasing is expected to cost "
            "{release}, holding {hold}, and no further cup is worth its price.",
            chance=chance,
            release=release,
            hold=hold,
        )
    return say(
        "Hold: it is good against its target with a probability of {chance}; holding is expected to cost {hold}, "
        "releasing {release}, and no further cup is worth its price.",
        chance=chance,
        hold=hold,
        release=release,
    )


def _untasted(case: BatchVerdict) -> list[str]:
    scored = {one.service for one in case.profile if one.scores > 0}
    missing = sorted({one.service for one in case.profile} - scored)
    if case.profile and not scored:
        return [
            say(
                "It has no cup that can be judged yet; all that is known of it is its target, how the shop's batches "
                "spread, and how this coffee's other batches came out, where there are any."
            )
        ]
    return [
        say(
            "It was not tasted {where}; there its profile is what the target and this coffee's other batches, where "
            "there are any, suggest.",
            where=in_service(service),
        )
        for service in missing
    ]


def _sides(one: AttributeVerdict) -> tuple[float, float]:
    """Probability above and below the tolerance."""
    return one.p_above, max(1.0 - one.p_within - one.p_above, 0.0)


def _as_sure(p: float, words: tuple[str, str, str, str]) -> str:
    """Choose among four ways to say a thing, from "is" to "could be", by how likely it is."""
    return words[0 if p >= 0.95 else 1 if p >= 0.7 else 2 if p >= 0.4 else 3]


def _attributes(case: BatchVerdict) -> list[str]:
    named = sorted((one for one in case.profile if 1 - one.p_within >= _WORTH_NAMING), key=lambda one: one.p_within)
    if not named:
        widest = max(case.profile, key=lambda one: abs(one.estimate - one.target) / one.tolerance, default=None)
        if widest is None:
            return [say("No attribute has a target, so only faults were judged.")]
        return [
            say(
                "Nothing in the profile stands out: furthest from its target is {name}, {size}.",
                name=name_attribute(widest),
                size=_size(widest),
            )
        ]
    said: list[str] = [capitalise(_outside(one)) for one in named[:_MOST_NAMED]]
    if len(named) > _MOST_NAMED:
        rest = join([name_attribute(one) for one in named[_MOST_NAMED:]])
        said.append(say("Less so, but not clear of their limits: {names}.", names=rest))
    return said


def _outside(one: AttributeVerdict) -> str:
    above, below = _sides(one)
    p, words = (above, _ABOVE) if above >= below else (below, _BELOW)
    return say(
        "{name} {lies} ({chance}): {estimate:.1f} (90 % interval {low:.1f} to {high:.1f}) against {target:g} ± "
        "{tolerance:g}, {size}.",
        name=name_attribute(one),
        lies=_as_sure(p, words),
        chance=_chance(p),
        estimate=one.estimate,
        low=one.lower90,
        high=one.upper90,
        target=one.target,
        tolerance=one.tolerance,
        size=_size(one),
    )


def _size(one: AttributeVerdict) -> str:
    distance = (one.estimate - one.target) / one.tolerance
    if abs(distance) < 0.05:
        return say("on its target")
    if distance > 0:
        return say("{distance:.1f} tolerances high", distance=distance)
    return say("{distance:.1f} tolerances low", distance=-distance)


def _faults(case: BatchVerdict, settle: Mapping[str, str]) -> list[str]:
    said: list[str] = []
    stray: list[str] = []
    unasked: list[str] = []
    for belief in sorted(case.faults, key=lambda one: -one.p_present):
        if not belief.asked:
            unasked.append(belief.fault)
            continue
        if belief.p_present >= _WORTH_NAMING:
            said.append(_named_fault(belief))
            said.extend(explain(belief.fault))
        elif belief.heard > 0 and belief.p_present >= _WORTH_MENTIONING:
            said.append(_doubtful_fault(belief))
        elif belief.heard > 0:
            stray.append(
                say("{fault} ({heard} of {asked})", fault=belief.fault, heard=belief.heard, asked=belief.asked)
            )
        if belief.fault in settle:
            said.append(settle[belief.fault])
    if unasked:
        said.append(
            say(
                "Nobody was asked about {faults} on it; how likely they are comes from the other batches.",
                faults=", ".join(unasked),
            )
        )
    if stray:
        said.append(say("Reports of {faults} are no more than false alarms would give.", faults=join(stray)))
    return said


def _named_fault(belief: FaultBelief) -> str:
    return capitalise(
        say(
            "{fault} {lies} ({chance}): heard in {heard} of {asked} reports.",
            fault=belief.fault,
            lies=_as_sure(belief.p_present, _IN_THE_ROAST),
            chance=_chance(belief.p_present),
            heard=belief.heard,
            asked=belief.asked,
        )
    )


def _doubtful_fault(belief: FaultBelief) -> str:
    return capitalise(
        say(
            "{fault} was heard in {heard} of {asked} reports: not enough to tell it from false alarms, and not nothing "
            "({chance}).",
            fault=belief.fault,
            heard=belief.heard,
            asked=belief.asked,
            chance=_chance(belief.p_present),
        )
    )


def _pulls(case: BatchVerdict, context: Context) -> list[str]:
    said: list[str] = [
        say(
            "Pull {pull} was too far from its recipe to be judged ({note}); its cups were left out.",
            pull=one.pull,
            note=one.note,
        )
        for one in case.pulls
        if not one.judgeable
    ]
    largest = max(
        (one for one in case.profile if one.scores),
        key=lambda one: abs(one.shot_effect) / one.tolerance,
        default=None,
    )
    if largest is not None and abs(largest.shot_effect) >= _WORTH_TELLING * largest.tolerance:
        said.append(_shot(largest, case, context))
    for pull, covariates in context.beyond.items():
        said.append(
            say(
                "Pull {pull} lies outside the {what} this shop has seen; its correction was given a wider doubt.",
                pull=pull,
                what=join([_COVARIATE[name] for name in covariates], " and "),
            )
        )
    return said


def _shot(largest: AttributeVerdict, case: BatchVerdict, context: Context) -> str:
    """Say what the pulls put into an attribute, and which of them ran off."""
    off = [
        say("{pull} {note}", pull=one.pull, note=one.note)
        for one in case.pulls
        if one.judgeable and one.note and context.service_of_pull.get(one.pull) == largest.service
    ]
    name = name_attribute(largest)
    if not off:
        return say(
            "The shot and not the roast explains {part:+.1f} of the raw {raw:.1f} for {name}; that part was taken out.",
            part=largest.shot_effect,
            raw=largest.raw_mean,
            name=name,
        )
    return say(
        "The shot and not the roast explains {part:+.1f} of the raw {raw:.1f} for {name} ({because}); that part was "
        "taken out.",
        part=largest.shot_effect,
        raw=largest.raw_mean,
        name=name,
        because=join(off[:3], "; "),
    )


def _tasters(case: BatchVerdict) -> list[str]:
    largest = max(
        (one for one in case.profile if one.scores),
        key=lambda one: abs(one.taster_effect) / one.tolerance,
        default=None,
    )
    if largest is None or abs(largest.taster_effect) < _WORTH_TELLING * largest.tolerance:
        return []
    name, size = name_attribute(largest), abs(largest.taster_effect)
    if largest.taster_effect > 0:
        return [
            say(
                "Those who tasted it scored {name} {size:.1f} higher than the panel's mean taster would; that part was "
                "taken out.",
                name=name,
                size=size,
            )
        ]
    return [
        say(
            "Those who tasted it scored {name} {size:.1f} lower than the panel's mean taster would; that part was "
            "taken out.",
            name=name,
            size=size,
        )
    ]


def _mind(case: BatchVerdict, costs: Costs) -> list[str]:
    """What would turn release into hold, or hold into release."""
    edge = costs.release_above
    if case.decision == "taste_again" or not case.profile or not 0 < edge < 1:
        return []
    if case.decision == "release":
        return _mind_release(case, edge)
    if case.p_fault > 1 - edge:
        worst = max(case.faults, key=lambda each: each.p_present).fault
        if case.p_within <= edge:
            return [
                say(
                    "Only further cups in which {fault} is not heard and the profile comes out within tolerance could "
                    "change this to release.",
                    fault=worst,
                )
            ]
        return [say("Only further cups in which {fault} is not heard could change this to release.", fault=worst)]
    return _mind_hold(case, edge)


def _mind_release(case: BatchVerdict, edge: float) -> list[str]:
    one = min(case.profile, key=lambda each: each.p_within)
    others = case.p_good / max(one.p_within, 1e-12)
    if others <= edge:
        return []
    above, below = _sides(one)
    turn = _turning_level(one, edge / others, upward=above >= below)
    if turn is None:
        return []
    name = name_attribute(one)
    if turn > one.estimate:
        said = say("{name} at {level:.1f} or more, as sure as now, would change this to hold.", name=name, level=turn)
    else:
        said = say("{name} at {level:.1f} or less, as sure as now, would change this to hold.", name=name, level=turn)
    return [capitalise(said)]


def _mind_hold(case: BatchVerdict, edge: float) -> list[str]:
    one = min(case.profile, key=lambda each: each.p_within)
    others = case.p_good / max(one.p_within, 1e-12)
    wanted = edge / others if others > 0 else 2.0
    turn = _turning_level(one, wanted, upward=one.estimate < one.target) if wanted < 1 else None
    if turn is None:
        return [say("No single attribute read anew would change this to release; several would have to.")]
    name = name_attribute(one)
    if one.estimate > one.target:
        said = say(
            "{name} at {level:.1f} or less, as sure as now, would change this to release.", name=name, level=turn
        )
    else:
        said = say(
            "{name} at {level:.1f} or more, as sure as now, would change this to release.", name=name, level=turn
        )
    return [capitalise(said)]


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
