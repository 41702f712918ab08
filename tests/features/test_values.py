"""Every feature on notes written out here, its value worked by hand (the arithmetic stands beside it).

`WORKED` must name every feature of the catalogue: `test_every_feature_has_a_worked_value` fails for a new one without.
Published values are in test_published.py and test_corpus_figures.py.
"""

from __future__ import annotations

from math import log2, sqrt

import pytest
from helpers.written import in_pitches, written

from stylemeter.features import CATALOG, measure

# Two bars of eighths in C major: q is 60 62 64 65 67 69 67 64 | 60 67 67 66 67 72 71 72,
# k is 2 2 1 2 2 -2 -3 -4 7 0 -1 1 5 -1 1.
EIGHTHS = written(
    "C4:1/2 D4:1/2 E4:1/2 F4:1/2 G4:1/2 A4:1/2 G4:1/2 E4:1/2  C4:1/2 G4:1/2 G4:1/2 F#4:1/2 G4:1/2 C5:1/2 B4:1/2 C5:1/2"
)

# Four bars of 4/4. Onsets 0 3/2 2 3 | 4 13/3 14/3 5 6 | 8 19/2 10 11 | 12 14; the span is 16 quarters, the rest one.
# IOIs 3/2 1/2 1 1 | 1/3 1/3 1/3 1 2 | 3/2 1/2 1 1 | 2.
RHYTHM = written(
    "C4:3/2 D4:1/2 E4:1 G4:1  E4:1/3 F4:1/3 G4:1/3 A4:1 G4:2  C5:3/2 B4:1/2 A4:1 G4:1  E4:1 r:1 C4:2",
)

# Four phrases, a quarter rest after each of the first three.
PHRASES = written("C4:1 E4:1 C4:1 r:1  D4:1 F4:1 E4:1 r:1  G4:1 E4:1 C4:1 r:1  E4:1 G4:1 A4:1 C4:1")

# k is 7 -2 7 -5 -3 5 2 -6 2 -7 2 2.
LEAPS = written("C4:1 G4:1 F4:1 C5:1 G4:1 E4:1 A4:1 B4:1 F4:1 G4:1 C4:1 D4:1 E4:1")

# Eighths over a chord each half bar; the last half bar has no chord.
CHANGES = written(
    "C4:1/2 E4:1/2 D4:1/2 A4:1/2  D4:1/2 F4:1/2 C5:1/2 E4:1/2  B4:1/2 Ab4:1/2 D4:1/2 C5:1/2 " + "C4:1/2 " * 4,
    chords="0:C 2:Dm7 4:Bdim7 6:N.C.",
)

# Four bars of the eighths 1 2 2 2 1: onsets at 0 1/2 3/2 5/2 7/2 of the bar.
OFF_BEAT = written("C4:1/2 D4:1 E4:1 F4:1 G4:1/2 " * 4)

# Twelve notes: one bend, one pre-bend released, a slide, a hammer-on, a pull-off, two vibratos (one on the bend).
MARKED = written(
    "C4:1!bend,vibrato D4:1!pre-bend,release E4:1!slide F4:1!hammer-on G4:1!pull-off A4:1!vibrato "
    "C4:1 D4:1 E4:1!staccato F4:1 G4:1 A4:1"
)

# Eighths: the figure (4, -2, 5) at notes 0 and 4, its outline (3, -1, 7) at note 12.
# k is 4 -2 5 -5 4 -2 5 0 0 -1 -9 1 3 -1 7.
FIGURES = in_pitches([60, 64, 62, 67, 62, 66, 64, 69, 69, 69, 68, 59, 60, 63, 62, 69])

# 16 notes on C, then 8 on C and 8 on G.
DRIFT = in_pitches([60] * 24 + [67] * 8)

# A C D E G A C D E G A and back.
BOX = in_pitches([57, 60, 62, 64, 67, 69, 72, 74, 76, 79, 81, 79, 76, 74, 72, 69, 67, 64, 62, 60, 57])

# A harmonic minor, two octaves up.
HARMONIC = in_pitches([57, 59, 60, 62, 64, 65, 68, 69, 71, 72, 74, 76, 77, 80, 81])

