"""Says an advice in a practitioner's sentences, the most pressing first."""

from typing import Final

from evenhand.espresso._dial_advice import Advice, Habit, Option
from evenhand.words import Words, capitalise, join, say, say_many

_NUMBERS: Final = {
    2: say("two"),
    3: say("three"),
    4: say("four"),
    5: say("five"),
    6: say("six"),
    7: say("seven"),
    8: say("eight"),
    9: say("nine"),
    10: say("ten"),
}

# Fewer pulls say little more of the scatter than what was believed of it. Common practice, no source.
_PULLS_FOR_A_SCATTER = 12

LEAVE_THE_WATER: Final = say(
    "Leave the water temperature: at equal strength and extraction it changes the taste little (Batali et al. 2020, "
    "Scientific Reports 10 16450)."
)


def say_advice(advice: Advice) -> tuple[str, ...]:
    """Say what to change, what to expect, how sure that is, and what stands in the way.

    Returns
    -------
    tuple of str
        Whole sentences; the first is the advice itself.
    """
    told: list[str] = [_change(advice)]
    told += [_habits(advice)] if advice.habits else []
    if advice.too_coarse:
        told.append(
            say(
                "The grinder's step is too coarse to hit: one step moves the time by {step_s:.1f} s, and the tolerance "
                "is {width_s:.1f} s wide from end to end.",
                step_s=advice.step_s,
                width_s=2 * advice.recipe.time_tol_s,
            )
        )
    if advice.beyond_seen and advice.change != "leave":
        told.append(
            say(
                "That setting lies beyond all that were pulled so far: the forecast is drawn out, so look at the next "
                "pull before another move."
            )
        )
    if advice.now.setting is not None:
        told.append(_direction(advice))
    wide = advice.scatter_s > 0.75 * advice.recipe.time_tol_s
    if wide and advice.pulls >= _PULLS_FOR_A_SCATTER and advice.is_inside(advice.then):
        told.append(
            say(
                "Pulls made alike still differ by {scatter_s:.1f} s (one standard deviation), which no setting mends: "
                "look at dosing, distributing and tamping.",
                scatter_s=advice.scatter_s,
            )
        )
    if uneven := advice.evenness.describe():
        told.append(uneven)
    told.append(LEAVE_THE_WATER)
    return tuple(told)


def say_move(advice: Advice, option: Option) -> Words:
    """Say a move on the grinder: "two steps finer", "one step up" where the direction is not known, or "as it is"."""
    count = abs(option.moved)
    number = _NUMBERS.get(count, count)
    if count == 0:
        return say("as it is")
    if not advice.knows_direction:
        if option.moved > 0:
            return say_many("one step up", "{number} steps up", count=count, number=number)
        return say_many("one step down", "{number} steps down", count=count, number=number)
    if advice.finer_by(option) > 0:
        return say_many("one step finer", "{number} steps finer", count=count, number=number)
    return say_many("one step coarser", "{number} steps coarser", count=count, number=number)


def say_setting(setting: float | None) -> str:
    """Write a setting as the grinder shows it."""
    return say("no number") if setting is None else f"{setting:.10g}"


def _change(advice: Advice) -> Words:
    now, recipe = advice.now, advice.recipe
    match advice.change:
        case "leave":
            return _leave(advice)
        case "trial":
            up = say("A trial of one step up ({setting:.10g}), all else the same", setting=advice.then.setting)
            down = say("A trial of one step down ({setting:.10g}), all else the same", setting=advice.then.setting)
            trial = say(
                "{trial}, will show which way the numbers run; as it is, {now_s:.1f} ± {now_sd_s:.1f} s, "
                "{now_pct:.0f} % inside {aim_s:g} ± {tolerance_s:g} s.",
                trial=up if advice.then.moved > 0 else down,
                now_s=now.time_s.value,
                now_sd_s=now.time_s.sd,
                now_pct=100 * now.p_inside,
                aim_s=recipe.time_s,
                tolerance_s=recipe.time_tol_s,
            )
            return join([trial, _by_eye(advice)], " ")
        case "grind by eye":
            unknown = say(
                "The grinder's setting is no number here, so steps cannot be told; as it is, {now_s:.1f} ± "
                "{now_sd_s:.1f} s, {now_pct:.0f} %.",
                now_s=now.time_s.value,
                now_sd_s=now.time_s.sd,
                now_pct=100 * now.p_inside,
            )
            return join([_by_eye(advice), unknown], " ")
        case _:
            return _move(advice)


