"""The lesson: one sentence, the solo as music with a habit marked at a time, what to practise, what the take does well.

The statistics behind it are the other modules' of this room.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from stylemeter.music.fingering import fingering
from stylemeter.music.melody import Melody
from stylemeter.music.meter import TICKS
from stylemeter.placement.records import HabitPlace, Stretch
from stylemeter.practice.findings import Findings
from stylemeter.practice.words import capital, habit_verdict, words
from stylemeter.report.draw.notation import bars_text
from stylemeter.report.draw.score import NARROW, WIDE, Glyphs, Line, Mark, Shade, guessed_rhythm, score_lines
from stylemeter.report.draw.svg import hill, spread_strip
from stylemeter.report.solo.marks import marked
from stylemeter.report.solo.spread import habit_spread
from stylemeter.report.solo.words import bars_range, bars_words, joined, percentile_text, say
from stylemeter.writing.layout import note_ends, printed_bars

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["MARKS", "HabitView", "Lesson", "Way", "lesson", "window"]

#: Sign of each verdict; the word always stands beside it.
MARKS = {"shown": "■", "hinted": "◪", "none": "○", "free": "◁", "unmeasured": "–"}
#: Most bars of the stretch worked on, and of the way inside the norm.
BARS_MAX, WAY_BARS = 8, 4
#: Quarter notes a minute where the source gives no tempo.
TEMPO = 100.0


@dataclass(frozen=True, slots=True)
class Way:
    """A few bars as they were and as they are with the change made."""

    words: str
    where: str
    before: tuple[Markup, ...]
    after: tuple[Markup, ...]
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class HabitView:
    """One habit: its button, what is said of it, and what to do.

    Attributes
    ----------
    kind : str
        Verdict, "free" for the opposite.
    button, strip : Markup or None
        The hill small, and with its words.
    start, end : float
        What the play button plays, in quarter notes.
    """

    name: str
    title: str
    question: str
    kind: str
    mark: str
    verdict: str
    sentence: str
    button: Markup | None
    strip: Markup | None
    standing: str = ""
    interval: str = ""
    unsure: bool = False
    place: str = ""
    others: str = ""
    start: float = 0.0
    end: float = 0.0
    amount: str = ""
    advice: str = ""
    exercise: str = ""
    basis: str = ""
    way: Way | None = None
    focus: range | None = None


@dataclass(frozen=True, slots=True)
class Staff:
    """A line of music, and the habits whose worked-on bars lie in it."""

    picture: Markup
    bars: str
    habits: str


@dataclass(frozen=True)
class Lesson:
    """All that the first part of the page prints."""

    lead: str
    chosen: str
    habits: tuple[HabitView, ...]
    well: tuple[str, ...]
    usual: str
    wide: tuple[Staff, ...]
    narrow: tuple[Staff, ...]
    reason: str
    label: str
    text: tuple[str, ...]
    notes: tuple[str, ...]
    glyphs: Glyphs
    sound: str
    basis: str = ""
    slow: str = ""


# -- words ---------------------------------------------------------------------------------------------------------


def telling(findings: Findings) -> list[HabitPlace]:
    """Habits shown or hinted at, the one to work on first in front."""
    first = findings.first.name
    there = [h for h in findings.placement.habits if h.verdict in ("shown", "hinted")]
    return sorted(there, key=lambda h: (h.name != first, h.verdict != "shown", h.unsure))


def _part(h: HabitPlace) -> bool:
    """Whether a habit has a place that is not the whole take."""
    return h.where == "part"


def _well(findings: Findings) -> tuple[tuple[str, ...], str]:
    """What stands out as free of a habit, and the habits that are as usual in the style."""
    habits, said = findings.placement.habits, words().habits
    free = tuple(said[h.name].well for h in habits if h.verdict == "none" and h.free)
    usual = [said[h.name].usual for h in habits if h.verdict == "none" and not h.free]
    style = findings.placement.profile.style
    return free, say("well.usual", titles=joined(usual), style=style) if usual else ""


def _standing(findings: Findings, h: HabitPlace) -> str:
    """Where the solo stands among the style's tunes, in words; empty where that isn't known."""
    if h.share != h.share:
        return ""
    from stylemeter.practice.words import percentile_words

    plan, style = findings.placement.plan, findings.placement.profile.style
    way = "more" if h.share >= 0.5 else "less"
    small = bool(plan and plan.provisional)
    than = percentile_words(100 * min(1.0, max(0.0, h.share)), style, way, small=small)  # type: ignore[arg-type]
    return say(f"habits.{way}_than", than=than) + "."


# -- the whole -----------------------------------------------------------------------------------------------------


def lesson(findings: Findings) -> Lesson:
    """Everything of the lesson."""
    melody = findings.placement.melody
    glyphs = Glyphs()
    habits = tuple(_view(findings, h, glyphs) for h in findings.placement.habits)
    drawn = marked(melody, findings.placement.habits)
    parts = {"marks": drawn.marks, "shades": drawn.shades}
    bars = _bars_drawn(melody, habits)
    wide = score_lines(melody, glyphs, width=WIDE, bars=bars, **parts)  # type: ignore[arg-type]
    narrow = score_lines(melody, glyphs, width=NARROW, bars=bars, **parts)  # type: ignore[arg-type]
    well, usual = _well(findings)
    there = telling(findings)
    tips = [tip for h in there if (tip := findings.tip(h.name))]
    return Lesson(
        lead=findings.headline,
        chosen=there[0].name if there else "",
        habits=habits,
        well=well,
        usual=usual,
        wide=tuple(_staffs(wide, habits)),
        narrow=tuple(_staffs(narrow, habits)),
        reason="" if wide else say("music.not_drawn"),
        label=say("music.label"),
        text=tuple(bars_text(melody, printed_bars(melody), ())) if len(melody) else (),
        notes=tuple(_notes(melody, bars is not None)),
        glyphs=glyphs,
        sound=_sound(findings, habits),
        slow=_slow(melody),
        basis=say("music.basis", basis=tips[0].basis) if tips else "",
    )


def _slow(melody: Melody) -> str:
    """Where to begin with an exercise, two thirds of the tempo (common practice, no source); empty without a tempo."""
    if melody.tempo is None:
        return ""
    pulse = melody.tempo * TICKS / melody.meters[0].beat
    return say("music.slow", slow=f"{2 * round(pulse / 3)}", tempo=f"{round(pulse)}")


def _notes(melody: Melody, cut: bool) -> Iterator[str]:
    """What must be known to read the music as it is drawn."""
    if cut:
        yield say("music.cut")
    hand = fingering(melody) if len(melody) else None
    if hand is None:
        yield say("music.no_tab")
    elif hand.own:
        yield say("music.our_tab")
    if guessed_rhythm(melody):
        yield say("music.guessed")


#: Most notes that are drawn whole; of a longer take, the bars around what is worked on.
WHOLE = 560


def _bars_drawn(melody: Melody, habits: tuple[HabitView, ...]) -> set[int] | None:
    """Bars to draw: None for all; of a very long take those worked on, else its beginning."""
    if len(melody) <= WHOLE:
        return None
    wanted = {bar for h in habits if h.focus for bar in h.focus}
    first = int(melody.bar[0])
    return wanted or set(range(first, first + 2 * BARS_MAX))


def _staffs(lines: list[Line], habits: tuple[HabitView, ...]) -> Iterator[Staff]:
    """Lines with the habits worked on in them: of a habit three lines at the most, for paper."""
    left = {h.name: 3 for h in habits if h.focus}
    for place, line in enumerate(lines):
        here = []
        for h in habits:
            if h.focus and left[h.name] and line.bar_from <= h.focus[-1] and line.bar_to >= h.focus[0]:
                left[h.name] -= 1
                here.append(f"in-{h.name}")
        if place < 3:
            here.append("in-none")
        yield Staff(line.picture, bars_range(line.bar_from, line.bar_to), " ".join(here))


def _view(findings: Findings, h: HabitPlace, glyphs: Glyphs) -> HabitView:
    placed, own = findings.placement, words().habits[h.name]
    melody = placed.melody
    kind = "free" if h.verdict == "none" and h.free else h.verdict
    standing = _standing(findings, h)
    spread = habit_spread(placed, h)
    strip = button = None
    if spread is not None:
        label = " ".join(part for part in (f"{own.title}: {habit_verdict(h)}.", standing) if part)
        names = [say(f"habits.{name}") for name in ("less", "middle", "more", "solo")]
        strip = spread_strip(spread, label, names, told=h.verdict != "unmeasured")
        button = hill(spread, told=h.verdict != "unmeasured")
    others = findings.others_can(h.name) if h.verdict == "unmeasured" else []
    view = {
        "name": h.name,
        "title": own.title,
        "question": own.question,
        "kind": kind,
        "mark": MARKS[kind],
        "verdict": habit_verdict(h),
        "sentence": findings.sentence(h.name),
        "button": button,
        "strip": strip,
        "standing": standing,
        "interval": "" if h.interval is None else _interval(h.interval),
        "unsure": h.unsure,
        "others": say("habits.others", names=", ".join(others)) if others else "",
    }
    if h.evidence:
        view |= _todo(findings, h, melody, glyphs)
    return HabitView(**view)  # type: ignore[arg-type]


def _todo(findings: Findings, h: HabitPlace, melody: Melody, glyphs: Glyphs) -> dict[str, Any]:
    """Where, how much and what to practise, of a habit shown or hinted at."""
    stretch = h.evidence[0]
    notes = [n - 1 for n in stretch.notes]
    focus = window(melody, stretch, notes)
    start, end = _ticks(melody, focus)
    tip, change = findings.tip(h.name), findings.changes.get(h.name)
    way = None
    if change is not None and change.edited is not None:
        way = _way(melody, change.edited, capital(change.words), focus, glyphs)
    return {
        "place": say("habits.place", bars=bars_words(stretch)) if _part(h) else say("habits.throughout"),
        "start": start / TICKS,
        "end": end / TICKS,
        "amount": capital(change.words) if change else "",
        "advice": tip.words if tip else "",
        "exercise": tip.exercise if tip else "",
        "basis": tip.basis if tip else "",
        "way": way,
        "focus": focus,
    }


def _interval(interval: tuple[float, float]) -> str:
    low, high = (percentile_text(100 * end) for end in interval)
    return say("habits.interval", low=low, high=high)


def window(melody: Melody, stretch: Stretch, notes: list[int], most: int = BARS_MAX) -> range:
    """At most `most` bars of a stretch: those with the most of the notes, of a tie the first."""
    low, high = stretch.bar_from, stretch.bar_to
    if high - low < most:
        return range(low, high + 1)
    bars = melody.bar[notes]
    starts = range(low, high - most + 2)
    best = max(starts, key=lambda s: (int(((bars >= s) & (bars < s + most)).sum()), -s))
    return range(best, best + most)


def _ticks(melody: Melody, bars: range) -> tuple[int, int]:
    """Where some bars begin and end."""
    here = list(printed_bars(melody, numbers=bars))
    return (here[0].start, here[-1].end) if here else (0, 0)


# -- one way inside the norm ---------------------------------------------------------------------------------------


def _way(melody: Melody, edited: Melody, said: str, focus: range, glyphs: Glyphs) -> Way | None:
    """The bars in which most is changed, before and after; None where nothing is seen to change."""
    old, new = _note_set(melody), _note_set(edited)
    gone = [i for i, note in enumerate(_note_list(melody)) if note not in new]
    come = [i for i, note in enumerate(_note_list(edited)) if note not in old]
    changed = [*melody.bar[gone].tolist(), *edited.bar[come].tolist()]
    inside = [bar for bar in changed if bar in focus] or changed
    if not inside:
        return None
    low, high = min(inside), max(inside)
    starts = range(low, max(low, high - WAY_BARS + 1) + 1)
    best = max(starts, key=lambda s: (sum(s <= bar < s + WAY_BARS for bar in inside), -s))
    # bars after the last change say nothing
    bars = range(best, max(bar for bar in inside if bar < best + WAY_BARS) + 1)
    start, end = _ticks(melody, bars)
    # what was sounding and is silent now is air
    ends = note_ends(melody)
    new_ends = note_ends(edited)
    quiet = _silences(edited, new_ends, start, end)
    was_quiet = set(_silences(melody, ends, start, end))
    marks = [Mark("way", i, i) for i in come if edited.bar[i] in bars]
    shades = [Shade("way", a, b, "air") for a, b in quiet if (a, b) not in was_quiet]
    before = score_lines(melody, glyphs, width=NARROW, bars=bars)
    after = score_lines(edited, glyphs, width=NARROW, bars=bars, marks=marks, shades=shades)
    if not after:
        return None
    return Way(
        words=said,
        where=bars_words(Stretch(bars[0], bars[-1], ())),
        before=tuple(line.picture for line in before),
        after=tuple(line.picture for line in after),
        start=start / TICKS,
        end=end / TICKS,
    )


def _note_list(melody: Melody) -> list[tuple[int, int]]:
    return list(zip(melody.onset.tolist(), np.floor(melody.pitch + 0.5).astype(int).tolist(), strict=True))


def _note_set(melody: Melody) -> set[tuple[int, int]]:
    return set(_note_list(melody))


def _silences(melody: Melody, ends: list[int], start: int, end: int) -> list[tuple[int, int]]:
    """Rests between two ticks."""
    found, now = [], start
    for onset, stop in zip(melody.onset.tolist(), ends, strict=True):
        if stop <= start or onset >= end:
            continue
        if onset > now:
            found.append((now, onset))
        now = max(now, stop)
    return [*found, (now, end)] if now < end else found


# -- sound ---------------------------------------------------------------------------------------------------------


def _sound(findings: Findings, habits: tuple[HabitView, ...]) -> str:
    """What the play buttons play, as JSON: the take, and the few bars of each way, times in quarter notes."""
    melody = findings.placement.melody
    voices = {"take": _voice(melody, 0.0, np.inf)}
    for h in habits:
        change = findings.changes.get(h.name)
        if h.way is not None and change is not None and change.edited is not None:
            voices[h.name] = _voice(change.edited, h.way.start, h.way.end)
    document = {"tempo": melody.tempo or TEMPO, "voices": voices}
    # nothing in it can end the element it stands in
    return json.dumps(document, separators=(",", ":")).replace("<", "\\u003c")


def _voice(melody: Melody, start: float, end: float) -> list[list[float]]:
    """Onset, length, pitch and index of the notes that begin in a stretch."""
    found = []
    for i, (onset, stop) in enumerate(zip(melody.onset.tolist(), note_ends(melody), strict=True)):
        at = onset / TICKS
        if start <= at < end:
            found.append([round(at, 4), round((stop - onset) / TICKS, 4), round(float(melody.pitch[i]), 2), i])
    return found
