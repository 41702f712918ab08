"""Chord symbols, chord labels and lines of chords: against music21, the published label syntax and by hand."""

import random
import warnings

import pytest

from stylemeter.errors import InputError
from stylemeter.music.chords.kinds import name_chord
from stylemeter.music.chords.symbols import KINDS, lay_chords, parse_label, parse_symbol
from stylemeter.music.meter import TICKS, Meter, lay_bars, regular_spans

FOUR = (Meter(0, 4, 4),)


def classes(symbol):
    return sorted(parse_symbol(symbol, 0).pitch_classes)


# music21.harmony.ChordSymbol, a general-purpose library, spells these chords the same. music21 writes flat roots
# "B-" and reads "maj9" only as "M9": the pairs say both spellings.
AGREED = [
    *[(s, s) for s in ("C", "Cm", "Dm7", "G7", "Cmaj7", "CM7", "F6", "Am6", "C9", "Dm9", "G11", "Dm11", "Dm13")],
    *[(s, s) for s in ("Cdim", "Bdim7", "Bm7b5", "Bø7", "Caug", "C+", "G7#5", "G+7", "Csus4", "Csus2", "G7sus4")],
    *[(s, s) for s in ("G7b9", "G7#9", "G7#11", "G7b5", "Cadd9", "C5", "CmM7", "Co7", "F7b9b13", "Cm7b9", "Csus")],
    *[(s, s) for s in ("C/E", "Dm7/G", "F#m7b5", "F#7", "C#dim7", "Cmaj7#11", "Am7add11", "D/F#")],
    ("Bbmaj7", "B-maj7"),
    ("Ebm7", "E-m7"),
    ("Dbmaj9", "D-M9"),
    ("Abm6", "A-m6"),
]


@pytest.mark.parametrize(("ours", "theirs"), AGREED)
def test_symbol_agrees_with_music21(ours, theirs):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from music21 import harmony

        expected = sorted(set(harmony.ChordSymbol(theirs).pitchClasses))
    assert classes(ours) == expected


def test_where_music21_reads_symbols_otherwise():
    """Known differences, each our choice: common practice, no source.

    music21 10.5.1: C13 holds the eleventh; C69 is C D A and C2 is C D; "Eb7" is an E major triad with its seventh
    flat as an addition; "6/9", "alt", "9sus4", "maj13" are refused.
    """
    assert classes("C13") == [0, 2, 4, 7, 9, 10]
    assert classes("C69") == classes("C6/9") == [0, 2, 4, 7, 9]
    assert classes("C2") == [0, 2, 4, 7]
    assert classes("Eb7") == [1, 3, 7, 10]
    assert classes("C7alt") == classes("Calt") == [0, 1, 3, 4, 6, 8, 10]
    assert classes("C9sus4") == [0, 2, 5, 7, 10]
    assert classes("Cmaj13") == [0, 2, 4, 7, 9, 11]


SPELLINGS = {
    "maj7": "maj7 M7 Maj7 MA7 ma7 Δ Δ7 ∆7 ^7 j7 7M major7",
    "m7": "m7 -7 mi7 min7 MI7 Min7 −7 minor7",
    "m7b5": "m7b5 ø ø7 hdim7 -7b5 m7-5 m7(b5) half-dim7 min7♭5",
    "dim7": "dim7 °7 o7 º7",
    "dim": "dim ° o",
    "mmaj7": "mmaj7 mM7 m(maj7) -Δ mΔ7 min(maj7) minMaj7 m(M7)",
    "7#5": "7#5 +7 aug7 7+ 7+5 7(#5)",
    "7b9": "7b9 7-9 7(b9) 7♭9",
    "7#9": "7#9 7+9 7(#9)",
    "7sus4": "7sus4 7sus 7(sus4)",
    "sus4": "sus4 sus 4",
    "add9": "add9 (add9) add2 2 /9",
    "madd9": "madd9 m(add9) -add9",
    "6/9": "6/9 69 6(9) 6add9",
    "m6/9": "m6/9 m69",
    "maj7#11": "maj7#11 Δ#11 maj7(#11) maj7+11",
    "maj7#5": "maj7#5 +M7 +maj7 Δ#5",
    "7b5": "7b5 7-5 7(b5)",
    "9sus4": "9sus4 sus9 9sus",
    "5": "5 no3 (no3) omit3",
    "": "maj M major",
    "m": "m - min mi MI",
    "aug": "aug + +5 (#5)",
    "(b5)": "-5 (b5)",
    "13": "13 dom13",
}


