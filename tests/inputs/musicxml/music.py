"""Inputs 28 to 40: meters, voices, ties, tuplets, tempo, chords, notes that don't sound."""

from __future__ import annotations

from inputs.musicxml.case import BACK, FIRST, SCALE, SECOND, Case, chord, tie
from inputs.sixty.xml import attributes, bars, measure, note, notes, part, whole

GRACE = note("B4", None, before="<grace/>")
UNPITCHED = "<note><unpitched/><duration>4</duration><voice>1</voice></note>"


def metronome(unit: str, number: str, more: str = "") -> str:
    """A metronome mark."""
    mark = f"<metronome>{unit}<per-minute>{number}</per-minute></metronome>"
    return f"<direction><direction-type>{mark}</direction-type>{more}</direction>"


def triplet(names: str, duration: int, actual: int = 3, normal: int = 2) -> str:
    """Notes with a time modification."""
    ratio = f"<actual-notes>{actual}</actual-notes><normal-notes>{normal}</normal-notes>"
    return notes(names, duration, after=f"<time-modification>{ratio}</time-modification>")


MUSIC = (
    Case(
        28,
        "meter and key change",
        whole(
            part(
                measure(attributes() + notes(FIRST))
                + measure(attributes(meter="3/4", fifths=2) + notes("G4 A4 B4"), 2)
                + measure(notes("C5 R R"), 3)
            )
        ),
        SCALE,
        meters="4/4@0 3/4@4",
        remarks=("key changes: the first key is kept throughout (in bar 2)",),
        more={"beat": [1, 2, 3, 4, 1, 2, 3, 1]},
    ),
    Case(
        29,
        "voices",
        bars(notes(FIRST) + BACK.format(16) + notes("C3 G3", 8, voice=2), notes(SECOND)),
        SCALE,
        remarks=("2 notes of other voices left out (first in bar 1)",),
    ),
    Case(
        29,
        "fuller voice is the second",
        bars(notes("C3 G3", 8) + BACK.format(16) + notes(FIRST, voice=2), notes(SECOND, voice=2)),
        SCALE,
        remarks=("2 notes of other voices left out (first in bar 1)",),
    ),
    Case(
        29,
        "double stop",
        bars(notes("C4 D4 E4 A3") + note("F4", before="<chord/>"), notes(SECOND)),
        SCALE,
        remarks=("1 lower note of double stops or chords left out: the top note is kept",),
    ),
    Case(
        29,
        "unison double stop",
        bars(notes(FIRST) + note("F4", before="<chord/>"), notes(SECOND)),
        SCALE,
        remarks=("1 note doubled at its own pitch counted once (in bar 1)",),
    ),
    Case(
        29,
        "chord mark without a note before",
        bars(note("C4", before="<chord/>") + notes("D4 E4 F4"), notes(SECOND)),
        SCALE,
    ),
    Case(
        29,
        "one voice over itself",
        bars(note("C4", 8) + BACK.format(4) + notes("D4 E4 F4"), notes(SECOND)),
        SCALE,
        remarks=("1 note running into the next one cut short (in bar 1)",),
    ),
    Case(
        30,
        "tie over the bar",
        bars(notes("C4 D4 E4") + note("F4", after=tie("start")), note("F4", after=tie("stop")) + notes("G4 A4 B4")),
        "C4@0 D4@1 E4@2 F4@3 G4@5 A4@6 B4@7",
        more={"duration": [1, 1, 1, 2, 1, 1, 1]},
    ),
    Case(
        30,
        "three tied",
        bars(
            note("C4", after=tie("start"))
            + note("C4", after=tie("stop", "start"))
            + note("C4", after=tie("stop"))
            + note("D4")
        ),
        "C4@0 D4@3",
    ),
    Case(
        30,
        "tie that never ends",
        bars(note("C4", after=tie("start")) + notes("D4 E4 F4"), notes(SECOND)),
        SCALE,
        remarks=("1 tie joining no two notes of one pitch left out (in bar 1)",),
    ),
    Case(
        30,
        "tie across pitches",
        bars(note("C4", after=tie("start")) + note("D4", after=tie("stop")) + notes("E4 F4"), notes(SECOND)),
        SCALE,
        remarks=("1 tie joining no two notes of one pitch left out (in bar 1)",),
    ),
    Case(
        30,
        "tie with one end",
        bars(note("C4", after=tie("start")) + notes("C4 D4 E4")),
        "C4@0 D4@2 E4@3",
        remarks=("1 tie with one end missing joined all the same (in bar 1)",),
    ),
    Case(
        30,
        "tie over a rest",
        bars(note("C4", after=tie("start")) + notes("R C4 D4")),
        "C4@0 C4@2 D4@3",
        remarks=("1 tie joining no two notes of one pitch left out (in bar 1)",),
    ),
    Case(
        31,
        "grace notes",
        bars(notes("C4 D4") + GRACE + GRACE + notes("E4 F4"), notes(SECOND)),
        SCALE,
        remarks=("2 grace notes left out, marked on the note after it",),
    ),
    Case(
        34,
        "repeat never closed",
        bars("<barline><repeat direction='forward'/></barline>" + notes(FIRST), notes(SECOND)),
        SCALE,
        remarks=("repeats and jumps read once, as printed",),
    ),
    Case(
        34,
        "D.S.",
        bars(notes(FIRST), notes(SECOND) + "<direction><sound dalsegno='1'/></direction>"),
        SCALE,
        remarks=("repeats and jumps read once, as printed",),
    ),
    Case(
        35,
        "triplets and nested",
        whole(
            part(
                measure(
                    attributes(divisions=36, meter="2/4")
                    + triplet("C4", 24)
                    + triplet("D4 E4 F4", 8, 9, 4)
                    + triplet("G4", 24)
                )
            )
        ),
        "C4@0 D4@2/3 E4@8/9 F4@10/9 G4@4/3",
        meters="2/4@0",
    ),
    Case(35, "0 to 0", bars(triplet("C4 D4 E4 F4", 4, 0, 0), notes(SECOND)), SCALE),
    Case(
        35,
        "elevens",
        whole(
            part(
                measure(attributes(divisions=11, meter="1/4") + notes("C4 D4 E4 F4 G4 A4 B4 C5 D5 E5 F5", 1))
                + measure(notes("C4", 11), 2)
            )
        ),
        "",
        meters="1/4@0",
        remarks=("10 onsets off the grid of 10080 ticks a quarter rounded to it (first in bar 1)",),
        more={"ticks": [0, 916, 1833, 2749, 3665, 4582, 5498, 6415, 7331, 8247, 9164, 10080]},
    ),
    Case(
        36,
        "tempo and swing",
        bars(
            metronome("<beat-unit>half</beat-unit><beat-unit-dot/>", "c. 40")
            + "<direction><direction-type><words>Medium swing</words></direction-type></direction>"
            + notes(FIRST),
            notes(SECOND),
        ),
        SCALE,
        remarks=("swing asked for: note lengths read as written",),
        more={"tempo": 120.0},
    ),
    Case(
        36,
        "played tempo before printed",
        bars(
            metronome("<beat-unit>quarter</beat-unit>", "90", "<sound tempo='96.5'/>") + notes(FIRST),
            notes(SECOND),
        ),
        SCALE,
        more={"tempo": 96.5},
    ),
    Case(36, "absurd tempo", bars("<sound tempo='0'/>" + notes(FIRST), notes(SECOND)), SCALE, more={"tempo": None}),
    Case(
        37,
        "harmony-only bar and N.C.",
        bars(
            chord("C", "major") + notes(FIRST),
            chord("D", "minor-seventh") + note("R", 8) + chord("G", "dominant") + note("R", 8),
            chord("C", "none") + notes(SECOND),
        ),
        "C4@0 D4@1 E4@2 F4@3 G4@8 A4@9 B4@10 C5@11",
        chords="0:0: 4:2:m7 6:7:7 8:None:N",
    ),
    Case(
        37,
        "bar with nothing but a chord",
        bars(notes(FIRST), chord("F", "major-seventh"), notes(SECOND)),
        "C4@0 D4@1 E4@2 F4@3 G4@8 A4@9 B4@10 C5@11",
        chords="4:5:maj7",
    ),
    Case(
        38,
        "cue, hidden, unpitched",
        bars(
            note("C4").replace("<note>", "<note print-object='no'>")
            + note("C6", before="<cue/>")
            + UNPITCHED
            + note("F4"),
            notes(SECOND),
        ),
        "C4@0 F4@3 G4@4 A4@5 B4@6 C5@7",
        remarks=(
            "1 hidden note kept as sounding (in bar 1)",
            "1 cue note left out (in bar 1)",
            "1 note without a pitch left out (in bar 1)",
        ),
    ),
    Case(
        38,
        "nothing but unpitched",
        bars(UNPITCHED * 4),
        error="no notes with a pitch that are not drums; name a part with --part",
    ),
    Case(39, "rests only", bars(notes("R R R R")), error="no notes in it, only rests; choose another file"),
    Case(
        40,
        "senza misura",
        whole(
            part(
                measure(
                    "<attributes><divisions>4</divisions><time><senza-misura/></time></attributes>"
                    + notes(FIRST + " " + SECOND)
                )
            )
        ),
        SCALE,
        remarks=(
            "without a meter (senza misura): bars are as long as their notes (in bar 1)",
            "no meter given: 4/4 assumed; say it with --meter",
            (
                "no key in the file: C major estimated from the notes (next best F major, 0.18 behind); "
                "override with --key"
            ),
        ),
    ),
)
