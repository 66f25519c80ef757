"""What is said of a taster: only what the data support, and mildly while they are few."""

from evenhand.panel._assessors_measures import (
    Agreement,
    Discrimination,
    Drift,
    Repeatability,
    ScaleUse,
    t_quantile,
)
from evenhand.words import say

#: Below this p a sentence says so; one row in a hundred will by luck alone.
_CLEAR = 0.01
#: Below this p a sentence calls it a sign to watch.
_SIGN = 0.05
#: With fewer degrees of freedom or batches than this nothing is called clear.
_FEW = 6


def put_in_words(
    taster: str,
    attribute: str,
    discrimination: Discrimination | None,
    repeatability: Repeatability | None,
    agreement: Agreement | None,
    scale_use: ScaleUse | None,
    drift: Drift | None,
    times_given: bool,
) -> tuple[str, ...]:
    """Return one sentence an aspect, in a fixed order; an aspect that cannot be told says what it would need."""
    about = say(" on {attribute}", attribute=attribute) if attribute else ""
    said = [
        _say_discrimination(taster, about, discrimination, repeatability),
        _say_repeatability(repeatability),
        _say_agreement(agreement),
        _say_scale(scale_use),
    ]
    if times_given:
        said.append(_say_drift(drift))
    return tuple(sentence for sentence in said if sentence)


def _strength(p: float, rests_on: int) -> str:
    """Return how an effect is spoken of: clear, a sign, or nothing."""
    if p < _CLEAR and rests_on >= _FEW:
        return "clear"
    return "sign" if p < _SIGN else ""


def _say_discrimination(
    taster: str, about: str, found: Discrimination | None, repeatability: Repeatability | None
) -> str:
    named = {"taster": taster, "about": about}
    if found is None:
        if repeatability is None:
            return say(
                "Whether {taster} tells batches apart{about} cannot be said: no batch was scored twice.", **named
            )
        return say("{taster} gave every batch the same score{about}, or scored only one batch.", **named)
    named["rests"] = say(
        "({batches} batches, {repeats} repeats)", batches=found.df_between + 1, repeats=found.df_within
    )
    strength = _strength(found.p, found.df_within)
    if strength == "clear":
        return say("{taster} tells batches apart{about} {rests}.", **named)
    if strength == "sign":
        return say("{taster} seems to tell batches apart{about}, on few data {rests}.", **named)
    if found.df_within < 2 * _FEW:
        return say("It is not yet known whether {taster} tells batches apart{about} {rests}.", **named)
    return say("{taster} shows no sign of telling these batches apart{about} {rests}; they may also be alike.", **named)


def _say_repeatability(found: Repeatability | None) -> str:
    if found is None:
        return say("Repeatability needs at least one batch scored twice.")
    span = say(
        "{sd:.2f} points (90 % between {low:.2f} and {high:.2f})", sd=found.sd, low=found.lower90, high=found.upper90
    )
    if found.others_sd is None or found.p_worse is None:
        return say("Repeats of one batch scatter by {span}.", span=span)
    strength = _strength(found.p_worse, found.df)
    others = found.others_sd
    if strength == "clear":
        return say(
            "Repeats of one batch scatter by {span}, clearly more than the others' {others:.2f}.",
            span=span,
            others=others,
        )
    if strength == "sign":
        return say(
            "Repeats of one batch scatter by {span}, perhaps more than the others' {others:.2f}.",
            span=span,
            others=others,
        )
    return say("Repeats of one batch scatter by {span}; the others' {others:.2f}.", span=span, others=others)


def _say_agreement(found: Agreement | None) -> str:
    if found is None:
        return say("Agreement needs three batches, of different level, that others scored too.")
    if found.lower90 is None or found.upper90 is None:
        return say(
            "The correlation with the others is {correlation:.2f} over {batches} shared batches: too few to mean much.",
            correlation=found.correlation,
            batches=found.batches,
        )
    span = say(
        "{correlation:.2f} over {batches} shared batches (90 % between {low:.2f} and {high:.2f})",
        correlation=found.correlation,
        batches=found.batches,
        low=found.lower90,
        high=found.upper90,
    )
    if found.upper90 < 0.0:
        return say(
            "The scores run against the others': correlation {span}; ask whether the scale was turned round.", span=span
        )
    if found.lower90 <= 0.0:
        return say("Agreement with the others is not established: correlation {span}.", span=span)
    wide = t_quantile(found.batches - 2) * found.slope_se
    if found.slope - wide > 1.0:
        return say(
            "The scores follow the others': correlation {span}, with more than a point ({slope:.1f}) for each point of "
            "theirs.",
            span=span,
            slope=found.slope,
        )
    if found.slope + wide < 0.7:
        return say(
            "The scores follow the others': correlation {span}, with only {slope:.1f} points for each point of theirs.",
            span=span,
            slope=found.slope,
        )
    return say("The scores follow the others': correlation {span}.", span=span)


def _say_scale(found: ScaleUse | None) -> str:
    if found is None or found.offset is None:
        return say("Scale use needs batches that others scored too.")
    level = _say_level(found.offset, found.offset_se, found.p, found.batches)
    if found.spread_ratio is None or found.lower90 is None or found.upper90 is None:
        return say("{level}.", level=level)
    if found.lower90 > 1.0:
        return say(
            "{level}; they use more of the scale ({ratio:.1f} times the others' spread).",
            level=level,
            ratio=found.spread_ratio,
        )
    if found.upper90 < 1.0:
        return say(
            "{level}; they use less of the scale ({ratio:.1f} times the others' spread).",
            level=level,
            ratio=found.spread_ratio,
        )
    return say("{level}.", level=level)


def _say_level(offset: float, offset_se: float | None, p: float | None, batches: int) -> str:
    """Return where the scores lie beside the others', as the beginning of a sentence."""
    size = abs(offset)
    if p is None or offset_se is None:
        if offset > 0:
            return say("On the one shared batch the score is {size:.1f} points higher, which says little", size=size)
        return say("On the one shared batch the score is {size:.1f} points lower, which says little", size=size)
    strength = _strength(p, batches)
    if not strength:
        return say("The scores lie at the others' level as far as can be told")
    if offset > 0:
        distance = say(
            "{size:.1f} points higher than the others (standard error {error:.1f})", size=size, error=offset_se
        )
    else:
        distance = say(
            "{size:.1f} points lower than the others (standard error {error:.1f})", size=size, error=offset_se
        )
    if strength == "clear":
        return say("The scores lie {distance}; the judgement corrects for that", distance=distance)
    return say("The scores may lie {distance}", distance=distance)


def _say_drift(found: Drift | None) -> str:
    if found is None:
        return say("Drift needs three sessions shared with others.")
    strength = _strength(found.p, found.sessions)
    if not strength:
        return say("No drift against the others is seen over {sessions} sessions.", sessions=found.sessions)
    speed = say(
        "{slope:.2g} points a unit of time (standard error {error:.1g}, {sessions} sessions)",
        slope=abs(found.slope),
        error=found.slope_se,
        sessions=found.sessions,
    )
    if strength == "clear":
        if found.slope > 0:
            return say("The scores drift up against the others by {speed}.", speed=speed)
        return say("The scores drift down against the others by {speed}.", speed=speed)
    if found.slope > 0:
        return say("The scores may drift up against the others by {speed}.", speed=speed)
    return say("The scores may drift down against the others by {speed}.", speed=speed)
