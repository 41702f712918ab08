"""Playing marks as MusicXML notations.

Conventions: hammer-on, pull-off and slide belong to the note they lead to, so the note before gets their start. How
far a note is bent isn't known to the note table: a bend has size 0 and the note the pitch it reaches.
"""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree.ElementTree import Element, SubElement

from stylemeter.music.melody import Technique

__all__ = ["notations"]

#: Marks between two notes -> (element that holds them, their own).
_BETWEEN = {
    Technique.HAMMER_ON: ("technical", "hammer-on"),
    Technique.PULL_OFF: ("technical", "pull-off"),
    Technique.SLIDE: ("", "slide"),
}
_ARTICULATIONS = {Technique.ACCENT: "accent", Technique.STACCATO: "staccato"}


def notations(own: Technique, following: Technique, place: tuple[int, int] | None = None) -> Iterator[Element]:
    """Children of a note's ``<notations>``.

    Parameters
    ----------
    own : Technique
        Marks of the note, if this element is the first of it.
    following : Technique
        Marks of the note after it, if this element is the last of it.
    place : (int, int), optional
        String and fret of the note, if this element is the first of it.

    Examples
    --------
    >>> from xml.etree.ElementTree import tostring
    >>> [tostring(e).decode() for e in notations(Technique.HAMMER_ON, Technique(0))]
    ['<technical><hammer-on type="stop" number="1" /></technical>']
    """
    technical = Element("technical")
    for mark, (holder, tag) in _BETWEEN.items():
        for there, kind in ((own, "stop"), (following, "start")):
            if mark in there and holder:
                SubElement(technical, tag, type=kind, number="1")
            elif mark in there:
                yield Element(tag, type=kind, number="1")
    technical.extend(_bends(own))
    if Technique.HARMONIC in own:
        technical.append(_harmonic())
    if place is not None:
        for tag, number in zip(("string", "fret"), place, strict=True):
            SubElement(technical, tag).text = str(number)
    articulations = Element("articulations")
    for mark, tag in _ARTICULATIONS.items():
        if mark in own:
            SubElement(articulations, tag)
    yield from (group for group in (technical, _ornaments(own), articulations) if len(group))


def _harmonic() -> Element:
    """A harmonic that is written where it sounds."""
    harmonic = Element("harmonic")
    SubElement(harmonic, "natural")
    SubElement(harmonic, "sounding-pitch")
    return harmonic


def _bends(own: Technique) -> Iterator[Element]:
    """Bend, pre-bend and release, each an element of its own."""
    for mark, tag in ((Technique.BEND, ""), (Technique.PRE_BEND, "pre-bend"), (Technique.RELEASE, "release")):
        if mark in own:
            bend = Element("bend")
            SubElement(bend, "bend-alter").text = "0"
            if tag:
                SubElement(bend, tag)
            yield bend


def _ornaments(own: Technique) -> Element:
    """Trill and vibrato; a wavy line beside a trill would be the trill's, so vibrato is said in words there."""
    ornaments = Element("ornaments")
    trill = Technique.TRILL in own
    if trill:
        SubElement(ornaments, "trill-mark")
    if Technique.VIBRATO in own and trill:
        SubElement(ornaments, "other-ornament").text = "vibrato"
    elif Technique.VIBRATO in own:
        for kind in ("start", "stop"):
            SubElement(ornaments, "wavy-line", type=kind, number="1")
    return ornaments
