"""A few bars as notation: our own MusicXML, engraved by verovio, cleaned, marked and parted bar by bar.

Conventions: pictures come out the same for the same bars. They are engraved once, as one endless line, and given as
one drawing a bar, which a page sets like words: a phone breaks the line sooner than a desk does. Of what verovio
draws only known elements and attributes are kept, its random ids and its style sheet are dropped, and the shapes of
the glyphs get ids under a prefix of our own, so that many pictures can stand in one page. Nothing is loaded from
elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import Any
from xml.etree.ElementTree import Element, SubElement, fromstring

from markupsafe import Markup, escape

from stylemeter.music.melody import Melody
from stylemeter.music.meter import TICKS
from stylemeter.report.draw.svg import number
from stylemeter.report.solo.words import say
from stylemeter.writing.layout import PrintedBar, printed_bars
from stylemeter.writing.musicxml import score_of
from stylemeter.writing.spelling import spell

__all__ = ["SIGNS", "TEXT_SIZE", "Engraved", "bars_text", "engrave", "engraver"]

#: Size of the print: how many of verovio's units make one em of the text around it. A staff space is 180 units, and
#: the staff of 720 stands two lines of text high.
UNITS_AN_EM = 356
#: Most notes in a picture.
NOTES_MAX = 160
#: Room around the line in the page verovio draws.
MARGIN, ABOVE, BELOW = 100, 200, 200
#: Room below the line for the wedges, and their size, in verovio's units.
ROOM, WEDGE = 210, 130
#: How far before its bar line the number of a bar ends.
NUMBER_SHIFT = 20

_SVG = "{http://www.w3.org/2000/svg}"
_KEPT = {
    "g": ("class", "transform"),
    "path": ("d", "transform", "stroke-width", "stroke-linecap", "stroke-linejoin", "stroke-dasharray", "fill"),
    "use": ("href", "transform", "x", "y", "width", "height"),
    "polygon": ("points", "stroke-width"),
    "polyline": ("points", "stroke-width", "stroke-linecap", "stroke-linejoin", "fill"),
    "ellipse": ("cx", "cy", "rx", "ry", "stroke-width"),
    "rect": ("x", "y", "width", "height", "rx", "stroke-width"),
    "text": ("x", "y", "font-size", "text-anchor", "class"),
    "tspan": ("x", "y", "dx", "dy", "font-size", "class"),
}
#: Elements of which nothing is left where they hold nothing.
_HOLDERS = {"g", "text", "tspan"}
#: Classes of what stands for something and shows nothing, and of names of parts.
_LEFT_OUT = {"placeholder", "label", "labelAbbr"}
#: Music signs of fonts for notation (SMuFL: accidentals, figured bass, chord symbols) -> those of any font.
SIGNS = {
    **dict.fromkeys((0xE260, 0xEA64, 0xED60), "♭"),
    **dict.fromkeys((0xE261, 0xEA65, 0xED61), "♮"),
    **dict.fromkeys((0xE262, 0xEA66, 0xED62), "♯"),
}
#: Size of text beside them, in verovio's units.
TEXT_SIZE = "405px"
_NOTE_ID = re.compile(r"n(\d+)(-\d+)?")
_SHIFT = re.compile(r"translate\((-?[\d.]+),")
_ACROSS = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) \2")


@dataclass(frozen=True, slots=True)
class Engraved:
    """Bars as drawings and as text.

    Attributes
    ----------
    drawings : tuple of Markup
        One a bar, to be set side by side without gaps; empty where they could not be drawn.
    label : str
        What they show, for those who can't see them.
    text : tuple of str
        One line a bar.
    reason : str
        Why there are no drawings.
    """

    drawings: tuple[Markup, ...]
    label: str
    text: tuple[str, ...]
    reason: str = ""


def engrave(melody: Melody, marks: Collection[int], bars: Collection[int], prefix: str, label: str) -> Engraved:
    """Draw some bars.

    Parameters
    ----------
    melody : Melody
    marks : collection of int
        Indices of the notes that are evidence.
    bars : collection of int
        Numbers of the bars, as in `Melody.bar`.
    prefix : str
        What ids in the drawings start with: one of its own for each call in a page.
    label : str
        What they show, for those who can't see them.

    Returns
    -------
    Engraved
    """
    shown = printed_bars(melody, numbers=bars)
    text = tuple(bars_text(melody, shown, marks))
    if sum(len(bar.elements) for bar in shown) > NOTES_MAX:
        return Engraved((), label, text, say("flagged.too_dense"))
    toolkit = engraver()
    if toolkit is None:
        return Engraved((), label, text, say("flagged.no_engraver"))
    # title, part and tempo are no part of the picture, and no text of the file's own goes through the engraver
    plain = replace(melody, title="", part="", tempo=None)
    drawn = _draw(toolkit, score_of(plain, shown).decode())
    if drawn is None:
        return Engraved((), label, text, say("flagged.not_engraved"))
    return Engraved(tuple(_parted(drawn, frozenset(marks), prefix)), label, text)


@lru_cache(maxsize=1)
def engraver() -> Any:
    """The engraver, None where it isn't installed; it takes a while to load, so only a page asks for it."""
    try:
        import verovio
    except ImportError:
        return None
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(
        {
            "breaks": "none",
            "adjustPageWidth": True,
            "adjustPageHeight": True,
            "pageMarginLeft": MARGIN // 10,
            "pageMarginRight": MARGIN // 10,
            "pageMarginTop": ABOVE // 10,
            "pageMarginBottom": BELOW // 10,
            "header": "none",
            "footer": "none",
            "mnumInterval": 1,
            "xmlIdSeed": 1,
            "svgViewBox": True,
            "svgFormatRaw": True,
            "svgRemoveXlink": True,
            "smuflTextFont": "none",
        }
    )
    return toolkit


