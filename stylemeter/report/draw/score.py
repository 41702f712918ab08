"""A solo as lines of music: staff, tablature below it, and what is marked on it, one set of marks for each subject.

Conventions: verovio engraves the staff, every line with its clef and signature, justified; tablature, brackets and
shades are drawn here, at the places of the heads. Lengths are in verovio's units (a staff space is 180). Each line is
a picture of its own, as wide as the page lets it be. Marks carry the class of their subject, so that a style sheet
shows one subject at a time; a head's group and its number in the tablature carry ``data-note``, the note's index. A
rhythm that was guessed, not written, is engraved without ties: a note has its first written value, and nothing stands
in the rest of its time.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from xml.etree.ElementTree import Element, fromstring

from markupsafe import Markup, escape

from stylemeter.music.fingering import Fingering, fingering
from stylemeter.music.melody import Melody
from stylemeter.report.draw.notation import SIGNS, TEXT_SIZE, engraver
from stylemeter.report.draw.svg import number
from stylemeter.writing.layout import PrintedBar, printed_bars
from stylemeter.writing.musicxml import score_of

__all__ = ["NARROW", "WIDE", "Glyphs", "Line", "Mark", "Shade", "guessed_rhythm", "score_lines"]

#: Widths of the music: on a desk or paper, and on a phone.
WIDE, NARROW = 19500, 9400
#: Most notes that are engraved.
NOTES_MAX = 700
#: Room above and below what is drawn, the row of brackets, and the room of a chord symbol.
AIR, BRACKET, HOOK, SYMBOL = 60, 330, 130, 330
#: What a clef reaches above and below its staff.
CLEF_ABOVE, CLEF_BELOW = 330, 420
#: Tablature: how far below the staff, between its lines, and the size of its numbers.
TAB_GAP, TAB_SPACE, TAB_SIZE = 230, 190, 250
#: Half the width of a head, and half the gap between brackets that share a note.
HEAD, APART = 117, 35
#: Width of stems, which the style sheet gives where nothing is said.
STEM = "18"

_SVG = "{http://www.w3.org/2000/svg}"
_NUMBERS = re.compile(r"-?\d+(?:\.\d+)?")
_SHIFT = re.compile(r"translate\((-?[\d.]+),\s*(-?[\d.]+)\)(?:\s*scale\((-?[\d.]+),\s*(-?[\d.]+)\))?$")
_STAFF_LINE = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) \2")
_STRAIGHT = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) (-?[\d.]+)")
_NOTE_ID = re.compile(r"n(\d+)$")
_PLAIN = ("d", "points", "stroke-width", "stroke-dasharray", "cx", "cy", "rx", "ry", "x", "y", "width", "height")
_SHAPES = ("path", "polygon", "polyline", "ellipse", "rect")


@dataclass(frozen=True, slots=True)
class Mark:
    """A bracket over notes `first` to `last` (a wedge where they are one), shown with its subject.

    Attributes
    ----------
    subject : str
        Class that shows it.
    first, last : int
        Indices of notes.
    label : str
        Said at its start.
    look : str
        Further class.
    """

    subject: str
    first: int
    last: int
    label: str = ""
    look: str = ""


@dataclass(frozen=True, slots=True)
class Shade:
    """A stretch of time to be shaded, in ticks; shown with its subject."""

    subject: str
    start: int
    end: int
    look: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of music.

    Attributes
    ----------
    picture : Markup
    bar_from, bar_to : int
    """

    picture: Markup
    bar_from: int
    bar_to: int


@dataclass
class Glyphs:
    """The shapes of the signs used in a page, each once."""

    prefix: str = "g"
    shapes: dict[str, str] = field(default_factory=dict)

    def take(self, drawn: Element) -> None:
        """Keep the shapes of an engraving."""
        for shape in (shape for defs in drawn.iter(f"{_SVG}defs") for shape in defs):
            name = _glyph(shape.get("id", ""))
            if name and name not in self.shapes:
                path = shape.find(f"{_SVG}path")
                if path is not None:
                    self.shapes[name] = path.get("d", "")

    @property
    def markup(self) -> Markup:
        """A picture without extent that holds them, for the head of the page."""
        paths = "".join(
            f'<path id="{self.prefix}{escape(name)}" transform="scale(.72,-.72)" d="{escape(d)}"/>'
            for name, d in sorted(self.shapes.items())
        )
        return Markup(  # noqa: S704 - names and outlines are escaped
            f'<svg class="glyphs" width="0" height="0" aria-hidden="true"><defs>{paths}</defs></svg>'
        )


def guessed_rhythm(melody: Melody) -> bool:
    """Whether the rhythm was worked out from played time, or is not known."""
    return melody.duration is None or melody.onset_seconds is not None


