"""The scale catalogue against published set numbers."""

from __future__ import annotations

import pytest
from helpers.written import written

from stylemeter.features import Line, scale_fits
from stylemeter.music.scales import MODE_SCALES, MODES, SCALES, mode_name

#: Number (sum of 2 to the pitch class, as on ianring.com), class (A. Forte, The Structure of Atonal Music, 1973; the
#: letters as music21 writes them) and interval vector.
PUBLISHED = {
    "major": (2741, "7-35", "254361"),
    "dorian": (1709, "7-35", "254361"),
    "phrygian": (1451, "7-35", "254361"),
    "lydian": (2773, "7-35", "254361"),
    "mixolydian": (1717, "7-35", "254361"),
    "aeolian": (1453, "7-35", "254361"),
    "locrian": (1387, "7-35", "254361"),
    "harmonic minor": (2477, "7-32A", "335442"),
    "phrygian dominant": (1459, "7-32A", "335442"),
    "melodic minor": (2733, "7-34", "254442"),
    "lydian dominant": (1749, "7-34", "254442"),
    "altered": (1371, "7-34", "254442"),
    "major pentatonic": (661, "5-35", "032140"),
    "minor pentatonic": (1193, "5-35", "032140"),
    "blues hexatonic": (1257, "6-Z47B", "233241"),
    "major blues": (669, "6-Z47B", "233241"),
    "double harmonic": (2483, "7-22", "424542"),
    "whole tone": (1365, "6-35", "060603"),
    "octatonic (half-whole)": (1755, "8-28", "448444"),
}


def test_every_scale_has_a_published_number():
    assert set(SCALES) == set(PUBLISHED)


@pytest.mark.parametrize("name", PUBLISHED)
def test_scale_numbers(name):
    assert sum(2**c for c in SCALES[name]) == PUBLISHED[name][0]
    assert list(SCALES[name]) == sorted(set(SCALES[name]))


@pytest.mark.parametrize("name", PUBLISHED)
def test_forte_classes_as_in_music21(name):
    from music21.chord import Chord

    chord = Chord([60 + c for c in SCALES[name]])
    _, forte, vector = PUBLISHED[name]
    assert chord.forteClass.replace("Z", "") == forte.replace("Z", "")
    assert "".join(map(str, chord.intervalVector)) == vector


#: Scale, the degree (from 0) its rotation starts on, what that is.
ROTATIONS = [
    ("major", 1, "dorian"),
    ("major", 2, "phrygian"),
    ("major", 3, "lydian"),
    ("major", 4, "mixolydian"),
    ("major", 5, "aeolian"),
    ("major", 6, "locrian"),
    ("harmonic minor", 4, "phrygian dominant"),
    ("melodic minor", 3, "lydian dominant"),
    ("melodic minor", 6, "altered"),
    ("major pentatonic", 4, "minor pentatonic"),
    ("major blues", 5, "blues hexatonic"),
]


@pytest.mark.parametrize(("name", "degree", "rotated"), ROTATIONS)
def test_rotations(name, degree, rotated):
    start = SCALES[name][degree]
    assert tuple(sorted((c - start) % 12 for c in SCALES[name])) == SCALES[rotated]


def test_modes():
    assert MODE_SCALES["minor"] == tuple(
        sorted({*SCALES["aeolian"], *SCALES["harmonic minor"], *SCALES["melodic minor"]})
    )
    assert MODES["ionian"] == "major"
    assert MODES["aeolian"] == "minor"
    for name in ("major", "dorian", "phrygian", "lydian", "mixolydian", "locrian"):
        assert MODE_SCALES[name] == SCALES[name]


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Major", "major"),
        ("maj", "major"),
        ("m", "minor"),
        ("MIN", "minor"),
        ("Minor", "minor"),
        ("aeo", "minor"),
        ("Dorian", "dorian"),
        ("phr", "phrygian"),
        ("Lyd", "lydian"),
        ("mixolydian", "mixolydian"),
        ("loc", "locrian"),
        ("HP", None),
        ("", None),
        ("none", None),
    ],
)
def test_mode_names(text, name):
    assert mode_name(text) == name


def ranks(melody):
    return {fit.name: fit.rank for fit in scale_fits(Line(melody))}


def test_a_pentatonic_line_fits_several_modes_alike():
    """A minor pentatonic line lies in aeolian, dorian and phrygian: fewest classes first, the rest tied."""
    found = ranks(written("A4:1 C5:1 D5:1 E5:1 G5:1 " * 3, key="A minor"))
    assert found["minor pentatonic"] == 1
    assert found["blues hexatonic"] == 2
    # six sevens hold it all: no telling them apart
    assert found["aeolian"] == found["dorian"] == found["phrygian"] == 3
    assert found["locrian"] > 3  # it has no perfect fifth


def test_the_flat_second_tells_phrygian_dominant():
    fits = scale_fits(Line(written("E4:1 F4:1 G#4:1 A4:1 B4:1 C5:1 D5:1 " * 2, key="E phrygian")))
    assert (fits[0].name, fits[0].notes, fits[0].time, fits[0].rank) == ("phrygian dominant", 1.0, 1.0, 1)
    assert all(fit.rank > 1 for fit in fits[1:])


def test_scales_by_time():
    # nine C and three F# of a quarter, one F# of nine: by notes 9/13 lie in the pentatonic, by time 9/21
    melody = written("C4:1 " * 9 + "F#4:1 " * 3 + "F#4:9")
    fit = next(f for f in scale_fits(Line(melody)) if f.name == "major pentatonic")
    assert (fit.notes, fit.time) == (9 / 13, 9 / 21)