def _leave(advice: Advice) -> Words:
    now, recipe = advice.now, advice.recipe
    expected = say(
        "{now_s:.1f} ± {now_sd_s:.1f} s expected of {aim_s:g} ± {tolerance_s:g} s, {now_pct:.0f} % inside tolerance",
        now_s=now.time_s.value,
        now_sd_s=now.time_s.sd,
        aim_s=recipe.time_s,
        tolerance_s=recipe.time_tol_s,
        now_pct=100 * now.p_inside,
    )
    if not advice.is_inside(now):
        return say("Nothing within the recipe brings the time home: {expected}.", expected=expected)
    if now.setting is None:
        return say("Leave the grind: {expected}.", expected=expected)
    return say("Leave the grind at {setting:.10g}: {expected}.", setting=now.setting, expected=expected)


def _move(advice: Advice) -> Words:
    """Say what to turn, weigh and stop at, and what to expect of it."""
    now, then = advice.now, advice.then
    masses = _masses(advice)
    if advice.change == "grind":
        move = capitalise(say_move(advice, then))
        change = say("{move} ({setting:.10g})", move=move, setting=then.setting)
    else:
        change = say("Keep the grind at {setting:.10g}", setting=now.setting)
    return say(
        "{change}: {then_s:.1f} ± {then_sd_s:.1f} s, {then_pct:.0f} % inside tolerance; as it is, {now_s:.1f} ± "
        "{now_sd_s:.1f} s, {now_pct:.0f} %.",
        change=join([change, *masses]),
        then_s=then.time_s.value,
        then_sd_s=then.time_s.sd,
        then_pct=100 * then.p_inside,
        now_s=now.time_s.value,
        now_sd_s=now.time_s.sd,
        now_pct=100 * now.p_inside,
    )


def _masses(advice: Advice) -> tuple[Words, ...]:
    """Say the dose and stop mass where they are not the recipe's; nothing, or one part of a sentence."""
    then, recipe = advice.then, advice.recipe
    is_dosed, is_stopped = then.dose_g != recipe.dose_g, then.beverage_g != recipe.beverage_g
    if is_dosed and is_stopped:
        both = say("dose {dose_g:.1f} g and stop at {beverage_g:.1f} g", dose_g=then.dose_g, beverage_g=then.beverage_g)
        return (both,)
    if is_dosed:
        return (say("dose {dose_g:.1f} g", dose_g=then.dose_g),)
    return (say("stop at {beverage_g:.1f} g", beverage_g=then.beverage_g),) if is_stopped else ()


def _by_eye(advice: Advice) -> Words:
    percent = 100 * (advice.size.value - 1)
    values = {
        "now_s": advice.now.time_s.value,
        "aim_s": advice.recipe.time_s,
        "size_pct": abs(percent),
        "sd_pct": max(100 * advice.size.sd, 1),
    }
    if percent > 0:
        return say(
            "From {now_s:.1f} s to {aim_s:g} s takes a grain size about {size_pct:.0f} ± {sd_pct:.0f} % coarser.",
            **values,
        )
    return say(
        "From {now_s:.1f} s to {aim_s:g} s takes a grain size about {size_pct:.0f} ± {sd_pct:.0f} % finer.", **values
    )


def _habits(advice: Advice) -> Words:
    return say_many(
        "The last {count} pull was {habits}; the forecast is for the recipe's masses.",
        "The last {count} pulls were {habits}; the forecast is for the recipe's masses.",
        count=advice.habits[0].pulls,
        habits=join([_habit(habit, advice) for habit in advice.habits], " and "),
    )


def _habit(habit: Habit, advice: Advice) -> Words:
    off_g, is_over = abs(habit.off_g), habit.off_g > 0
    if habit.quantity == "dose":
        aim_g = advice.recipe.dose_g
        if is_over:
            return say("dosed {off_g:.1f} g heavy on the whole (weigh to {aim_g:g} g)", off_g=off_g, aim_g=aim_g)
        return say("dosed {off_g:.1f} g light on the whole (weigh to {aim_g:g} g)", off_g=off_g, aim_g=aim_g)
    aim_g = advice.recipe.beverage_g
    if is_over:
        return say("stopped {off_g:.1f} g late on the whole (stop at {aim_g:g} g)", off_g=off_g, aim_g=aim_g)
    return say("stopped {off_g:.1f} g early on the whole (stop at {aim_g:g} g)", off_g=off_g, aim_g=aim_g)


def _direction(advice: Advice) -> Words:
    p = advice.p_higher_is_finer
    if not advice.knows_direction:
        return say("The pulls do not say which way the grinder's numbers run (P = {p:.2f} that higher is finer).", p=p)
    values = {"p": max(p, 1 - p), "step": advice.step, "step_s": advice.step_s}
    if p >= 0.5:
        return say(
            "A higher number is finer here (P = {p:.2f}, from the pulls and what was said of the grinder); one step of "
            "{step:g} moves the time by about {step_s:.1f} s.",
            **values,
        )
    return say(
        "A higher number is coarser here (P = {p:.2f}, from the pulls and what was said of the grinder); one step of "
        "{step:g} moves the time by about {step_s:.1f} s.",
        **values,
    )