def score_lines(
    melody: Melody,
    glyphs: Glyphs,
    *,
    width: int = WIDE,
    bars: Collection[int] | None = None,
    marks: Sequence[Mark] = (),
    shades: Sequence[Shade] = (),
    tab: bool = True,
) -> list[Line]:
    """Engrave a melody, or some bars of it.

    Parameters
    ----------
    melody : Melody
    glyphs : Glyphs
        Takes up the shapes used.
    width : int
        Of a line.
    bars : collection of int, optional
        Numbers of the bars, as in `Melody.bar`.
    marks : sequence of Mark
    shades : sequence of Shade
    tab : bool
        Whether tablature is wanted.

    Returns
    -------
    list of Line
        Empty where it can't be drawn.
    """
    toolkit = engraver()
    if toolkit is None or not len(melody):
        return []
    shown = printed_bars(melody, numbers=bars)
    if guessed_rhythm(melody):
        shown = [_untied(bar) for bar in shown]
    if not shown or sum(len(bar.elements) for bar in shown) > 2 * NOTES_MAX:
        return []
    # title, part and tempo are no part of the picture, and no text of the file's own goes through the engraver
    drawn = _draw(toolkit, score_of(replace(melody, tempo=None), shown, named=False).decode(), width)
    if drawn is None:
        return []
    glyphs.take(drawn)
    hand = fingering(melody) if tab else None
    systems = [g for g in drawn.iter(f"{_SVG}g") if g.get("class") == "system"]
    left = list(shown)
    found = []
    for system in systems:
        measures = [g for g in system.iter(f"{_SVG}g") if g.get("class") == "measure"]
        here, left = left[: len(measures)], left[len(measures) :]
        found.append(_System(melody, glyphs, system, measures, here, hand, width).line(marks, shades))
    return found


def _untied(bar: PrintedBar) -> PrintedBar:
    """A bar with the first written value of each note only, nothing where it is tied on."""
    pieces = [
        replace(e, note=None, tied_from=False, tied_to=False, hidden=True) if e.tied_from else replace(e, tied_to=False)
        for e in bar.elements
    ]
    return replace(bar, elements=tuple(pieces))


