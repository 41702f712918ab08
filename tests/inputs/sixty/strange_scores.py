"""Cases 17 to 25: MusicXML whose numbers can't be or don't add up."""

from __future__ import annotations

from .case import Case
from .xml import SCALE_PITCHES, STEADY, attributes, bars, measure, note, notes, part, whole

ANY = r"."
SCALE = {"pitches": SCALE_PITCHES, "onsets": STEADY}


def scale_with(divisions: object, meter: str = "4/4") -> bytes:
    """The scale with other attributes; the notes still say that they are quarters."""
    first = attributes(divisions=divisions, meter=meter) + notes("C4 D4 E4 F4")
    return whole(part(measure(first) + measure(notes("G4 A4 B4 C5"), 2)))


def scale_where_one_is(duration: object) -> bytes:
    """The scale, its third note of another duration."""
    return bars(notes("C4 D4") + note("E4", duration) + note("F4"), notes("G4 A4 B4 C5"))


def no_tiny_notes(melodies: list) -> None:
    """Nothing lasts a ten-thousandth of a quarter, nor a thousand of them."""
    assert all(10080 / 64 <= length <= 64 * 10080 for length in melodies[0].duration)


def numbered(*numbers: str) -> bytes:
    """The scale in bars so numbered, four notes to two bars."""
    bodies = (notes("C4 D4 E4 F4"), notes("G4 A4 B4 C5"), notes("C4 D4 E4 F4"), notes("G4 A4 B4 C5"))
    measures = [measure(body, number) for number, body in zip(numbers, bodies, strict=True)]
    measures[0] = measure(attributes() + bodies[0], numbers[0])
    return whole(part("".join(measures)))


def bars_in_printed_order(melodies: list) -> None:
    """Whatever the bars are called, they count up."""
    assert melodies[0].bar.tolist() == [1] * 4 + [2] * 4 + [3] * 4 + [4] * 4


def starts_on_beat(beat: float):
    """A check of the first note's beat."""

    def check(melodies: list) -> None:
        assert melodies[0].beat[0] == beat
        assert melodies[0].bar[0] == 0

    return check


TWICE = (*SCALE_PITCHES, *SCALE_PITCHES)
BACK = "<backup><duration>40</duration></backup>"
OVERFULL = bars(notes("C4 D4 E4 F4 G4"), notes("A4 B4 C5 R"))
UNDERFULL = bars(notes("C4 D4 E4"), notes("F4 G4 A4 B4"), notes("C5 R R R"))
PICKUP = whole(
    part(
        measure(attributes() + notes("C4"), 0, ' implicit="yes"')
        + measure(notes("D4 E4 F4 G4"), 1)
        + measure(notes("A4 B4 C5 R"), 2)
    )
)

STRANGE_SCORES = (
    Case(17, "no divisions", scale_with(None), error=ANY, check=no_tiny_notes, **SCALE),
    Case(18, "divisions 0", scale_with(0), error=ANY, check=no_tiny_notes, **SCALE),
    Case(18, "divisions -4", scale_with(-4), error=ANY, check=no_tiny_notes, **SCALE),
    Case(18, "divisions in words", scale_with("four"), error=ANY, check=no_tiny_notes, **SCALE),
    Case(19, "beat-type 0", scale_with(4, "4/0"), error=ANY, **SCALE),
    Case(19, "beat-type 3", scale_with(4, "4/3"), error=ANY, **SCALE),
    Case(
        20,
        "duration NaN",
        scale_where_one_is("NaN"),
        error=ANY,
        check=no_tiny_notes,
        remark=ANY,
        pitches=(60, 62, 65, 67, 69, 71, 72),
    ),
    Case(
        20,
        "duration negative",
        scale_where_one_is(-4),
        error=ANY,
        check=no_tiny_notes,
        remark=ANY,
        pitches=(60, 62, 65, 67, 69, 71, 72),
    ),
    Case(20, "duration endless", scale_where_one_is("1e300"), error=ANY),
    Case(20, "duration of a million bars", scale_where_one_is(16_000_000), error=ANY),
    Case(
        21,
        "absurd octave",
        bars(notes("C4 D4 E999999999 F4"), notes("G4 A4 B4 C5")),
        error=ANY,
        remark=ANY,
        pitches=(60, 62, 65, 67, 69, 71, 72),
        onsets=(0, 1, 3, 4, 5, 6, 7),
    ),
    Case(
        22,
        "backup before the bar",
        bars(notes("C4 D4 E4 F4") + BACK + note("G3", voice=2), notes("G4 A4 B4 C5")),
        error=ANY,
        remark=ANY,
        pitches=SCALE_PITCHES,
    ),
    Case(23, "overfull bar", OVERFULL, remark="bar", **SCALE),
    Case(23, "underfull bar", UNDERFULL, remark="bar", **SCALE),
    Case(24, "pickup", PICKUP, check=starts_on_beat(4), **SCALE),
    Case(25, "bars X1 and 6B", numbered("X1", "6B", "", "7"), check=bars_in_printed_order, pitches=TWICE),
    Case(25, "bars of one number", numbered("1", "1", "1", "1"), check=bars_in_printed_order, pitches=TWICE),
)