WORKED = [
    # steps 2 2 1 2 2 -2 -1 1 -1 1 of the 15 intervals; skips -3 -4; leaps 7 5; one 0; semitones 1 -1 1 -1 1
    ("step_share", EIGHTHS, 10 / 15),
    ("skip_share", EIGHTHS, 2 / 15),
    ("leap_share", EIGHTHS, 2 / 15),
    ("repeated_note_share", EIGHTHS, 1 / 15),
    ("semitone_share", EIGHTHS, 5 / 15),
    # 2+2+1+2+2+2+3+4+7+0+1+1+5+1+1 = 34
    ("mean_interval", EIGHTHS, 34 / 15),
    # counts 4 (k = 2), 3 (k = 1), 2 (k = -1) and six of 1
    ("interval_entropy", EIGHTHS, log2(15) - (4 * 2 + 3 * log2(3) + 2 * 1) / 15),
    # C D E F G A: six notes of 16
    ("scale_run_share", EIGHTHS, 6 / 16),
    ("longest_scale_run", EIGHTHS, 6),
    # 14 moves; the third G E is no step, for the scale here holds F
    ("degree_step_share", EIGHTHS, 10 / 14),
    # 34 semitones in 14 moves
    ("mean_move", EIGHTHS, 34 / 14),
    ("degree_run_share", EIGHTHS, 6 / 16),
    ("longest_degree_run", EIGHTHS, 6),
    ("degree_step_inertia", EIGHTHS, 4 / 7),
    # A minor pentatonic, up two octaves and down to the first A: each of the 20 moves goes to its next note
    ("degree_step_share", BOX, 1),
    # one turn in 19 pairs, two runs of 11 that share the turning note
    ("degree_step_inertia", BOX, 18 / 19),
    ("longest_degree_run", BOX, 11),
    ("degree_run_share", BOX, 1),
    # A harmonic minor: F and G sharp are neighbours
    ("longest_degree_run", HARMONIC, 15),
    # pairs of steps: (2,2) (2,1) (1,2) (2,2) keep, (2,-2) (-1,1) (-1,1) turn
    ("step_inertia", EIGHTHS, 4 / 7),
    # signs without the 0: +++++---+-++-+, of 13 neighbours 6 change
    ("direction_change_rate", EIGHTHS, 6 / 13),
    # leaps 7 7 -5 5 -6 -7, all followed by a move; -2 -5 2 2 turn back, -3 and 2 go on
    ("leap_reversal_share", LEAPS, 4 / 6),
    # C4 to C5
    ("pitch_range", EIGHTHS, 12),
    # 4 C, 1 D, 2 E, 1 F, 1 F#, 5 G, 1 A, 1 B
    ("root_share", EIGHTHS, 4 / 16),
    ("third_share", EIGHTHS, 2 / 16),
    ("fifth_share", EIGHTHS, 5 / 16),
    ("ninth_share", EIGHTHS, 1 / 16),
    ("seventh_share", EIGHTHS, 1 / 16),
    ("degree_entropy", EIGHTHS, log2(16) - (4 * 2 + 2 * 1 + 5 * log2(5)) / 16),
    ("chromatic_share", EIGHTHS, 1 / 16),
    # C D E G A hold 13, C Eb F G Bb hold 10
    ("pentatonic_share", EIGHTHS, 13 / 16),
    # all but F sharp lie in C major; G major leaves F out
    ("one_scale_share", EIGHTHS, 15 / 16),
    ("pitch_class_count", EIGHTHS, 8),
    # on the beats: C E G G C G G B
    ("strong_beat_root_share", EIGHTHS, 2 / 8),
    # 3/2 + 3/2 + 2 quarters of C in 15 of sound
    ("root_time_share", RHYTHM, 5 / 15),
    # (1, 0) against (1/2, 1/2): H(3/4, 1/4) - (0 + 1) / 2
    ("degree_drift", DRIFT, -(0.75 * log2(0.75) + 0.25 * log2(0.25)) - 0.5),
    # last notes C E C C
    ("phrase_end_root_share", PHRASES, 3 / 4),
    # of 12 notes with a chord: C E over C, D F C over Dm7, B Ab D over Bdim7 are chord tones
    ("chord_tone_share", CHANGES, 8 / 12),
    ("chord_root_share", CHANGES, 3 / 12),
    # D (9th) and A (13th) over C, E (9th) over Dm7, C (flat 9th) over Bdim7
    ("extension_share", CHANGES, 4 / 12),
    # E over C, F and C over Dm7, D and Ab over Bdim7
    ("chord_third_or_seventh_share", CHANGES, 5 / 12),
    # on the beats with a chord C D | D C | B D: only the D over C is none
    ("strong_beat_chord_tone_share", CHANGES, 5 / 6),
    # C over C, D over Dm7, B over Bdim7
    ("strong_beat_chord_root_share", CHANGES, 3 / 6),
    # A flat belongs to Bdim7: no note of these is outside
    ("chromatic_share", CHANGES, 0),
    # a bar: note at 1/2 (-3) holds through 1 (-2): 1; at 3/2 (-3) through 2 (-1): 2; at 5/2 (-3) through 3 (-2): 1
    ("syncopation_index", OFF_BEAT, 4.0),
    # four of each bar's five notes
    ("offbeat_onset_share", OFF_BEAT, 4 / 5),
    # counts 6 (1), 3 (1/3), 2 (3/2), 2 (1/2), 2 (2) of 15
    ("note_value_entropy", RHYTHM, log2(15) - (6 * log2(6) + 3 * log2(3) + 3 * 2) / 15),
    # counts 5 (1), 3 (1/3), 2 (3/2), 2 (1/2), 2 (2) of 14
    ("ioi_entropy", RHYTHM, log2(14) - (5 * log2(5) + 3 * log2(3) + 3 * 2) / 14),
    ("commonest_value_share", RHYTHM, 6 / 15),
    ("commonest_ioi_share", RHYTHM, 5 / 14),
    ("dotted_share", RHYTHM, 2 / 15),
    ("tuplet_share", RHYTHM, 3 / 15),
    # |a-b| / mean over the 13 pairs: 1 2/3 0 1 0 0 1 2/3 2/7 1 2/3 0 2/3 = 146/21
    ("npvi", RHYTHM, 100 * 146 / 21 / 13),
    # bar 3 repeats bar 1
    ("rhythm_recurrence", RHYTHM, 1 / 4),
    # places 0 (4), 2 (4), 3/2 (2), 3 (2), 1/3, 2/3, 1
    ("bar_onset_entropy", RHYTHM, log2(15) - (4 * 2 + 4 * 2 + 2 * 1 + 2 * 1) / 15),
    ("rest_fraction", RHYTHM, 1 / 16),
    ("breaths_per_bar", RHYTHM, 1 / 4),
    # from 0 to the rest at 13
    ("longest_stream", RHYTHM, 13),
    ("notes_per_beat", RHYTHM, 15 / 16),
    # counts 4 5 4 2: mean 15/4, variance 61/4 - 225/16 = 19/16
    ("density_variation", RHYTHM, sqrt(19) / 15),
    # the last beat of bar 2; beats 2 and 4 of bar 4
    ("empty_beat_share", RHYTHM, 3 / 16),
    # (3/2 - 1) + (2 - 1) + (3/2 - 1) + (2 - 1)
    ("waiting_share", RHYTHM, 3 / 16),
    # 3 3 3 4 notes: median 3; variance 43/4 - 169/16 = 3/16
    ("phrase_length", PHRASES, 3),
    ("phrase_length_variation", PHRASES, sqrt(3) / 13),
    # C5 at 8 of 16
    ("climax_position", RHYTHM, 8 / 16),
    # two thirds of 16 is 10 2/3: the notes at 11 12 14
    ("density_build", RHYTHM, 3 / 15),
    # (71 + 69 + 67 + 64 + 60) - (60 + 62 + 64 + 67 + 64) = 14, over 5
    ("register_build", RHYTHM, 14 / 5),
    # E over C C; F over D E; E not over G C; 68 over E C
    ("convex_phrase_share", PHRASES, 3 / 4),
    # notes 0-3 and 4-7
    ("motif_coverage", FIGURES, 8 / 16),
    # notes 12-15
    ("varied_repeat_share", FIGURES, 4 / 16),
    # (3/2, 1/2, 1) from notes 0 and 9, (1/2, 1, 1) from 1 and 10: notes 0-4 and 9-13 (the rest ends the phrase)
    ("rhythm_figure_coverage", RHYTHM, 10 / 15),
    # a.b.c.d.abce.ef.g.h.i.fj where a..j are the distinct k, all in one IOI
    ("lz_complexity", FIGURES, 10 / 15),
    # all marked notes: the first six, and the staccato
    ("ornamented_share", MARKED, 7 / 12),
    ("bend_share", MARKED, 2 / 12),
    ("legato_share", MARKED, 3 / 12),
    ("vibrato_share", MARKED, 2 / 12),
]