def _draw(toolkit: Any, score: str, width: int) -> Element | None:
    """Lines of one width; the engraver's options are put back."""
    before = {"breaks": "none", "adjustPageWidth": True, "mnumInterval": 1}
    own = {"breaks": "auto", "adjustPageWidth": False, "pageWidth": width // 10 + 20, "pageHeight": 60000}
    toolkit.setOptions({**own, "mnumInterval": 0, "spacingSystem": 12})
    try:
        if not toolkit.loadData(score):
            return None
        drawn: Element = fromstring(toolkit.renderToSVG(1))  # noqa: S314 - the engraver's own words, no entities
        return drawn
    finally:
        toolkit.setOptions(before)


def _glyph(name: str) -> str:
    """Name of a glyph in verovio's ids."""
    return name.lstrip("#").partition("-")[0]


class _System:
    """One line as engraved, and what is drawn on it."""

    def __init__(
        self,
        melody: Melody,
        glyphs: Glyphs,
        system: Element,
        measures: Sequence[Element],
        bars: Sequence[PrintedBar],
        hand: Fingering | None,
        width: int,
    ) -> None:
        self.melody, self.glyphs, self.bars, self.hand = melody, glyphs, bars, hand
        self.high: list[float] = []
        self.low: list[float] = []
        #: x of the head of each note, of each tick something starts at, and the bar lines.
        self.heads: dict[int, float] = {}
        self.at: dict[int, float] = {}
        self.edges: list[float] = []
        self.staff = (0.0, 0.0)
        for measure, bar in zip(measures, bars, strict=False):
            self._measure(measure, bar)
        inside = [self._slim(child) for child in system]
        self.inside = "".join(inside)
        self.width = max(float(width), self.edges[-1] if self.edges else 0.0)

    # -- reading the engraving

    def _measure(self, measure: Element, bar: PrintedBar) -> None:
        """Note where the bar's lines, heads and rests are, and take its staff lines out."""
        staff = next(g for g in measure.iter(f"{_SVG}g") if (g.get("class") or "").split()[:1] == ["staff"])
        lines = [p for p in staff if p.tag == f"{_SVG}path" and _STAFF_LINE.fullmatch(p.get("d", ""))][:5]
        ends = [_STAFF_LINE.fullmatch(p.get("d", "")) for p in lines]
        heights = [float(e[2]) for e in ends if e]
        if ends and ends[0] and heights:
            self.staff = (min(heights), max(heights))
            if not self.edges:
                self.edges.append(float(ends[0][1]))
            self.edges.append(float(ends[0][3]))
        for path in lines:
            staff.remove(path)
        printed = [e for e in bar.elements if not e.hidden]
        drawn = [
            g for g in staff.iter(f"{_SVG}g") if (g.get("class") or "").split()[:1] in (["note"], ["rest"], ["mRest"])
        ]
        for element, group in zip(printed, drawn, strict=False):
            shift = next((_SHIFT.match(u.get("transform", "")) for u in group.iter(f"{_SVG}use")), None)
            if shift is None:
                continue
            x = float(shift[1])
            self.at.setdefault(element.start, x)
            if element.note is not None and not element.tied_from:
                self.heads.setdefault(element.note, x)

    def _slim(self, element: Element) -> str:
        """An element with its known parts, groups opened that say nothing."""
        name = element.tag.removeprefix(_SVG) if isinstance(element.tag, str) else ""
        kind = (element.get("class") or "").split()
        if name == "g":
            if not {"placeholder", "label", "labelAbbr", "mNum"}.isdisjoint(kind):
                return ""
            inside = "".join(self._slim(child) for child in element)
            if not inside:
                return ""
            note = _NOTE_ID.fullmatch(element.get("id") or "")
            if kind[:1] == ["note"] and note:
                return f'<g data-note="{note[1]}">{inside}</g>'
            if kind[:1] == ["harm"]:
                return f'<g class="harm">{inside}</g>'
            return inside
        if name == "use":
            return self._use(element)
        if name in _SHAPES:
            return self._shape(name, element)
        if name in ("text", "tspan"):
            return self._text(name, element)
        return ""

    def _use(self, element: Element) -> str:
        shift = _SHIFT.match(element.get("transform", ""))
        if shift is None:
            return ""
        self._reach(float(shift[2]) - 95, float(shift[2]) + 95)
        name = f"#{self.glyphs.prefix}{escape(_glyph(element.get('href', '')))}"
        if shift[3] in (None, "0.72"):
            return f'<use href="{name}" x="{shift[1]}" y="{shift[2]}"/>'
        size = number(float(shift[3]) / 0.72)
        return f'<use href="{name}" transform="translate({shift[1]},{shift[2]})scale({size})"/>'

    def _shape(self, name: str, element: Element) -> str:
        own = {key: value for key in _PLAIN if (value := element.get(key)) is not None}
        if own.get("stroke-width") == STEM:
            del own["stroke-width"]
        found = [float(v) for v in _NUMBERS.findall(own.get("d", own.get("points", "")))][1::2]
        if found:
            self._reach(min(found), max(found))
        straight = _STRAIGHT.fullmatch(own.get("d", ""))
        if straight is not None:
            x, y, x2, y2 = straight.groups()
            own["d"] = f"M{x} {y}" + (f"V{y2}" if x == x2 else f"H{x2}" if y == y2 else f"L{x2} {y2}")
        return f"<{name}" + "".join(f' {key}="{escape(value)}"' for key, value in own.items()) + "/>"

    def _text(self, name: str, element: Element) -> str:
        own = {key: value for key in ("x", "y", "font-size", "text-anchor") if (value := element.get(key)) is not None}
        if "y" in own:
            self._reach(float(own["y"]) - SYMBOL, float(own["y"]))
        text = ""
        if (element.text or "").strip():
            said = (element.text or "").translate(SIGNS)
            if said != element.text:
                own["font-size"] = TEXT_SIZE
            # what only a font for notation could show is left out
            text = str(escape("".join(sign for sign in said if not "\ue000" <= sign <= "\uf8ff")))
        inside = text + "".join(self._slim(child) for child in element)
        head = f"<{name}" + "".join(f' {key}="{escape(value)}"' for key, value in own.items())
        return f"{head}>{inside}</{name}>" if inside else ""

    def _reach(self, high: float, low: float) -> None:
        self.high.append(high)
        self.low.append(low)

    # -- drawing

    def line(self, marks: Sequence[Mark], shades: Sequence[Shade]) -> Line:
        """The line with its tablature and marks."""
        top, foot = self.staff
        roof = min([top - CLEF_ABOVE, *self.high]) - AIR
        floor = max([foot + CLEF_BELOW, *self.low]) + AIR
        bracket = roof - HOOK
        base = floor
        parts = list(self._staff())
        tab = ""
        if self.hand is not None and self.heads:
            tab = "".join(self._tab(self.hand, floor + TAB_GAP - AIR))
            base = floor + TAB_GAP - AIR + (len(self.hand.tuning) - 1) * TAB_SPACE + TAB_SIZE / 2 + AIR
        parts += self._shades(shades, top, base)
        parts.append(self.inside)
        parts.append(tab)
        parts += self._marks(marks, bracket)
        first, last = self.bars[0], self.bars[-1]
        head = bracket - BRACKET + HOOK
        # the number of the first bar, before the row of brackets
        parts.append(f'<text class="bar" x="0" y="{number(bracket + 60)}">{first.number}</text>')
        box = f"-40 {number(head)} {number(self.width + 80)} {number(base - head + AIR)}"
        ratio = (self.width + 80) / (base - head + AIR)
        picture = Markup(  # noqa: S704 - what comes from the engraver is escaped, the rest is our own
            f'<svg class="line" viewBox="{box}" width="{number(100 * ratio)}" height="100" aria-hidden="true">'
            f"{''.join(parts)}</svg>"
        )
        return Line(picture, first.number, last.number)

    def _staff(self) -> Iterator[str]:
        """Five lines, from edge to edge."""
        top, foot = self.staff
        if self.edges:
            d = "".join(
                f"M{number(self.edges[0])} {number(top + i * (foot - top) / 4)}H{number(self.edges[-1])}"
                for i in range(5)
            )
            yield f'<path class="staff-lines" d="{d}"/>'

    def _tab(self, hand: Fingering, top: float) -> Iterator[str]:
        """Lines, bar lines and numbers of the tablature."""
        strings = len(hand.tuning)
        left, right, foot = self.edges[0], self.edges[-1], top + (strings - 1) * TAB_SPACE
        d = "".join(f"M{number(left)} {number(top + i * TAB_SPACE)}H{number(right)}" for i in range(strings))
        d += "".join(f"M{number(x)} {number(top)}V{number(foot)}" for x in self.edges)
        yield f'<path class="staff-lines" d="{d}"/>'
        middle = (top + foot) / 2
        letters = "".join(
            f'<tspan x="{number(left + 150)}" y="{number(middle + (i - 1) * 260 + 90)}">{c}</tspan>'
            for i, c in enumerate("TAB")
        )
        yield f'<text class="tab-word">{letters}</text><g class="frets">'
        for note, x in self.heads.items():
            fret, string = int(hand.frets[note]), int(hand.strings[note])
            y = top + (string - 1) * TAB_SPACE
            yield f'<text data-note="{note}" x="{round(x + HEAD)}" y="{round(y + 88)}">{fret}</text>'
        yield "</g>"

    def _marks(self, marks: Sequence[Mark], y: float) -> Iterator[str]:
        """Brackets over the notes of each mark that lie in this line, and wedges."""
        if not self.heads:
            return
        first_here, last_here = min(self.heads), max(self.heads)
        wedges: dict[tuple[str, str], list[str]] = {}
        for mark in marks:
            if mark.last < first_here or mark.first > last_here:
                continue
            first, last = max(mark.first, first_here), min(mark.last, last_here)
            if first not in self.heads or last not in self.heads:
                continue
            left, right = self.heads[first] + HEAD + APART, self.heads[last] + HEAD - APART
            if mark.first == mark.last:
                x = self.heads[first] + HEAD
                wedges.setdefault((mark.subject, mark.look), []).append(
                    f"M{number(x)} {number(y + HOOK)}l-110-190h220z"
                )
                continue
            d = (
                f"M{number(left)} {number(y + HOOK)}V{number(y)}"
                if mark.first == first
                else f"M{number(left)} {number(y)}"
            )
            d += f"H{number(right)}" + (f"V{number(y + HOOK)}" if mark.last == last else "")
            said = ""
            if mark.label and mark.first == first:
                said = f'<text x="{number(left)}" y="{number(y - 45)}">{escape(mark.label)}</text>'
            yield f'<g class="mark on-{mark.subject} {mark.look}"><path d="{d}"/>{said}</g>'
        for (subject, look), paths in wedges.items():
            yield f'<path class="wedge on-{subject} {look}" d="{"".join(paths)}"/>'

    def _shades(self, shades: Sequence[Shade], top: float, foot: float) -> Iterator[str]:
        """Shaded stretches of time, from staff to tablature."""
        start, end = self.bars[0].start, self.bars[-1].end
        for shade in shades:
            if shade.end <= start or shade.start >= end:
                continue
            left = self._x(max(shade.start, start)) - 60
            right = self.edges[-1] if shade.end >= end else self._x(shade.end) - 60
            if right > left:
                yield (
                    f'<rect class="shade on-{shade.subject} {shade.look}" x="{number(left)}" y="{number(top - 120)}"'
                    f' width="{number(right - left)}" height="{number(foot - top + 120)}"/>'
                )

    def _x(self, tick: int) -> float:
        """Where a tick lies: at what starts there, else between its neighbours."""
        if tick in self.at:
            return self.at[tick]
        before = max((t for t in self.at if t < tick), default=None)
        after = min((t for t in self.at if t > tick), default=None)
        last = (self.bars[-1].end, self.edges[-1])
        t0, x0 = (before, self.at[before]) if before is not None else (self.bars[0].start, self.edges[0])
        t1, x1 = (after, self.at[after]) if after is not None else last
        return x0 + (x1 - x0) * (tick - t0) / max(1, t1 - t0)
