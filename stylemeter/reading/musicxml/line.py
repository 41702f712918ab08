"""From a MusicXML part to one line of notes: staff, voice, and what is left out.

Of a notation and a tab staff the notation is read, with the marks of both. Of two notation staves the upper one,
unless the lower has more than twice its notes. Of the voices in a staff the one with the most onsets.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from stylemeter.reading.draft.exact import Ticks, whole
from stylemeter.reading.musicxml.elements import said
from stylemeter.reading.musicxml.walk import Stroke, Walk

__all__ = ["Line", "LineChoice", "LineNote", "Place", "choose_line", "is_audible", "places", "take_line"]

#: Bar, place in it, pitch class.
Place = tuple[int, Ticks, float]

_DEAD_HEADS = frozenset({"x", "cross", "circle-x"})
#: How many times its notes another staff must have to be read in place of the upper one.
_FULLER = 2


@dataclass(frozen=True, slots=True)
class LineChoice:
    """The staff and voice that hold a part's line, and how many notes start alone in it."""

    staff: int
    voice: str
    onsets: int
    singles: int
    tab_staves: frozenset[int]
    tab_only: bool


@dataclass(slots=True, eq=False)
class LineNote:
    """A note of the line and the elements that tell of it: its own first, then the tab staff's."""

    stroke: Stroke
    pitch: float
    elements: tuple[Element, ...]


@dataclass(slots=True)
class Line:
    """The notes of the line in order, and the places of its grace notes."""

    notes: list[LineNote]
    graces: list[Stroke]


def is_cue(stroke: Stroke) -> bool:
    """Whether a note is another player's, printed for orientation."""
    return stroke.element.find("cue") is not None


def is_dead(stroke: Stroke) -> bool:
    """Whether a note is a muffled stroke without a pitch (a cross for a head)."""
    return (stroke.element.findtext("notehead") or "").strip() in _DEAD_HEADS


def is_slash(stroke: Stroke) -> bool:
    """Whether a note is a slash: a rhythm to strum, without a pitch."""
    return (stroke.element.findtext("notehead") or "").strip() == "slash"


def is_audible(stroke: Stroke) -> bool:
    """Whether a stroke is a note of its own with a pitch."""
    return stroke.pitch is not None and not (stroke.grace or is_cue(stroke) or is_dead(stroke) or is_slash(stroke))


def places(walked: Walk) -> set[Place]:
    """Where which pitch class starts."""
    return {(s.bar, s.at, s.pitch % 12) for s in walked.strokes if s.pitch is not None and is_audible(s)}


def choose_line(walked: Walk) -> LineChoice:
    """Choose staff and voice of a part's line."""
    by_voice: dict[tuple[int, str], Counter[tuple[int, Ticks]]] = defaultdict(Counter)
    for stroke in walked.strokes:
        if is_audible(stroke):
            by_voice[stroke.staff, stroke.voice][stroke.bar, stroke.at] += 1
    tab = _tab_staves(walked)
    staff = _choose_staff({key[0] for key in by_voice}, tab, by_voice)
    voices = {voice: onsets for (own, voice), onsets in by_voice.items() if own == staff}
    voice = max(voices, key=lambda v: len(voices[v]), default="1")
    onsets = voices.get(voice, Counter())
    singles = sum(count == 1 for count in onsets.values())
    tab_only = bool(by_voice) and all(own in tab for own, _ in by_voice)
    return LineChoice(staff, voice, len(onsets), singles, tab, tab_only)


def _tab_staves(walked: Walk) -> frozenset[int]:
    """Numbers of the tablature staves."""
    return frozenset(
        whole(sign.element.get("number")) or 1
        for sign in walked.signs
        if sign.element.tag == "clef" and said(sign.element, "sign") == "TAB"
    )


def _choose_staff(
    staves: set[int], tab: frozenset[int], by_voice: dict[tuple[int, str], Counter[tuple[int, Ticks]]]
) -> int:
    """Number of the staff to read."""
    size = {s: len(set().union(*(onsets for (own, _), onsets in by_voice.items() if own == s))) for s in staves}
    among = sorted(staves - tab) or sorted(staves)
    if not among:
        return 1
    fullest = max(among, key=lambda s: (size[s], -s))
    return fullest if size[fullest] > _FULLER * size[among[0]] else among[0]


def take_line(walked: Walk, choice: LineChoice, twins: Iterable[Walk]) -> Line:
    """Take the notes of the line, with the marks of tab staves and tab parts that repeat it.

    What is left out is counted in the walk's findings.
    """
    tabs = [s for s in walked.strokes if s.staff in choice.tab_staves and s.staff != choice.staff]
    beside: dict[tuple[int, Ticks], list[Stroke]] = defaultdict(list)
    for stroke in [*tabs, *(s for w in twins for s in w.strokes)]:
        if stroke.pitch is not None and not stroke.grace:
            beside[stroke.bar, stroke.at].append(stroke)
    repeated = set(tabs)
    line = Line([], [])
    for stroke in walked.strokes:
        if stroke in repeated or not _kept(walked, choice, stroke):
            continue
        if stroke.grace:
            line.graces.append(stroke)
        elif stroke.pitch is not None:
            twin = _twin(stroke, beside[stroke.bar, stroke.at])
            elements = (stroke.element,) if twin is None else (stroke.element, twin.element)
            line.notes.append(LineNote(stroke, stroke.pitch, elements))
    line.notes.sort(key=lambda n: (n.stroke.bar, n.stroke.at))
    _tell_tabs(walked, tabs, line)
    return line


def _tell_tabs(walked: Walk, tabs: Sequence[Stroke], line: Line) -> None:
    """Tell of a tab staff read beside the notation, and of what only the tab staff has."""
    if tabs:
        walked.found.add("", "tab staff read together with the notation it repeats", tabs[0].bar)
    written = {(n.stroke.bar, n.stroke.at) for n in line.notes}
    for stroke in tabs:
        if is_audible(stroke) and (stroke.bar, stroke.at) not in written:
            walked.found.add("note", "of the tab staff that the notation lacks left out", stroke.bar)


def _kept(walked: Walk, choice: LineChoice, stroke: Stroke) -> bool:
    """Whether a stroke belongs to the line; what doesn't is counted."""
    reason = _why_not(choice, stroke)
    if reason:
        walked.found.add(*reason, stroke.bar)
        return False
    if stroke.element.get("print-object") == "no":
        walked.found.add("hidden note", "kept as sounding", stroke.bar)
    return True


def _why_not(choice: LineChoice, stroke: Stroke) -> tuple[str, str] | None:
    """Why a stroke is no note of the line, None where it is one."""
    if is_cue(stroke):
        return "cue note", "left out"
    if stroke.staff != choice.staff:
        return "note", "of another staff left out"
    if stroke.voice != choice.voice:
        return "note", "of other voices left out"
    if stroke.grace:
        return None
    if stroke.pitch is None:
        return "note", "without a pitch left out"
    if is_dead(stroke):
        return "dead note", "left out for want of a pitch"
    return ("rhythm slash", "left out for want of a pitch") if is_slash(stroke) else None


def _twin(stroke: Stroke, beside: list[Stroke]) -> Stroke | None:
    """The tab note that is the same as a notation note: of its pitch class, or the only one."""
    own = stroke.pitch or 0.0
    same = [s for s in beside if s.pitch is not None and (s.pitch - own) % 12 == 0]
    return same[0] if same else beside[0] if len(beside) == 1 else None