@pytest.mark.parametrize(("name", "melody", "value"), WORKED, ids=[row[0] for row in WORKED])
def test_worked_value(name, melody, value):
    assert measure(melody).values[name] == pytest.approx(value, abs=1e-12)


def test_every_feature_has_a_worked_value():
    assert {name for name, _, _ in WORKED} == set(CATALOG)


# the rules the table above does not reach ----------------------------------------------------------------------------


def value(name, melody):
    return measure(melody).values[name]


def reason(name, melody):
    return measure(melody).reasons.get(name)


def test_a_turning_note_belongs_to_both_its_runs():
    # C D E F G up and F E D C down: the G is in both, so nine notes of 13, and the longest run is 5
    melody = in_pitches([60, 62, 64, 65, 67, 65, 64, 62, 60, 60, 67, 60, 67])
    assert value("scale_run_share", melody) == 9 / 13
    assert value("longest_scale_run", melody) == 5


def test_a_run_ends_at_a_breath_but_intervals_go_on_across_it():
    # six steps up with an eighth rest (half a beat) after the third note: runs of 3 and 4
    melody = written("C4:1/2 D4:1/2 E4:1/2 r:1/2 F4:1/2 G4:1/2 A4:1/2 B4:1/2 " + "C4:1/2 " * 6)
    assert value("scale_run_share", melody) == 0
    assert value("longest_scale_run", melody) == 4
    assert value("step_inertia", melody) == 1.0
    assert value("step_share", melody) == 6 / 12


