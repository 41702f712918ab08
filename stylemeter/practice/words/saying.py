"""The texts filled in: values, counts, percentiles and where something stands, in plain words."""

from __future__ import annotations

import math

from stylemeter.placement.records import FeaturePlace, HabitPlace
from stylemeter.practice.words.table import Direction, words
from stylemeter.support.texts import fill

__all__ = [
    "capital",
    "change_words",
    "direction_of",
    "feature_verdict",
    "format_range",
    "format_value",
    "habit_sentence",
    "habit_verdict",
    "percentile_words",
    "sentence",
    "value_and_range",
]


def change_words(text: str, count: int, total: int, *, amount: str, bars: int) -> str:
    """Fill in what to do: an ``up`` or ``down`` text.

    Parameters
    ----------
    text : str
    count : int
        How many things to change.
    total : int
        How many there are of them.
    amount : str
        What comes of it.
    bars : int
        Bars of the solo.

    Examples
    --------
    >>> change_words("break {some} scale {run|runs}", 2, 4, amount="", bars=8)
    'break 2 of the 4 scale runs'
    >>> change_words("break {some} scale {run|runs}", 1, 1, amount="", bars=8)
    'break the only scale run'
    >>> change_words("break {some} scale {run|runs}", 2, 2, amount="", bars=8)
    'break both scale runs'
    >>> change_words("put {count} {breath|breaths} into {these_bars}", 3, 0, amount="", bars=16)
    'put 3 breaths into these 16 bars'
    """
    phrases = words().phrases
    which = "some" if count < total else {1: "some_only", 2: "some_both"}.get(total, "some_all")
    return fill(
        text,
        total if "{some}" in text else count,
        count=str(count),
        some=fill(phrases[which], count=str(count), total=str(total)),
        amount=amount,
        these_bars=fill(phrases["these_bars"], bars, count=str(bars)),
        often=_often(count, bars),
    )


def _often(count: int, bars: int) -> str:
    """How often so many things in so many bars come: "about twice in each bar", "about once in every four bars".

    Examples
    --------
    >>> _often(19, 16), _often(33, 16), _often(4, 16), _often(1, 16)
    ('about once in each bar', 'about twice in each bar', 'about once in every four bars', 'once')
    """
    phrases = words().phrases
    if count <= 1:
        return phrases["often_once"]
    if 3 * count >= 2 * bars:
        each = max(1, math.floor(count / bars + 0.5))
        times = phrases["twice"] if each == 2 else fill(phrases["times"], each, count=_spoken(each))
        return fill(phrases["often_bar"], times=times)
    return fill(phrases["often_bars"], bars=_spoken(max(2, math.floor(bars / count + 0.5))))


def _spoken(count: int) -> str:
    """A small number as a word."""
    names = words().phrases["numbers"].split()
    return names[count - 1] if 1 <= count <= len(names) else str(count)


def capital(text: str) -> str:
    """The text with its first letter as a capital.

    Examples
    --------
    >>> capital("more of it")
    'More of it'
    """
    return text[:1].upper() + text[1:]


def format_value(name: str, value: float, *, extra: int = 0) -> str:
    """A feature's value as it is shown.

    Parameters
    ----------
    name : str
        A feature.
    value : float
    extra : int
        More decimals than usual, where two values would look alike.

    Examples
    --------
    >>> format_value("step_share", 0.374), format_value("longest_stream", 1.0), format_value("mean_interval", 2.14)
    ('37%', '1 beat', '2.1 semitones')
    >>> format_value("chromatic_share", 0.004), format_value("npvi", float("nan"))
    ('under 1%', 'not measured')
    """
    own, phrases = words().features[name], words().phrases
    if not math.isfinite(value):
        return phrases["no_value"]
    if own.show == "percent":
        if not extra and 0 < value < 0.01:
            return phrases["under_one_percent"]
        if not extra and 0.99 < value < 1:
            return phrases["over_99_percent"]
        return f"{_number(100 * value, extra)}%"
    shown = _number(value, own.digits + extra)
    return f"{shown} {_unit(own.unit, shown)}".rstrip()


def _unit(unit: str, shown: str) -> str:
    """The unit for one or for many."""
    one, bar, many = unit.partition("|")
    return many if bar and shown not in ("1", "-1") else one


def _number(value: float, digits: int) -> str:
    """A number with its decimals, without them where it is whole, and never as -0."""
    if abs(value - round(value)) < 1e-9:
        return str(round(value))
    shown = f"{value:.{digits}f}"
    return shown if float(shown) else shown.lstrip("-")


def format_range(name: str, low: float, high: float, *, extra: int = 0) -> str:
    """A range of a feature's values as it is shown, with more decimals than usual where asked for.

    Examples
    --------
    >>> format_range("step_share", 0.31, 0.62), format_range("pitch_range", 12, 24)
    ('31% to 62%', '12 to 24 semitones')
    """
    ends = [format_value(name, low, extra=extra), format_value(name, high, extra=extra)]
    unit = words().features[name].unit
    # the unit is said once: after the second number
    if unit and math.isfinite(low) and math.isfinite(high):
        ends[0] = ends[0].partition(" ")[0]
    return fill(words().phrases["value_range"], low=ends[0], high=ends[1])