@pytest.mark.parametrize(("kind", "spelling"), [(k, s) for k, words in SPELLINGS.items() for s in words.split()])
def test_spellings_of_one_kind(kind, spelling):
    chord = parse_symbol("G" + spelling, 5)
    assert (chord.onset, chord.root, chord.kind) == (5, 7, kind)
    assert chord.pitch_classes == tuple((7 + i) % 12 for i in KINDS[kind])


def test_root_and_bass():
    assert parse_symbol("F#m7b5/E", 0).pitch_classes == (6, 9, 0, 4)
    assert parse_symbol("C/D", 0).pitch_classes == (0, 4, 7, 2)
    assert parse_symbol("C/D", 0).kind == ""
    assert parse_symbol("B♭7", 0).root == 10
    assert parse_symbol("Ebb", 0).root == 2
    assert parse_symbol("Cb5", 0).root == 11
    for text in ("N.C.", "NC", "N", "n.c.", "N. C."):
        assert parse_symbol(text, 7) == parse_label("N", 7)
    assert parse_symbol("N.C.", 0).root is None


def test_changes_add_up():
    assert parse_symbol("C7(b9,#11)", 0).pitch_classes == (0, 4, 7, 10, 1, 6)
    assert parse_symbol("C13b9#11", 0).kind == "13b9(#11)"
    assert parse_symbol("C7b5#9", 0).kind == "7b5(#9)"
    assert parse_symbol("C7b9#9", 0).pitch_classes == (0, 4, 7, 10, 1, 3)
    assert parse_symbol("C9no5", 0).kind == "9(no5)"


@pytest.mark.parametrize(
    ("text", "place"),
    [("Hm7", 1), ("dm7", 1), ("C7x", 3), ("Cfoo", 2), ("C/", 2), ("C/H", 2), ("C?", 2), ("Cmaj77", 6), ("", 1)],
)
def test_what_is_not_a_symbol(text, place):
    with pytest.raises(InputError, match=f"character {place} of .* is not a chord symbol; write it like") as caught:
        parse_symbol(text, 0)
    assert "\n" not in str(caught.value)


def test_long_text_is_refused():
    with pytest.raises(InputError, match="not a chord symbol"):
        parse_symbol("C" + "9" * 10**6, 0)
    with pytest.raises(InputError, match="not a chord label"):
        parse_label("C:" + "m" * 10**6, 0)


def test_every_kind_reads_back():
    assert len({frozenset(i) for i in KINDS.values()}) == len(KINDS)
    for kind, intervals in KINDS.items():
        assert set(parse_symbol("D" + kind, 0).pitch_classes) == {(2 + i) % 12 for i in intervals}, kind
        assert parse_symbol("D" + kind, 0).kind == kind


def test_every_name_reads_back():
    dice = random.Random(7)
    for _ in range(500):
        base = dice.choice(sorted(KINDS))
        kept = sorted({0, *dice.sample(range(12), dice.randint(1, 6))})
        kind, intervals = name_chord(base, kept)
        assert set(intervals) == set(kept)
        assert set(parse_symbol("C" + kind, 0).pitch_classes) == set(kept), (kind, kept)


# The shorthands of Harte et al. 2005 (table of shorthand definitions; from memory) with the degrees they stand for.
SHORTHANDS = {
    "maj": "3,5",
    "min": "b3,5",
    "dim": "b3,b5",
    "aug": "3,#5",
    "maj7": "3,5,7",
    "min7": "b3,5,b7",
    "7": "3,5,b7",
    "dim7": "b3,b5,bb7",
    "hdim7": "b3,b5,b7",
    "minmaj7": "b3,5,7",
    "maj6": "3,5,6",
    "min6": "b3,5,6",
    "9": "3,5,b7,9",
    "maj9": "3,5,7,9",
    "min9": "b3,5,b7,9",
    "sus4": "4,5",
}


@pytest.mark.parametrize(("quality", "degrees"), SHORTHANDS.items())
def test_label_shorthand_is_its_degrees(quality, degrees):
    assert set(parse_label(f"F#:{quality}", 0).pitch_classes) == set(parse_label(f"F#:({degrees})", 0).pitch_classes)