def _draw(toolkit: Any, score: str) -> Element | None:
    """One endless line."""
    if not toolkit.loadData(score):
        return None
    return fromstring(toolkit.renderToSVG(1))  # noqa: S314 - the engraver's own words, which declare no entities


# -- cleaning, marking and parting ---------------------------------------------------------------------------------


def _parted(drawn: Element, marks: frozenset[int], prefix: str) -> Iterator[Markup]:
    """A drawing a bar, of one height, with nothing but what is known in it, evidence marked."""
    inner = next(e for e in drawn if e.tag == f"{_SVG}svg")
    high = float(inner.get("viewBox", "0 0 1 1").split()[3])
    foot = high - ABOVE - BELOW
    measures = [g for g in inner.iter(f"{_SVG}g") if g.get("class") == "measure"]
    shapes = _shapes(drawn, prefix)
    for place, measure in enumerate(measures):
        left, right = _edges(measure)
        _wedges(measure, marks, foot + ROOM / 2)
        _move_number(measure, left)
        # the last bar line is drawn to its middle: as much again is its right half
        wide = right - left + (20 if place == len(measures) - 1 else 0)
        box = f"{number(left)} {-ABOVE} {number(wide)} {number(foot + ABOVE + ROOM + WEDGE)}"
        width = f"{wide / UNITS_AN_EM:.3f}em"
        inside = ("" if place else f"<defs>{shapes}</defs>") + _kept(measure, prefix)
        yield Markup(  # noqa: S704 - elements and attributes are known ones, what they hold is escaped
            f'<svg class="score" viewBox="{box}" width="{width}" aria-hidden="true">{inside}</svg>'
        )


def _shapes(drawn: Element, prefix: str) -> str:
    """The shapes of the glyphs, under our own ids."""
    found = []
    for shape in (shape for defs in drawn.iter(f"{_SVG}defs") for shape in defs):
        inside = "".join(_kept(child, prefix) for child in shape)
        found.append(f'<g id="{prefix}-{escape(_glyph(shape.get("id", "")))}">{inside}</g>')
    return "".join(found)


def _glyph(name: str) -> str:
    """Name of a glyph in verovio's ids."""
    return name.lstrip("#").partition("-")[0]


