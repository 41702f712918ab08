"""A few bars as notation: our own MusicXML, engraved by verovio, cleaned and marked; as text where that fails.

Conventions: pictures come out the same for the same bars. Of what verovio draws only known elements and attributes
are kept, its random ids and its style sheet are dropped, and the shapes of the glyphs get ids under a prefix of our
own, so that many pictures can stand in one page. Nothing is loaded from elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import Any
from xml.etree.ElementTree import Element, SubElement, tostring

from markupsafe import Markup

from stylemeter.melody import Melody
from stylemeter.meter import TICKS
from stylemeter.report.page_words import say
from stylemeter.report.svg import number
from stylemeter.writing.layout import PrintedBar
from stylemeter.writing.musicxml import to_musicxml
from stylemeter.writing.spelling import spell

__all__ = ["WIDTHS", "Engraved", "bars_text", "engrave"]

#: Widths a picture is drawn at, in CSS pixels: for a phone and for a desk.
WIDTHS = {"narrow": 336, "wide": 860}
#: CSS pixels a unit of verovio's page, in hundredths.
SCALES = {"narrow": 36, "wide": 45}
#: Most notes in a picture.
NOTES_MAX = 160
#: Room below a system for the wedges, and their size, in verovio's units (a staff space is 180).
ROOM, WEDGE = 420, 130

_SVG = "{http://www.w3.org/2000/svg}"
_KEPT = {
    "svg": ("viewBox", "class"),
    "g": ("class", "transform"),
    "path": ("d", "transform", "stroke-width", "stroke-linecap", "stroke-linejoin", "stroke-dasharray", "fill"),
    "use": ("href", "transform", "x", "y", "width", "height"),
    "polygon": ("points", "stroke-width"),
    "polyline": ("points", "stroke-width", "stroke-linecap", "stroke-linejoin", "fill"),
    "ellipse": ("cx", "cy", "rx", "ry", "stroke-width"),
    "rect": ("x", "y", "width", "height", "rx", "stroke-width"),
    "text": ("x", "y", "font-size", "text-anchor", "class"),
    "tspan": ("x", "y", "dx", "dy", "font-size", "class"),
    "defs": (),
}
#: Classes of what stands for something and shows nothing, and of names of parts.
_LEFT_OUT = {"placeholder", "label", "labelAbbr"}
#: Music signs of fonts for notation (SMuFL: accidentals, figured bass, chord symbols) -> those of any font.
_SIGNS = {
    **dict.fromkeys((0xE260, 0xEA64, 0xED60), "♭"),
    **dict.fromkeys((0xE261, 0xEA65, 0xED61), "♮"),
    **dict.fromkeys((0xE262, 0xEA66, 0xED62), "♯"),
}
#: Size of text beside them, in verovio's units.
_TEXT_SIZE = "405px"
_NUMBERS = re.compile(r"-?\d+(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class Engraved:
    """Bars as pictures and as text.

    Attributes
    ----------
    pictures : dict of Markup
        By the name of their width; empty where they could not be drawn.
    text : tuple of str
        One line a bar.
    reason : str
        Why there are no pictures.
    """

    pictures: dict[str, Markup]
    text: tuple[str, ...]
    reason: str = ""


def engrave(
    melody: Melody, laid: Sequence[PrintedBar], marks: Collection[int], bars: Collection[int], prefix: str, label: str
) -> Engraved:
    """Draw some bars.

    Parameters
    ----------
    melody : Melody
    laid : sequence of PrintedBar
        All its bars, as `writing.layout.printed_bars` lays them out.
    marks : collection of int
        Indices of the notes that are evidence.
    bars : collection of int
        Numbers of the bars, as in `Melody.bar`.
    prefix : str
        What ids in the pictures start with: one of its own for each call in a page.
    label : str
        What the pictures show, for those who can't see them.

    Returns
    -------
    Engraved
    """
    shown = [bar for bar in laid if bar.number in bars]
    text = tuple(bars_text(melody, shown, marks))
    if sum(len(bar.elements) for bar in shown) > NOTES_MAX:
        return Engraved({}, text, say("flagged.too_dense"))
    toolkit = _toolkit()
    if toolkit is None:
        return Engraved({}, text, say("flagged.no_engraver"))
    # title, part and tempo are no part of the picture, and no text of the file's own goes through the engraver
    plain = replace(melody, title="", part="", tempo=None)
    score = to_musicxml(plain, marks=marks, bars=bars).decode()
    pictures = {}
    for name, width in WIDTHS.items():
        drawn = _draw(toolkit, score, width, SCALES[name])
        if drawn is None:
            return Engraved({}, text, say("flagged.not_engraved"))
        pictures[name] = _cleaned(drawn, frozenset(marks), f"{prefix}-{name}", width, label)
    return Engraved(pictures, text)


@lru_cache(maxsize=1)
def _toolkit() -> Any:
    """The engraver, None where it isn't installed; it takes a while to load, so only a page asks for it."""
    try:
        import verovio
    except ImportError:
        return None
    verovio.enableLog(verovio.LOG_OFF)
    return verovio.toolkit()


