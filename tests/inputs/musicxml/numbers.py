"""Inputs 17 to 25: MusicXML whose numbers can't be, or don't add up."""

from __future__ import annotations

from inputs.musicxml.case import BACK, FIRST, FORWARD, SCALE, SECOND, Case, scale
from inputs.sixty.xml import attributes, bars, measure, note, notes, part, plain, whole

MEND = "mend it in a notation editor, or leave the bar out"
INFERRED = "no divisions: note lengths worked out from the note types (in bar 1)"
NO_LENGTHS = plain().replace(b"<divisions>4</divisions>", b"").replace(b"<type>quarter</type>", b"")


def after_first_bar(body: str, more: str = "") -> bytes:
    """The first four notes in whatever bar is asked for, the others in the next."""
    return whole(part(measure(attributes() + body, 1, more) + measure(notes(SECOND), 2)))


def timed(duration: object) -> bytes:
    """The scale, the third note of another duration."""
    return bars(notes("C4 D4") + note("E4", duration) + note("F4"), notes(SECOND))


NUMBERS = (
    Case(17, "no divisions", scale(divisions=None), SCALE, remarks=(INFERRED,)),
    Case(
        17,
        "no divisions and no types",
        NO_LENGTHS,
        error="bar 1: the part has no divisions, so no length is known; export it again as MusicXML",
    ),
    Case(18, "divisions 0", scale(divisions=0), SCALE, remarks=(INFERRED,)),
    Case(18, "divisions not whole", scale(divisions="4.0"), SCALE),
    Case(
        19,
        "beat-type 0",
        scale(meter="4/0"),
        error="bar 1: meter '4/0' is not a meter; the upper number is 1 to 64, the lower 1, 2, 4, 8, 16, 32 or 64",
    ),
    Case(
        19,
        "beats in two sums",
        scale(meter="3+2/8"),
        "C4@0 D4@1 E4@2 F4@3 G4@4 A4@5 B4@6 C5@7",
        meters="5/8@0",
        remarks=("2 bars longer than the meter kept as written (first in bar 1)",),
    ),
    Case(20, "NaN", timed("NaN"), error=f"bar 1: duration 'NaN' is not a length; {MEND}"),
    Case(20, "negative", timed(-4), error=f"bar 1: duration '-4' is not a length; {MEND}"),
    Case(20, "endless", timed("1e999999999"), error=f"bar 1: duration '1e999999999' is not a length; {MEND}"),
    Case(20, "10^12 bars", timed(16 * 10**12), error="bar 1: 4e+12 quarter notes long; the limit of a piece is 80000"),
    Case(
        20,
        "none but a type",
        bars(notes("C4 D4") + note("E4", 4).replace("<duration>4</duration>", "") + note("F4"), notes(SECOND)),
        SCALE,
    ),
    Case(20, "none at all", timed(None), error=f"bar 1: a note without a duration; {MEND}"),
    Case(
        20,
        "zero",
        timed(0),
        "C4@0 D4@1 F4@2 G4@3 A4@4 B4@5 C5@6",
        first_beat=2,
        remarks=(
            "1 note without length left out (in bar 0 (numbered '1'))",
            "first bar shorter than the meter: read as a pickup (in bar 0 (numbered '1'))",
        ),
    ),
    Case(
        21,
        "absurd octave",
        bars(notes("C4 D999999999")),
        error=f"bar 1: step 'D', alter '0', octave '999999999' is not a pitch; octaves are 0 to 9; {MEND}",
    ),
    Case(
        21,
        "absurd alteration",
        bars(note("C4").replace("<octave>", "<alter>1e9</alter><octave>")),
        error=f"bar 1: step 'C', alter '1e9', octave '4' is not a pitch; octaves are 0 to 9; {MEND}",
    ),
    Case(
        21,
        "absurd transposition",
        scale(inner="<transpose><chromatic>0</chromatic><octave-change>90</octave-change></transpose>"),
        error="bar 1: no instrument transposes by chromatic '0', octaves '90'; mend the part's transposition",
    ),
    Case(
        21,
        "beyond hearing",
        bars(notes("C9") + note("A9")),
        error="bar 1: a note of MIDI number 129, beyond what can be heard; mend its octave or the part's transposition",
    ),
    Case(
        22,
        "backup before the bar",
        bars(notes(FIRST) + BACK.format(99) + note("G3", voice=2), notes(SECOND)),
        SCALE,
        remarks=(
            "1 step back before its bar mended to the bar's start (in bar 1)",
            "1 note of other voices left out (in bar 1)",
        ),
    ),
    Case(
        22,
        "forward at the end of a bar",
        bars(notes("C4 D4") + FORWARD.format(8), notes(SECOND)),
        "C4@0 D4@1 G4@4 A4@5 B4@6 C5@7",
    ),
    Case(
        23,
        "overfull",
        bars(notes("C4 D4 E4 F4 G4"), notes("A4 B4 C5 R")),
        "C4@0 D4@1 E4@2 F4@3 G4@4 A4@5 B4@6 C5@7",
        remarks=("1 bar longer than the meter kept as written (in bar 1)",),
        more={"bar": [1] * 5 + [2] * 3, "beat": [1, 2, 3, 4, 1, 1, 2, 3]},
    ),
    Case(
        23,
        "a little overfull",
        bars(notes("C4 D4 E4") + note("F4", 5), notes(SECOND)),
        "C4@0 D4@1 E4@2 F4@3 G4@17/4 A4@21/4 B4@25/4 C5@29/4",
        remarks=("1 bar longer than the meter kept as written (in bar 1)",),
    ),
    Case(
        23,
        "underfull",
        bars(notes(FIRST), notes("G4 A4 B4"), notes("C5", 16)),
        SCALE,
        remarks=("1 bar shorter than the meter kept as written (in bar 2)",),
        more={"bar": [1] * 4 + [2] * 3 + [3]},
    ),
    Case(
        23,
        "two halves of a bar",
        bars(notes(FIRST), notes("G4"), notes("A4 B4 C5"), notes("C4", 16)),
        SCALE + " C4@8",
        more={"bar": [1] * 4 + [2] * 4 + [3], "beat": [1, 2, 3, 4, 1, 2, 3, 4, 1]},
    ),
    Case(
        23,
        "empty bar",
        bars(notes(FIRST), "", notes(SECOND)),
        "C4@0 D4@1 E4@2 F4@3 G4@8 A4@9 B4@10 C5@11",
        more={"bar": [1] * 4 + [3] * 4},
    ),
    Case(
        23,
        "whole-bar rest of a wrong length",
        whole(
            part(
                measure(attributes(meter="3/4") + notes("C4 D4 E4"))
                + measure(note("R", 16).replace("<rest/>", "<rest measure='yes'/>"), 2)
                + measure(notes("F4"), 3)
            )
        ),
        "C4@0 D4@1 E4@2 F4@6",
        meters="3/4@0",
        remarks=("1 bar shorter than the meter kept as written (in bar 3)",),
    ),
    Case(
        24,
        "pickup",
        after_first_bar(notes("C4"), " implicit='yes'"),
        "C4@0 G4@1 A4@2 B4@3 C5@4",
        first_beat=4,
        more={"bar": [0, 1, 1, 1, 1]},
    ),
    Case(
        24,
        "pickup not marked",
        after_first_bar(notes("C4")),
        "C4@0 G4@1 A4@2 B4@3 C5@4",
        first_beat=4,
        remarks=("first bar shorter than the meter: read as a pickup (in bar 0 (numbered '1'))",),
    ),
    Case(
        24,
        "only bar and short",
        bars(notes("C4 D4")),
        "C4@0 D4@1",
        remarks=("1 bar shorter than the meter kept as written (in bar 1)",),
    ),
    Case(
        25,
        "odd bar numbers",
        whole(part(measure(attributes() + notes(FIRST), "X1") + measure(notes(SECOND), "6B"))),
        SCALE,
        more={"bar": [1] * 4 + [2] * 4},
    ),
    Case(
        25,
        "one number twice, named in an error",
        whole(part(measure(attributes() + notes(FIRST), "7") + measure(notes("D999"), "7"))),
        error=f"bar 2 (numbered '7'): step 'D', alter '0', octave '999' is not a pitch; octaves are 0 to 9; {MEND}",
    ),
)