def _kept(element: Element, prefix: str) -> str:
    """An element with its known parts; nothing where it isn't known or holds nothing."""
    name = element.tag.removeprefix(_SVG) if isinstance(element.tag, str) else ""
    known = _KEPT.get(name)
    if known is None or (name == "g" and not _LEFT_OUT.isdisjoint((element.get("class") or "").split())):
        return ""
    own = {key: value for key in known if (value := element.get(key)) is not None}
    text = ""
    if name == "use":
        own["href"] = f"#{prefix}-{_glyph(own.get('href', ''))}"
    elif name in ("text", "tspan") and (element.text or "").strip():
        said = (element.text or "").translate(SIGNS)
        if said != element.text:
            own["font-size"] = TEXT_SIZE
        # what only a font for notation could show is left out
        text = escape("".join(sign for sign in said if not "\ue000" <= sign <= "\uf8ff"))
    inside = text + "".join(_kept(child, prefix) for child in element)
    if name in _HOLDERS and not inside:
        return ""
    head = f"<{name}" + "".join(f' {key}="{escape(value)}"' for key, value in own.items())
    return f"{head}>{inside}</{name}>" if inside else f"{head}/>"


def _edges(measure: Element) -> tuple[float, float]:
    """Where the staff lines of a bar begin and end."""
    for path in measure.iter(f"{_SVG}path"):
        across = _ACROSS.fullmatch(path.get("d", ""))
        if across is not None:
            return float(across[1]), float(across[3])
    return 0.0, 0.0


def _move_number(measure: Element, left: float) -> None:
    """Set the number of a bar before its line, where no chord symbol is."""
    for group in measure.iterfind(f"{_SVG}g"):
        if "mNum" in (group.get("class") or "").split():
            for text in group.iterfind(f"{_SVG}text"):
                text.set("x", number(left - NUMBER_SHIFT))
                text.set("text-anchor", "end")


def _wedges(measure: Element, marks: frozenset[int], foot: float) -> None:
    """Colour the evidence and set a wedge below each of its notes, all at one height."""
    for note in list(measure.iter(f"{_SVG}g")):
        index = _NOTE_ID.fullmatch(note.get("id", ""))
        if index is None or int(index[1]) not in marks:
            continue
        note.set("class", "note marked")
        head = next((u for u in note.iter(f"{_SVG}use")), None)
        shift = _SHIFT.match(head.get("transform", "")) if head is not None else None
        if shift is None or index[2]:
            continue
        x = float(shift[1]) + 100
        wedge = SubElement(SubElement(measure, f"{_SVG}g", {"class": "wedge marked"}), f"{_SVG}polygon")
        low = foot + 1.5 * WEDGE
        wedge.set(
            "points", f"{number(x)},{number(foot)} {number(x - WEDGE)},{number(low)} {number(x + WEDGE)},{number(low)}"
        )


# -- text ----------------------------------------------------------------------------------------------------------


def bars_text(melody: Melody, shown: Collection[PrintedBar], marks: Collection[int]) -> Iterator[str]:
    """Bars as lines of text: names of notes, lengths in quarters, evidence starred.

    Examples
    --------
    >>> from stylemeter.reading.draft.build import Draft, RawNote, build
    >>> from stylemeter.writing.layout import printed_bars
    >>> tune = build(Draft([RawNote(0, 5040, 61.0), RawNote(5040, 15120, 64.0)]))
    >>> list(bars_text(tune, printed_bars(tune), {1}))
    ['Bar 1: C♯4 1/2, *E4 3/2, rest 2']
    """
    for bar in shown:
        said: list[tuple[int | None, Fraction]] = []
        for piece in bar.elements:
            length = Fraction(piece.length, TICKS)
            # tied pieces of one note, and rests side by side, are said once
            if said and said[-1][0] == piece.note:
                length += said.pop()[1]
            said.append((piece.note, length))
        notes = ", ".join(f"{_name(melody, note, marks)} {length}" for note, length in said)
        yield say("flagged.bar_line", bar=bar.number, notes=notes)


def _name(melody: Melody, note: int | None, marks: Collection[int]) -> str:
    """Name of a note with its octave, or "rest"."""
    if note is None:
        return say("flagged.rest")
    spelled = spell(float(melody.pitch[note]), melody.key)
    sign = {-2: "♭♭", -1: "♭", 1: "♯", 2: "♯♯"}.get(round(spelled.alter), "")
    return f"{'*' if note in marks else ''}{spelled.letter}{sign}{spelled.octave}"
