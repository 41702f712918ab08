"""MusicXML by hand: just enough to write a case down in a line or two. Four divisions to a quarter note."""

from __future__ import annotations

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
#: The eight quarter notes most cases play, and how they sound.
SCALE = "C4 D4 E4 F4 G4 A4 B4 C5"
SCALE_PITCHES = (60, 62, 64, 65, 67, 69, 71, 72)
STEADY = (0, 1, 2, 3, 4, 5, 6, 7)

_TYPES = {1: "16th", 2: "eighth", 3: "eighth", 4: "quarter", 6: "quarter", 8: "half", 12: "half", 16: "whole"}


def pitch(name: str) -> str:
    """``<pitch>`` of "F#4", "Bb3"."""
    alter = name.count("#") - name[1:].count("b")
    altered = f"<alter>{alter}</alter>" if alter else ""
    return f"<pitch><step>{name[0]}</step>{altered}<octave>{name.lstrip('ABCDEFG#b')}</octave></pitch>"


def note(name: str, duration: object = 4, *, before: str = "", after: str = "", voice: int = 1, staff: int = 0) -> str:
    """One note or, with the name "R", one rest."""
    what = "<rest/>" if name == "R" else pitch(name)
    length = "" if duration is None else f"<duration>{duration}</duration>"
    kind = f"<type>{_TYPES[duration]}</type>" if duration in _TYPES else ""
    on = f"<staff>{staff}</staff>" if staff else ""
    return f"<note>{before}{what}{length}<voice>{voice}</voice>{kind}{on}{after}</note>"


def notes(names: str, duration: object = 4, **more: object) -> str:
    """Notes of one length."""
    return "".join(note(name, duration, **more) for name in names.split())


def attributes(inner: str = "", *, divisions: object = 4, meter: str = "4/4", fifths: int = 0) -> str:
    """``<attributes>`` of a first bar."""
    upper, lower = meter.split("/")
    division = "" if divisions is None else f"<divisions>{divisions}</divisions>"
    return (
        f"<attributes>{division}<key><fifths>{fifths}</fifths><mode>major</mode></key>"
        f"<time><beats>{upper}</beats><beat-type>{lower}</beat-type></time>{inner}</attributes>"
    )


def measure(body: str, number: object = 1, more: str = "") -> str:
    """One bar."""
    return f'<measure number="{number}"{more}>{body}</measure>'


def part(body: str, name: str = "P1") -> str:
    """One part."""
    return f'<part id="{name}">{body}</part>'


def whole(*parts: str, names: tuple[str, ...] = ("Violin",), prolog: str = HEAD) -> bytes:
    """A score of parts P1, P2, ... with these names."""
    listed = "".join(
        f'<score-part id="P{i}"><part-name>{name}</part-name></score-part>' for i, name in enumerate(names, 1)
    )
    body = "".join(parts)
    score = f'<score-partwise version="4.0"><part-list>{listed}</part-list>{body}</score-partwise>'
    return (prolog + score).encode()


def bars(*bodies: str) -> bytes:
    """A score of one part; the first bar has the usual attributes in front."""
    first, *rest = bodies
    measures = [measure(attributes() + first), *(measure(body, number) for number, body in enumerate(rest, 2))]
    return whole(part("".join(measures)))


def plain(prolog: str = HEAD) -> bytes:
    """The scale in two bars of 4/4."""
    first, second = SCALE[:11], SCALE[12:]
    return whole(part(measure(attributes() + notes(first)) + measure(notes(second), 2)), prolog=prolog)
