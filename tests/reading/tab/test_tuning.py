"""Open strings of a tablature: labels, tuning lines, the usual tunings, capos."""

import pytest

from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.tab.read import read
from stylemeter.reading.tab.tuning import USUAL, capo_of, strings_of

#: Open strings of a guitar, the top line first.
OPEN = (64, 59, 55, 50, 45, 40)


def down(semitones):
    """A guitar's open strings, all let down."""
    return tuple(pitch - semitones for pitch in OPEN)


def test_usual_tunings_are_those_music21_knows():
    """Outside check: the fret boards of a general-purpose library."""
    tablature = pytest.importorskip("music21.tablature")
    boards = {
        (6, "guitar"): tablature.GuitarFretBoard,
        (4, "bass"): tablature.BassGuitarFretBoard,
        (4, "ukulele"): tablature.UkeleleFretBoard,
        (4, "mandolin"): tablature.MandolinFretBoard,
    }
    for (count, name), board in boards.items():
        assert dict(USUAL[count])[name] == tuple(pitch.ps for pitch in board().tuning)


@pytest.mark.parametrize(
    ("labels", "text", "open_strings"),
    [
        ("eBGDAE", "", OPEN),
        (" " * 6, "", OPEN),
        ("123456", "", OPEN),
        ("EADGBe", "", OPEN[::-1]),
        ("eBGDAD", "", (*OPEN[:5], 38)),
        ("dBGDGD", "", (62, 59, 55, 50, 43, 38)),
        ("eBGDAEB", "", (*OPEN, 35)),
        ("eBGDAEBF", "", (*OPEN, 35, 29)),
        ("GDAE", "", (43, 38, 33, 28)),
        ("AECG", "", (69, 64, 60, 67)),
        ("EADG", "", (76, 69, 62, 55)),
        ("GDAEB", "", (43, 38, 33, 28, 23)),
        ("eBGDAE", "Tuning: D A D G B E", (*OPEN[:5], 38)),
        ("eBGDAE", "tuning = DADGBE (drop D)", (*OPEN[:5], 38)),
        ("eBGDAE", "Tuning: Drop D", (*OPEN[:5], 38)),
        ("eBGDAE", "Tuning - Eb Ab Db Gb Bb Eb", tuple(p - 1 for p in OPEN)),
        ("eBGDAE", "Tuning: half step down", tuple(p - 1 for p in OPEN)),
        ("eBGDAE", "Tuning: E2 A2 D3 G3 B3 E4", OPEN),
        ("eBGDAE", "Tuning: standard", OPEN),
        ("eHGDAE", "", OPEN),
        ("eBGDA", "", OPEN[:5]),
        ("BGDAE", "", OPEN[1:]),
        ("eBGD", "", OPEN[:4]),
        ("CGDAE", "", (48, 43, 38, 33, 28)),
        ("eBGDAE", "Tuning: Standard (1/2 step down)", down(1)),
        ("eBGDAE", "Tuning: tuned down a half-step", down(1)),
        ("eBGDAE", "Tune down half a step", down(1)),
        ("eBGDAE", "(half step down)", down(1)),
        ("eBGDAE", "All guitars tuned down one whole step.", down(2)),
        ("eBGDAE", "Tuning: down a whole tone", down(2)),
        ("eBGDAE", "Tuning: standard, down 3 semitones", down(3)),
        ("eBGDAE", "Tuning: down one and a half steps", down(3)),
        ("eBGDAE", "The record sounds a half step down from this", OPEN),
        ("eBGDAE", "Tuning: Eb standard", down(1)),
        ("eBGDAE", "Tuning: E flat standard", down(1)),
        ("eBGDAE", "Tuning: D standard", down(2)),
        ("eBGDAE", "C# standard tuning", down(3)),
        ("eBGDAE", "Drop D tuning", (*OPEN[:5], 38)),
        ("eBGDAE", "Tuning - Dropped D", (*OPEN[:5], 38)),
        ("eBGDAE", "Tuning: Drop C", (*down(2)[:5], 36)),
        ("eBGDAE", "Tuning: Drop Db", (*down(1)[:5], 37)),
        ("eBGDAE", "Tuning: Drop D, half step down", (*down(1)[:5], 37)),
        ("eBGDAD", "Tuning: half step down", (*down(1)[:5], 37)),
        (("Eb", "Bb", "Gb", "Db", "Ab", "Eb"), "Tuning: half step down", down(1)),
        ("GDAE", "Tuning: Drop D", (43, 38, 33, 26)),
        ("eBGDAE", "Tuned to DADGAD", (62, 57, 55, 50, 45, 38)),
        ("eBGDAE", "Tuning: E A D G H E", OPEN),
        ("eBGDAE", "Tuning: E A D G B E (half step down)", down(1)),
        ("eBGDAE", "Tuning: Eb Ab Db Gb Bb Eb (half step down)", down(1)),
        ("eBGDAE", "Tuning: eb ab db gb bb eb", down(1)),
        ("eBGDAE", "Tuning: D A D G B E as on the second take of the lamp song", (*OPEN[:5], 38)),
        ("eBGDAE", "Tuning: Open C (C G C G C E)", (64, 60, 55, 48, 43, 36)),
        ("eBGDAE", "(Drop D tuning)", (*OPEN[:5], 38)),
        ("eBGDAE", "Tuning (high to low): E B G D A D", (*OPEN[:5], 38)),
        ("eBGDAE", "Tuning: E4 B3 G3 D3 A2 D2", (*OPEN[:5], 38)),
        ("EADGBe", "Tuning: E A D G B E", OPEN[::-1]),
        ("EADGBe", "Tuning: D A D G B E", (38, *OPEN[4::-1])),
        ("EADGBe", "Tuning: Drop D", (38, *OPEN[4::-1])),
        ("EADGBe", "Tuning: half step down", down(1)[::-1]),
        ("GDAE", "Tuning: G D A E", (43, 38, 33, 28)),
        ("DBGDGD", "Tuning: open G", (62, 59, 55, 50, 43, 38)),
    ],
)
def test_tunings(labels, text, open_strings):
    found = strings_of([label.strip() if not label.isdigit() else "" for label in labels], [text] if text else [])
    assert found.open == open_strings


