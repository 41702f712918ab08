"""Placements built by hand, for tests of what is said about them. The solo is invented."""

import math
from pathlib import Path

from stylemeter.features import CATALOG, FEATURE_VERSION, HABITS
from stylemeter.music.meter import Meter
from stylemeter.placement.lengths import Plan
from stylemeter.placement.records import FeaturePlace, HabitPlace, Placement, Typicality
from stylemeter.reading.draft.build import Draft, RawNote, build
from stylemeter.style.document import About, RungSize
from stylemeter.style.profile import Limits, Profile

NAN = math.nan
STYLE = "old fiddle tunes"


def limits(lower, upper):
    return Limits(lower, upper, (lower, lower), (upper, upper))


def feature_place(name, verdict="within", **more):
    lower, upper = more.pop("between", (0.2, 0.4))
    value = {"below": lower - 0.1, "above": upper + 0.1, "unmeasured": NAN}.get(verdict, (lower + upper) / 2)
    percentile = {"below": 1.0, "above": 99.0, "unmeasured": NAN}.get(verdict, 50.0)
    known = verdict != "unmeasured"
    given = {"value": value, "percentile": percentile, "limits": limits(lower, upper) if known else None}
    given |= {"p": 0.5 if known else NAN, "q": 0.9 if known else NAN, "verdict": verdict}
    return FeaturePlace(name, **(given | more))


def habit_place(name, verdict="none", **more):
    given = {"statistic": 0.0, "p": 0.5, "q": 0.9, "p_free": 0.5, "share": 0.5, "verdict": verdict}
    return HabitPlace(name, **(given | {"q_free": more.get("p_free", 0.9)} | more))


def solo(pitches, lengths, *, meter=(4, 4), key=None, rests=None):
    """A melody of notes one after the other; lengths and rests in ticks."""
    notes, now = [], 0
    rests = rests or [0] * len(pitches)
    for pitch, length, rest in zip(pitches, lengths, rests, strict=True):
        notes.append(RawNote(now, length, float(pitch)))
        now += length + rest
    return build(Draft(notes, [Meter(0, *meter)], key=key))


def invented_style(style, families):
    """A style without a norm, of so many families at each length."""
    sizes = tuple(RungSize(notes, count, count) for notes, count in families.items())
    about = About("invented", style, "0", (), 1, 1, 0, tuple(CATALOG), (), FEATURE_VERSION, "", sizes, "")
    return Profile(Path("invented"), about)


def placement(features=(), habits=(), melody=None, plan=None):
    """A placement where everything not given lies within the norm, and no habit is shown."""
    named = {f.name: f for f in features}
    shown = {h.name: h for h in habits}
    melody = melody or solo([60, 62] * 8, [10080] * 16)
    return Placement(
        melody,
        invented_style(STYLE, {}),
        plan or Plan(len(melody), ((16, 1.0),), (0,), len(melody), False, "at its own length"),
        0.9,
        tuple(named.get(n, feature_place(n)) for n in CATALOG),
        tuple(shown.get(n, habit_place(n)) for n in HABITS),
        Typicality("invented", STYLE, NAN, NAN, 0),
    )