def _draw(toolkit: Any, score: str, width: int, scale: int) -> Element | None:
    """One tall page without header and footer."""
    from defusedxml.ElementTree import fromstring

    toolkit.setOptions(
        {
            "pageWidth": width * 100 // scale,
            "pageHeight": 60000,
            "adjustPageHeight": True,
            "pageMarginLeft": 10,
            "pageMarginRight": 10,
            "pageMarginTop": 20,
            "pageMarginBottom": 20,
            "header": "none",
            "footer": "none",
            "scale": scale,
            "spacingSystem": 6,
            "justifyVertically": False,
            "xmlIdSeed": 1,
            "svgViewBox": True,
            "svgRemoveXlink": True,
            "smuflTextFont": "none",
        }
    )
    if not toolkit.loadData(score):
        return None
    root: Element = fromstring(toolkit.renderToSVG(1))
    return root


# -- cleaning and marking ------------------------------------------------------------------------------------------


def _cleaned(drawn: Element, marks: frozenset[int], prefix: str, width: int, label: str) -> Markup:
    """The picture with nothing but what is known, evidence marked."""
    inner = next(e for e in drawn if e.tag == f"{_SVG}svg")
    _wedges(inner, marks)
    _, _, wide, high = (float(v) for v in inner.get("viewBox", "0 0 1 1").split())
    root = Element("svg", {"class": "score", "role": "img", "aria-label": label})
    used = max(_right_edge(inner) + 200, wide * 0.3)
    shown = min(wide, used)
    root.set("viewBox", f"0 0 {number(shown)} {number(high + ROOM / 2)}")
    root.set("width", number(width * shown / wide))
    defs = SubElement(root, "defs")
    for glyph in drawn.iter(f"{_SVG}defs"):
        for shape in glyph:
            kept = _kept(shape, prefix)
            if kept is not None:
                kept.set("id", f"{prefix}-{shape.get('id', '').partition('-')[0]}")
                defs.append(kept)
    for child in inner:
        kept = _kept(child, prefix)
        if kept is not None:
            root.append(kept)
    return Markup(tostring(root, encoding="unicode"))  # noqa: S704 - elements and attributes are known ones, escaped


def _kept(element: Element, prefix: str) -> Element | None:
    """A copy of an element with its known parts; None where it isn't known or holds nothing."""
    name = element.tag.removeprefix(_SVG) if isinstance(element.tag, str) else ""
    if name not in _KEPT or _LEFT_OUT & set((element.get("class") or "").split()):
        return None
    copy = Element(name, {key: element.get(key, "") for key in _KEPT[name] if element.get(key) is not None})
    if name == "use":
        copy.set("href", f"#{prefix}-{element.get('href', '').lstrip('#').partition('-')[0]}")
    if name in ("text", "tspan") and (element.text or "").strip():
        said = (element.text or "").translate(_SIGNS)
        if said != element.text:
            copy.set("font-size", _TEXT_SIZE)
        # what only a font for notation could show is left out
        copy.text = "".join(sign for sign in said if not "\ue000" <= sign <= "\uf8ff")
    for child in element:
        kept = _kept(child, prefix)
        if kept is not None:
            copy.append(kept)
    if name in ("g", "text", "tspan") and not len(copy) and not copy.text:
        return None
    return copy


def _wedges(inner: Element, marks: frozenset[int]) -> None:
    """Colour the evidence and set a wedge below each of its notes, all of a system at one height."""
    for system in inner.iter(f"{_SVG}g"):
        if "system" not in (system.get("class") or "").split():
            continue
        foot = _foot(system) + 150
        for note in list(system.iter(f"{_SVG}g")):
            index = re.fullmatch(r"n(\d+)(-\d+)?", note.get("id", ""))
            if index is None or int(index[1]) not in marks:
                continue
            note.set("class", "note marked")
            head = next((u for u in note.iter(f"{_SVG}use")), None)
            if head is None or index[2]:
                continue
            x, _ = _moved(head)
            points = f"{number(x + 100)},{number(foot)} {number(x + 100 - WEDGE)},{number(foot + 1.5 * WEDGE)}"
            points += f" {number(x + 100 + WEDGE)},{number(foot + 1.5 * WEDGE)}"
            wedge = SubElement(SubElement(system, f"{_SVG}g", {"class": "wedge marked"}), f"{_SVG}polygon")
            wedge.set("points", points)


def _moved(use: Element) -> tuple[float, float]:
    """Where a glyph is put."""
    found = _NUMBERS.findall(use.get("transform", ""))
    return (float(found[0]), float(found[1])) if len(found) >= 2 else (float(use.get("x", 0)), float(use.get("y", 0)))


def _points(root: Element) -> Iterator[tuple[float, float]]:
    """Points of staves, stems, heads and beams."""
    for element in root.iter():
        if element.tag == f"{_SVG}use":
            yield _moved(element)
        elif element.tag in (f"{_SVG}path", f"{_SVG}polygon"):
            found = _NUMBERS.findall(element.get("d") or element.get("points") or "")
            yield from zip(map(float, found[::2]), map(float, found[1::2]), strict=False)


def _foot(system: Element) -> float:
    """Lowest point of a system."""
    return max((y for _, y in _points(system)), default=0.0)


def _right_edge(inner: Element) -> float:
    """Rightmost point of the picture, its margin included."""
    shift = next((_NUMBERS.findall(g.get("transform", "")) for g in inner if g.get("class") == "page-margin"), [])
    return max((x for x, _ in _points(inner)), default=0.0) + (float(shift[0]) if shift else 0.0)


# -- text ----------------------------------------------------------------------------------------------------------


def bars_text(melody: Melody, shown: Collection[PrintedBar], marks: Collection[int]) -> Iterator[str]:
    """Bars as lines of text: names of notes, lengths in quarters, evidence starred.

    Examples
    --------
    >>> from stylemeter.reading.build import Draft, RawNote, build
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