def value_and_range(name: str, value: float, low: float, high: float) -> tuple[str, str]:
    """A value and the usual range, with as many decimals as show that a value outside is not on the limit.

    Examples
    --------
    >>> value_and_range("step_share", 0.374, 0.31, 0.62), value_and_range("step_share", 0.306, 0.31, 0.62)
    (('37%', '31% to 62%'), ('30.6%', '31% to 62%'))
    """
    extra = 0
    if not low <= value <= high:
        limit = low if value < low else high
        tries = range(4)
        apart = (e for e in tries if format_value(name, value, extra=e) != format_value(name, limit, extra=e))
        extra = next(apart, 0)
    return format_value(name, value, extra=extra), format_range(name, low, high, extra=extra)


# -- saying where something stands -------------------------------------------------------------------------------


def direction_of(place: FeaturePlace | HabitPlace) -> Direction:
    """Which way a feature or habit differs: for one inside its range, the side of the middle it lies on."""
    if isinstance(place, HabitPlace):
        opposite = place.verdict not in ("shown", "hinted") and place.free
        return "less" if opposite else "more"
    if place.outside:
        return "less" if place.verdict == "below" else "more"
    return "less" if place.percentile < 50 else "more"


def percentile_words(percentile: float, style: str, direction: Direction, *, small: bool = False) -> str:
    """Say a percentile as a count of tunes.

    Parameters
    ----------
    percentile : float
        0 to 100, mid-rank.
    style : str
        What the style's tunes are, in the plural.
    direction : {"more", "less"}
        Which clause it goes on with.
    small : bool
        Whether the style has few tune families: then it is said in tenths.

    Returns
    -------
    str
        Rounded half up. All of them is never said, for the next tune may be the one: "almost every one".

    Raises
    ------
    ValueError
        If the percentile is not in 0..100.

    Examples
    --------
    >>> percentile_words(97.2, "old fiddle tunes", "more")
    'than in 97 of 100 old fiddle tunes of this length'
    >>> percentile_words(21, "old fiddle tunes", "less", small=True)
    'than in 8 of 10 old fiddle tunes of this length'
    >>> percentile_words(99.5, "old fiddle tunes", "more")
    'than in almost every one of the old fiddle tunes of this length'
    """
    # averages of ranks may end a hair outside
    if not -1e-6 <= percentile <= 100 + 1e-6:
        raise ValueError(f"{percentile} is not a percentile")
    beyond = percentile if direction == "more" else 100 - percentile
    whole = 10 if small else 100
    count = math.floor(beyond * whole / 100 + 0.5)
    phrases = words().phrases
    if count >= whole:
        return fill(phrases["than_almost_all"], style=style)
    if count <= 0:
        return fill(phrases["than_almost_none"], style=style)
    return fill(phrases["than_small" if small else "than"], count=str(count), style=style)


def sentence(place: FeaturePlace, style: str) -> str:
    """Say in one sentence where a feature stands.

    Parameters
    ----------
    place : FeaturePlace
        A provisional norm (one with a reason) is said in tenths.
    style : str
        What the style's tunes are, in the plural.
    """
    own, phrases = words().features[place.name], words().phrases
    if place.verdict == "unmeasured":
        reason = place.reason or phrases["no_reason"]
        return capital(fill(phrases["unmeasured"], label=own.label, reason=reason))
    if not place.outside:
        return capital(fill(phrases["within"], label=own.label, style=style))
    direction = direction_of(place)
    if place.beyond and not place.unsure and not place.reason:
        return (
            capital(fill(phrases["beyond"], clause=own.clause(direction), count=str(place.beyond), style=style)) + "."
        )
    than = percentile_words(place.percentile, style, direction, small=bool(place.reason))
    return capital(fill(phrases["unsure" if place.unsure else "outside"], clause=own.clause(direction), than=than))


def habit_sentence(place: HabitPlace, style: str) -> str:
    """Say in one sentence whether a habit is shown and where, or its opposite."""
    own, phrases = words().habits[place.name], words().phrases
    if place.verdict == "unmeasured":
        return fill(phrases["unmeasured"], label=own.title, reason=place.reason or phrases["no_reason"])
    if place.verdict == "none":
        return fill(own.free if place.free else own.none, style=style)
    chord = place.scan == "chord_root" and not place.over_all
    shown, hinted = (own.chord_shown, own.chord_hinted) if chord else (own.shown, own.hinted)
    text = shown if place.verdict == "shown" else hinted
    said = fill(text, style=style, scale=place.scale or phrases["one_scale"])
    inside = said[:1].lower() + said[1:]
    if place.where == "part":
        return fill(phrases["in_part"], where=fill(phrases["in_bars"], bars=_bars(place)), sentence=inside)
    return fill(phrases["throughout"], sentence=inside) if place.where else said


def _bars(place: HabitPlace) -> str:
    """The bars of a habit's stretches: "bars 9 to 16 and bar 20"."""
    said = []
    for stretch in sorted(place.evidence, key=lambda s: s.notes[0]):
        one = stretch.bar_from == stretch.bar_to
        low, high = str(stretch.bar_from), str(stretch.bar_to)
        said.append(fill(words().phrases["bar" if one else "bars"], low=low, high=high))
    return " and ".join([", ".join(said[:-1]), said[-1]] if len(said) > 1 else said)


def feature_verdict(place: FeaturePlace) -> str:
    """A feature's verdict in words, with how sure it is where it lies outside."""
    verdicts = words().verdicts
    said = verdicts[place.verdict]
    if not place.outside:
        return said
    if place.unsure:
        return f"{said} ({verdicts['unsure']})"
    return f"{verdicts['clear']} {said}" if place.clear else said


def habit_verdict(place: HabitPlace) -> str:
    """A habit's verdict in words."""
    free = place.verdict == "none" and place.free
    return words().habit_verdicts["free" if free else place.verdict]