@pytest.mark.parametrize(
    ("label", "root", "kind", "pitch_classes"),
    [
        ("D#:min7(b9)/5", 3, "m7(b9)", (3, 6, 10, 1, 4)),
        ("C:sus4(b7)", 0, "7sus4", (0, 5, 7, 10)),
        ("D:9(*5)/1", 2, "9(no5)", (2, 6, 0, 4)),
        ("D#:sus2(7)/1", 3, "sus2(maj7)", (3, 5, 10, 2)),
        ("G#:maj6(2,b5,*5)/1", 8, "6/9(no5,#11)", (8, 0, 5, 10, 2)),
        ("C:maj/b7", 0, "", (0, 4, 7, 10)),
        ("C/3", 0, "", (0, 4, 7)),
        ("Abbb:7", 6, "7", (6, 10, 1, 4)),
        ("C:(1,5)", 0, "5", (0, 7)),
        ("C:maj/F", 0, "", (0, 4, 7, 5)),
        ("X", None, "N", ()),
    ],
)
def test_labels(label, root, kind, pitch_classes):
    chord = parse_label(label, 11)
    assert (chord.onset, chord.root, chord.kind) == (11, root, kind)
    assert sorted(chord.pitch_classes) == sorted(pitch_classes)
    assert chord.pitch_classes[:1] == pitch_classes[:1]


@pytest.mark.parametrize(
    ("label", "place"), [("H:maj", 1), ("C:foo", 3), ("C:maj(z)", 7), ("C:maj/", 6), ("C:maj/14", 7), ("", 1)]
)
def test_what_is_not_a_label(label, place):
    with pytest.raises(InputError, match=f"character {place} of .* is not a chord label"):
        parse_label(label, 0)


def four_four(bars):
    return lay_bars(regular_spans(FOUR, 0, bars * 4 * TICKS), FOUR)


def laid(text, bars, meters=FOUR, first=0, end=10**9):
    return [(c.onset / TICKS, c.root, c.kind) for c in lay_chords(text, meters, bars, first, end)]


def test_line_is_laid_bar_by_bar_and_repeated():
    expected = [(0, 2, "m7"), (4, 7, "7"), (8, 0, "maj7"), (16, 2, "m7"), (20, 7, "7")]
    assert laid("Dm7 | G7 | Cmaj7 % |", four_four(6)) == expected
    assert laid("| Dm7 | G7 | Cmaj7 | % |", four_four(6)) == expected
    assert laid("|: Dm7 || G7 | Cmaj7 | %:|", four_four(6)) == expected


def test_chords_of_a_bar_share_its_beats():
    assert laid("Dm7 G7", four_four(1)) == [(0, 2, "m7"), (2, 7, "7")]
    assert laid("Dm7 - - G7", four_four(1)) == [(0, 2, "m7"), (3, 7, "7")]
    assert laid("Dm7 / / G7 | . C", four_four(2)) == [(0, 2, "m7"), (3, 7, "7"), (6, 0, "")]
    assert laid("Dm7 G7 C", four_four(1)) == [(0, 2, "m7"), (2, 7, "7"), (3, 0, "")]
    assert [c[0] for c in laid("C D E F G A B Db", four_four(1))] == [i / 2 for i in range(8)]


def test_line_starts_at_the_first_full_bar():
    pickup = lay_bars([(0, TICKS), (TICKS, 4 * TICKS), (5 * TICKS, 4 * TICKS)], FOUR)
    assert laid("C | F", pickup) == [(1, 0, ""), (5, 5, "")]
    assert laid("C | F", four_four(4), first=9 * TICKS) == [(8, 0, ""), (12, 5, "")]
    assert laid("C | F", four_four(4), end=4 * TICKS) == [(0, 0, "")]


def test_line_over_a_change_of_meter():
    meters = (Meter(0, 4, 4), Meter(4 * TICKS, 3, 4), Meter(7 * TICKS, 6, 8))
    bars = lay_bars(regular_spans(meters, 0, 10 * TICKS), meters)
    expected = [(0, 0, ""), (2, 7, ""), (4, 0, ""), (6, 7, ""), (7, 0, ""), (8.5, 7, "")]
    assert laid("C G", bars, meters) == expected


def test_parts_of_an_overfull_bar_are_one():
    bars = lay_bars([(0, 6 * TICKS), (6 * TICKS, 4 * TICKS)], FOUR)
    assert laid("C | F", bars) == [(0, 0, ""), (6, 5, "")]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("Dm7 | | G7", "chords, bar 2: an empty bar"),
        ("", "chords, bar 1: an empty bar"),
        ("% | C", 'chords, bar 1: "%" has no bar before it'),
        ("- C", "chords, bar 1: '-' has no chord before it"),
        ("C | F Hm7", "chords, bar 2: character 1 of 'Hm7'"),
        ("C | F % Hm7", "chords, bar 4: character 1 of 'Hm7'"),
        ("C " * 65, "chords, bar 1: 65 chords"),
        ("C | " * 10000, "the chords are too long"),
    ],
)
def test_what_is_not_a_line(text, message):
    with pytest.raises(InputError) as caught:
        lay_chords(text, FOUR, four_four(2), 0, 10**9)
    assert str(caught.value).startswith(message)