def test_pitches_round_half_up():
    # 60.5 is 61: one step, then repeats; 60.49 would be 60
    assert value("repeated_note_share", in_pitches([60.5] + [61] * 12)) == 1.0
    assert value("repeated_note_share", in_pitches([60.49] + [61] * 12)) == 11 / 12


def test_minor_modes_use_the_minor_pentatonic_only():
    notes = "C4:1 D4:1 E4:1 G4:1 A4:1 C4:1 D4:1 E4:1 G4:1 A4:1 C4:1 G4:1"
    # C and G only, 6 of 12, though the major set would hold all
    assert value("pentatonic_share", written(notes, key="C minor")) == 6 / 12
    assert value("pentatonic_share", written(notes, key="C mixolydian")) == 1.0


def test_dotted_values_that_fill_bar_or_beats_do_not_count():
    # 3/4: the dotted half is the bar; a dotted quarter counts
    assert value("dotted_share", written("C4:3 " * 11 + "C4:3/2 D4:3/2", meter="3/4")) == 2 / 13
    # 6/8: dotted quarter and dotted half are one and two beats; a dotted eighth counts
    assert value("dotted_share", written("C4:3/2 " * 10 + "C4:3 C4:3/4 D4:9/4", meter="6/8")) == 1 / 13


def test_swing_written_either_way_syncopates_alike():
    # the off-beat of each second beat holds through the bar's middle: as an eighth, and as a triplet's last third
    straight = written("C4:1 D4:1/2 E4:1 F4:1/2 G4:1 " * 4)
    swung = written("C4:1 D4:2/3 E4:1 F4:1/3 G4:1 " * 4)
    # weight -3 against the -1 of beat 3: 2 a bar
    assert value("syncopation_index", straight) == 2.0
    assert value("syncopation_index", swung) == 2.0


