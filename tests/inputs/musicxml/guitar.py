"""Guitar parts in MusicXML, and how to look at what was read of them."""

from __future__ import annotations

from inputs.sixty.xml import attributes, measure, part, whole

from stylemeter.music.melody import Melody, Technique
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.musicxml.read import read

TREBLE = "<clef><sign>G</sign><line>2</line></clef>"
TREBLE_8 = "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"
TAB = "<clef><sign>TAB</sign><line>5</line></clef>"
DOWN = "<transpose><diatonic>0</diatonic><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>"


def technical(inner: str) -> str:
    """Technical marks of a note."""
    return f"<notations><technical>{inner}</technical></notations>"


def fret(string: int, number: int, more: str = "") -> str:
    """String and fret of a note."""
    return technical(f"<string>{string}</string><fret>{number}</fret>{more}")


def guitar(body: str, inner: str = TREBLE_8, name: str = "Guitar") -> bytes:
    """One part of one bar."""
    return whole(part(measure(attributes(inner) + body)), names=(name,))


def between(name: str, kind: str) -> str:
    """One end of a mark between two notes."""
    inner = f"<{name} type='{kind}' number='1'/>"
    return f"<notations>{inner}</notations>" if name in ("slide", "glissando") else technical(inner)


def one(data: bytes, **options: object) -> Melody:
    """The one melody of a file."""
    (melody,) = read(data, ReadOptions(**options))
    return melody


def marks(melody: Melody) -> list[str]:
    """Words of the marks of every note."""
    assert melody.technique is not None
    return [" ".join(Technique(int(mark)).words) for mark in melody.technique]


def remarks(melody: Melody) -> tuple[str, ...]:
    """Remarks of the reader itself: none on whether so few notes fit the key."""
    return tuple(r for r in melody.remarks if not r.startswith("the file declares"))