def test_long_lines_of_dashes_come_back():
    """A pattern that tries every place against every other would not come back from these."""
    for text in ("-" * 2000, "1 " + "- " * 1000, "(" * 2000, "tuning" + " -" * 1000, "down " * 400):
        assert strings_of(list("eBGDAE"), [text]).open == OPEN


def test_a_tuning_that_is_not_understood_is_told():
    for name in ("as you like it", "Open D minor", "Open C"):
        found = strings_of(list("eBGDAE"), [f"Tuning: {name}"])
        assert found.open == OPEN
        assert found.remarks[0] == f"tuning {name!r} not understood"
    assert not strings_of(list("eBGDAE"), ["Tuning:"]).remarks


@pytest.mark.parametrize(
    ("text", "fret"),
    [
        ("Capo 3", 3),
        ("capo: 5th fret", 5),
        ("Capo on 2", 2),
        ("CAPO IV", 4),
        ("2nd fret capo", 2),
        ("Capo on the second fret", 2),
        ("no capo", 0),
        ("Capo: none", 0),
        ("capo", 0),
    ],
)
def test_capos(text, fret):
    assert capo_of([text]) == fret
    rows = "\n".join(f"{label}|{'-0-3-5-7-' if label == 'e' else '---------'}|" for label in "eBGDAE")
    [melody] = read(f"{text}\n{rows}\n".encode(), ReadOptions())
    assert melody.pitch.tolist() == [64 + fret + step for step in (0, 3, 5, 7)]