def test_the_last_note_may_syncopate_up_to_its_bar_end():
    # onsets on every quarter; in the last bar the last note at 3/2 holds through the bar's middle (-3 to -1)
    melody = written("C4:1 " * 12 + "C4:1 D4:1/2 E4:5/2")
    assert value("syncopation_index", melody) == 2 / 4
    # the bar line after it is not inside
    late = written("C4:1 " * 12 + "C4:1 D4:1 E4:3/2 F4:1/2")
    assert value("syncopation_index", late) == 0


def test_half_time_counts_as_four_four():
    a, b = (written("C4:1/2 D4:1 E4:1 F4:1 G4:1/2 r:1 C4:2 r:1 " * 3, meter=m) for m in ("4/4", "2/2"))
    assert measure(a).values == pytest.approx(measure(b).values, nan_ok=True)


def test_positions_round_to_a_24th_and_the_bar_end_is_the_next_downbeat():
    # 1/64 before each bar line is the downbeat: one place only
    melody = written("C4:255/64 " + "C4:4 " * 11, start="0")
    assert value("bar_onset_entropy", melody) == 0
    # in a lone short bar (2 of 4 quarters) too: what rounds to its end is the next line
    short = written("C4:4 " * 11 + "C4:127/64 D4:4", bars="4 " * 11 + "2 4")
    assert value("bar_onset_entropy", short) == 0


def test_without_durations_the_last_note_lasts_to_the_next_beat():
    # 12 eighths: the last at 11/2 lasts to 6, so the span is 6 quarters
    assert value("notes_per_beat", written("C4:1/2 " * 12, timed=False)) == 2.0
    # on a beat it lasts one beat: 12 quarters
    assert value("notes_per_beat", written("C4:1 " * 12, timed=False)) == 1.0
    # 6/8 with a lone bar of 5 eighths: its last note, on the second beat at 15/2, lasts to the bar line at 17/2
    melody = written("C4:1/2 " * 16, meter="6/8", bars="3 3 5/2 3", timed=False)
    assert value("notes_per_beat", melody) == pytest.approx(16 / (17 / 2 / 1.5))


def test_a_long_wait_ends_a_phrase_without_a_rest():
    # eighths, then a half note: 2 beats and 4 medians long
    melody = written("C4:1/2 D4:1/2 E4:1/2 D4:1/2 C4:2 " * 3)
    assert value("phrase_length", melody) == 5
    assert value("phrase_end_root_share", melody) == 1.0
    # in quarters the half note is only twice the median
    assert value("phrase_length", written("C4:1 D4:1 E4:1 D4:1 C4:2 " * 3)) == 15


def test_plain_figures_do_not_count_as_motifs():
    # a scale played three times: every figure is three steps one way in one IOI, or holds the leap back
    scale = [60, 62, 64, 65, 67, 69, 71, 72]
    up = in_pitches(scale * 3)
    # only the figures with the octave back recur: starts 5 6 7 and 13 14 15, notes 5-10 and 13-18
    assert value("motif_coverage", up) == 12 / 24
    assert value("motif_coverage", in_pitches([60] * 20)) == 0


def test_unmeasured_is_nan_with_a_reason():
    few = written("C4:1 D4:1 E4:1")
    assert value("step_share", few) != value("step_share", few)
    assert reason("step_share", few) == "fewer than 12 notes"
    assert "durations" in reason("rest_fraction", written("C4:1 " * 12, timed=False))
    assert "key" in reason("root_share", written("C4:1 " * 12, key=None))
    assert "chords" in reason("chord_tone_share", written("C4:1 " * 12))
    assert "mark" in reason("bend_share", written("C4:1 " * 12))
    assert reason("degree_drift", written("C4:1 " * 31)) == "fewer than 32 notes"
    assert reason("step_inertia", written("C4:1 " * 12))  # no pair of steps: an empty denominator
    assert reason("leap_reversal_share", EIGHTHS)  # one leap followed by a move, not three
    assert reason("phrase_length_variation", EIGHTHS)  # one phrase
    assert reason("rhythm_recurrence", EIGHTHS)  # two bars
    assert reason("convex_phrase_share", EIGHTHS)
