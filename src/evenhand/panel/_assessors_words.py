"""What is said of a taster: only what the data support, and mildly while they are few."""

from evenhand.panel._assessors_measures import (
    Agreement,
    Discrimination,
    Drift,
    Repeatability,
    ScaleUse,
    t_quantile,
)

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
    about = f" on {attribute}" if attribute else ""
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
    if found is None:
        if repeatability is None:
            return f"Whether {taster} tells batches apart{about} cannot be said: no batch was scored twice."
        return f"{taster} gave every batch the same score{about}, or scored only one batch."
    rests = f"({found.df_between + 1} batches, {found.df_within} repeats)"
    strength = _strength(found.p, found.df_within)
    if strength == "clear":
        return f"{taster} tells batches apart{about} {rests}."
    if strength == "sign":
        return f"{taster} seems to tell batches apart{about}, on few data {rests}."
    if found.df_within < 2 * _FEW:
        return f"It is not yet known whether {taster} tells batches apart{about} {rests}."
    return f"{taster} shows no sign of telling these batches apart{about} {rests}; they may also be alike."


def _say_repeatability(found: Repeatability | None) -> str:
    if found is None:
        return "Repeatability needs at least one batch scored twice."
    span = f"{found.sd:.2f} points (90 % between {found.lower90:.2f} and {found.upper90:.2f})"
    if found.others_sd is None or found.p_worse is None:
        return f"Repeats of one batch scatter by {span}."
    strength = _strength(found.p_worse, found.df)
    tail = {
        "clear": f", clearly more than the others' {found.others_sd:.2f}",
        "sign": f", perhaps more than the others' {found.others_sd:.2f}",
        "": f"; the others' {found.others_sd:.2f}",
    }[strength]
    return f"Repeats of one batch scatter by {span}{tail}."


def _say_agreement(found: Agreement | None) -> str:
    if found is None:
        return "Agreement needs three batches, of different level, that others scored too."
    rests = f"over {found.batches} shared batches"
    if found.lower90 is None or found.upper90 is None:
        return f"The correlation with the others is {found.correlation:.2f} {rests}: too few to mean much."
    span = f"{found.correlation:.2f} {rests} (90 % between {found.lower90:.2f} and {found.upper90:.2f})"
    if found.upper90 < 0.0:
        return f"The scores run against the others': correlation {span}; ask whether the scale was turned round."
    if found.lower90 > 0.0:
        wide = t_quantile(found.batches - 2) * found.slope_se
        tail = ""
        if found.slope - wide > 1.0:
            tail = f", with more than a point ({found.slope:.1f}) for each point of theirs"
        elif found.slope + wide < 0.7:
            tail = f", with only {found.slope:.1f} points for each point of theirs"
        return f"The scores follow the others': correlation {span}{tail}."
    return f"Agreement with the others is not established: correlation {span}."


def _say_scale(found: ScaleUse | None) -> str:
    if found is None or found.offset is None:
        return "Scale use needs batches that others scored too."
    where = "higher" if found.offset > 0 else "lower"
    if found.p is None or found.offset_se is None:
        text = f"On the one shared batch the score is {abs(found.offset):.1f} points {where}, which says little"
    else:
        size = f"{abs(found.offset):.1f} points {where} than the others (standard error {found.offset_se:.1f})"
        text = {
            "clear": f"The scores lie {size}; the judgement corrects for that",
            "sign": f"The scores may lie {size}",
            "": "The scores lie at the others' level as far as can be told",
        }[_strength(found.p, found.batches)]
    if found.spread_ratio is not None and found.lower90 is not None and found.upper90 is not None:
        if found.lower90 > 1.0:
            text += f"; they use more of the scale ({found.spread_ratio:.1f} times the others' spread)"
        elif found.upper90 < 1.0:
            text += f"; they use less of the scale ({found.spread_ratio:.1f} times the others' spread)"
    return text + "."


def _say_drift(found: Drift | None) -> str:
    if found is None:
        return "Drift needs three sessions shared with others."
    strength = _strength(found.p, found.sessions)
    if not strength:
        return f"No drift against the others is seen over {found.sessions} sessions."
    way = "up" if found.slope > 0 else "down"
    word = "drift" if strength == "clear" else "may drift"
    return (
        f"The scores {word} {way} against the others by {abs(found.slope):.2g} points a unit of time "
        f"(standard error {found.slope_se:.1g}, {found.sessions} sessions)."
    )
