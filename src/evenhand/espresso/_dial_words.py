"""Says an advice in a practitioner's sentences, the most pressing first."""

from evenhand.espresso._dial_advice import Advice, Option
from evenhand.units import Measured

_COUNT = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")

# Fewer pulls say little more of the scatter than what was believed of it. Common practice, no source.
_PULLS_FOR_A_SCATTER = 12

LEAVE_THE_WATER = (
    "Leave the water temperature: at equal strength and extraction it changes the taste little (Batali et al. 2020, "
    "Scientific Reports 10 16450)."
)


def say(advice: Advice) -> tuple[str, ...]:
    """Say what to change, what to expect, how sure that is, and what stands in the way.

    Returns
    -------
    tuple of str
        Whole sentences; the first is the advice itself.
    """
    told = [_change(advice)]
    told += [_habit(advice)] if advice.habits else []
    if advice.too_coarse:
        told.append(
            f"The grinder's step is too coarse to hit: one step moves the time by {advice.step_s:.1f} s, and the "
            f"tolerance is {2 * advice.recipe.time_tol_s:.1f} s wide from end to end."
        )
    if advice.beyond_seen and advice.change != "leave":
        told.append(
            "That setting lies beyond all that were pulled so far: the forecast is drawn out, so look at the next "
            "pull before another move."
        )
    if advice.now.setting is not None:
        told.append(_direction(advice))
    wide = advice.scatter_s > 0.75 * advice.recipe.time_tol_s
    if wide and advice.pulls >= _PULLS_FOR_A_SCATTER and advice.is_inside(advice.then):
        told.append(
            f"Pulls made alike still differ by {advice.scatter_s:.1f} s (one standard deviation), which no setting "
            "mends: look at dosing, distributing and tamping."
        )
    if uneven := advice.evenness.describe():
        told.append(uneven)
    told.append(LEAVE_THE_WATER)
    return tuple(told)


def say_move(advice: Advice, option: Option) -> str:
    """Say a move on the grinder: "two steps finer", "one step up" where the direction is not known, or "as it is"."""
    if option.moved == 0:
        return "as it is"
    count = abs(option.moved)
    word = _COUNT[count] if count < len(_COUNT) else str(count)
    if advice.knows_direction:
        way = "finer" if advice.finer_by(option) > 0 else "coarser"
    else:
        way = "up" if option.moved > 0 else "down"
    return f"{word} {'step' if count == 1 else 'steps'} {way}"


def say_setting(setting: float | None) -> str:
    """Write a setting as the grinder shows it."""
    return "no number" if setting is None else f"{setting:.10g}"


def say_time(time_s: Measured) -> str:
    """Write an expected time with its standard uncertainty."""
    return f"{time_s.value:.1f} ± {time_s.sd:.1f} s"


def _inside(option: Option) -> str:
    return f"{100 * option.p_inside:.0f} % inside tolerance"


def _change(advice: Advice) -> str:
    now, then, recipe = advice.now, advice.then, advice.recipe
    aim = f"{recipe.time_s:g} ± {recipe.time_tol_s:g} s"
    as_is = f"as it is, {say_time(now.time_s)}, {100 * now.p_inside:.0f} %"
    extra = _with(advice)
    match advice.change:
        case "leave" if advice.is_inside(now):
            at = "" if now.setting is None else f" at {say_setting(now.setting)}"
            return f"Leave the grind{at}: {say_time(now.time_s)} expected of {aim}, {_inside(now)}."
        case "leave":
            return (
                f"Nothing within the recipe brings the time home: {say_time(now.time_s)} expected of {aim}, "
                f"{_inside(now)}."
            )
        case "grind":
            move = say_move(advice, then)
            return (
                f"{move.capitalize()} ({say_setting(then.setting)}){extra}: {say_time(then.time_s)}, {_inside(then)}; "
                f"{as_is}."
            )
        case "trial":
            return (
                f"A trial of {say_move(advice, then)} ({say_setting(then.setting)}), all else the same, will show "
                f"which way the numbers run; {as_is} inside {aim}. {_by_eye(advice)}"
            )
        case "grind by eye":
            return f"{_by_eye(advice)} The grinder's setting is no number here, so steps cannot be told; {as_is}."
        case _:
            kept = f"Keep the grind at {say_setting(now.setting)}{extra}"
            return f"{kept}: {say_time(then.time_s)}, {_inside(then)}; {as_is}."


def _with(advice: Advice) -> str:
    """Say the dose and stop mass where they are not the recipe's."""
    then, recipe = advice.then, advice.recipe
    parts = []
    if then.dose_g != recipe.dose_g:
        parts.append(f"dose {then.dose_g:.1f} g")
    if then.beverage_g != recipe.beverage_g:
        parts.append(f"stop at {then.beverage_g:.1f} g")
    return f", {' and '.join(parts)}" if parts else ""


def _by_eye(advice: Advice) -> str:
    percent = 100 * (advice.size.value - 1)
    way = "coarser" if percent > 0 else "finer"
    return (
        f"From {advice.now.time_s.value:.1f} s to {advice.recipe.time_s:g} s takes a grain size about "
        f"{abs(percent):.0f} ± {max(100 * advice.size.sd, 1):.0f} % {way}."
    )


def _habit(advice: Advice) -> str:
    words = {
        "dose": ("dosed", "heavy", "light", f"weigh to {advice.recipe.dose_g:g} g"),
        "beverage": ("stopped", "late", "early", f"stop at {advice.recipe.beverage_g:g} g"),
    }
    parts = []
    for habit in advice.habits:
        verb, over, under, mend = words[habit.quantity]
        parts.append(f"{verb} {abs(habit.off_g):.1f} g {over if habit.off_g > 0 else under} on the whole ({mend})")
    return (
        f"The last {advice.habits[0].pulls} pulls were {' and '.join(parts)}; the forecast is for the recipe's masses."
    )


def _direction(advice: Advice) -> str:
    p = advice.p_higher_is_finer
    if not advice.knows_direction:
        return f"The pulls do not say which way the grinder's numbers run (P = {p:.2f} that higher is finer)."
    way = "finer" if p >= 0.5 else "coarser"
    return (
        f"A higher number is {way} here (P = {max(p, 1 - p):.2f}, from the pulls and what was said of the grinder); "
        f"one step of {advice.step:g} moves the time by about {advice.step_s:.1f} s."
    )
