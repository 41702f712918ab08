"""How much would bring a feature or a habit inside: amounts by hand, amounts worked out, amounts of a placement."""

import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from helpers.melodies import real_melodies
from helpers.placements import feature_place, habit_place, placement, solo
from helpers.solos import MAJOR, C, E, Q, S, scales, target, targets, value, walk

from stylemeter.features import Base, measure
from stylemeter.music.melody import Key, Technique
from stylemeter.music.meter import Meter
from stylemeter.placement.lengths import Plan
from stylemeter.practice.amounts import amount, change_for, changes
from stylemeter.practice.edits import Goal, find_edits
from stylemeter.reading.draft.build import Draft, RawNote, build

# -- amounts by hand -----------------------------------------------------------------------------------------------


def test_scale_runs_to_break():
    # 4 runs of 5 notes are all of 20; with 2 broken 10 are left
    change = amount(scales(4), "scale_run_share", 0.2, 0.5)
    assert (change.words, change.count, change.checked) == ("break 2 of the 4 scale runs", 2, True)
    assert change.after == 0.5


def test_a_broken_run_moves_one_middle_note():
    found = find_edits(scales(4), "scale_run_share", 0.2, 0.8)
    moved = np.flatnonzero(found.melody.pitch != scales(4).pitch)
    assert moved.tolist() == [2]


def test_root_notes_to_move():
    # 8 of 16 notes are the root; at most a quarter, 4, may be
    melody = solo([60, 67] * 8, [Q] * 16, key=C)
    change = amount(melody, "root_share", 0.1, 0.25)
    assert (change.words, change.count) == ("about once in each bar, play another note in place of the root", 4)
    assert change.after == 0.25


def test_breaths_to_put_in():
    # 16 bars of eighths without a rest; 3 breaths a 16 bars are wanted
    melody = solo([60, 62, 64, 62] * 32, [E] * 128, key=C)
    change = amount(melody, "breaths_per_bar", 3 / 16, 1.0)
    assert change.words == "about once in every five bars, take a breath: a rest of half a beat or more"
    assert change.count == 3


def test_breaths_halve_the_longest_stretch():
    melody = solo([60, 62, 64, 62] * 32, [E] * 128, key=C)
    found = find_edits(melody, "longest_stream", 0, 33)
    assert found.count == 1
    gap = int(np.flatnonzero(found.melody.onset[1:] > (found.melody.onset + found.melody.duration)[:-1])[0])
    # at half time, and the line takes up again on a bar line
    assert found.melody.bar[gap + 1] == 9
    assert found.melody.beat[gap + 1] == 1


def test_dotted_figures():
    melody = solo([60, 62, 64, 65] * 4, [E] * 16, key=C)
    found = find_edits(melody, "dotted_share", 1 / 16, 0.2)
    assert found.count == 1
    assert sorted(found.melody.duration.tolist())[:1] == [S]
    assert amount(melody, "dotted_share", 1 / 16, 0.2).words == "turn 1 even pair of notes into a dotted figure"


def test_triplets_to_straighten():
    # 8 triplets; a quarter of the notes, 2 of the 8 triplets, may stay
    melody = solo([60, 62, 64] * 8, [Q // 3] * 24, key=C)
    found = find_edits(melody, "tuplet_share", 0, 0.25)
    assert (found.count, found.value) == (6, 0.25)
    straight = [length for length in found.melody.duration.tolist() if length != Q // 3]
    assert straight == [E, S, S] * 6


def test_even_notes_to_turn_into_triplets():
    melody = solo([60, 64, 62, 65] * 8, [E] * 32, key=C)
    found = find_edits(melody, "tuplet_share", 0.1, 0.5)
    assert len(found.melody) == 32 + found.count
    assert Counter(found.melody.duration.tolist())[Q // 3] == 3 * found.count


def test_syncopation_is_an_anticipated_beat():
    # common practice, no source: a note pulled half a beat ahead of a strong beat and held across it
    melody = solo([60, 62, 64, 65] * 6, [Q] * 24, key=C)
    found = find_edits(melody, "syncopation_index", 0.4, 1.5)
    assert found.count == 1
    assert amount(melody, "syncopation_index", 0.4, 1.5).words == (
        "once, let a note start ahead of the beat and hold across it"
    )
    early = int(np.flatnonzero(found.melody.onset % Q)[0])
    assert found.melody.beat[early] == 4.5
    assert found.melody.duration[early] == 3 * E


def test_a_high_point_to_save():
    melody = solo([79] + [60, 62, 64, 62, 60] * 5, [Q] * 26, key=C)
    change = amount(melody, "climax_position", 0.5, 0.9)
    assert change.words.startswith("reach a new highest note later, about 5")
    assert 0.5 <= change.after <= 0.9


def test_the_last_third_to_set_higher():
    melody = solo([60, 62, 64] * 8, [Q] * 24, key=C)
    change = amount(melody, "register_build", 2.5, 9)
    assert change.words == "set the last third of the notes about 2 semitones higher"
    # 62.25 (62 64 60 62 64 60 62 64) against 61.75, and 2 more
    assert change.after == 2.5


def test_notes_are_moved_inside_the_key():
    melody = solo([60, 67, 60, 64] * 8, [Q] * 32, key=C)
    found = find_edits(melody, "root_share", 0.0, 0.2)
    assert set(found.melody.pitch % 12) <= set(MAJOR)


def test_the_root_can_be_brought_in_where_it_was_not_used():
    melody = solo([62, 64, 65, 67] * 5, [Q] * 20, key=Key(0, None, "given"))
    said = "about once in every three bars, play the root in place of another note"
    assert amount(melody, "root_share", 0.1, 0.3).words == said


def test_marks_come_and_go():
    marked = [RawNote(i * Q, Q, 60.0 + i % 3, Technique.VIBRATO if i < 8 else Technique(0)) for i in range(16)]
    melody = build(Draft(marked, [Meter(0, 4, 4)], key=C))
    assert amount(melody, "vibrato_share", 0, 0.25).words == "keep 4 of the 8 notes with vibrato still"
    more = find_edits(melody, "legato_share", 0.2, 0.5)
    assert more.count == 4
    assert value(more.melody, "vibrato_share") == 0.5


# -- amounts that are worked out -----------------------------------------------------------------------------------


def test_without_an_edit_the_amount_is_said():
    melody = solo([60, 62, 64, 65] * 4 + [61, 63, 66, 68] * 4, [Q] * 32, key=C)
    change = amount(melody, "degree_drift", 0.1, 0.25)
    assert (change.words, change.count, change.checked) == ("down by about 0.75", None, False)
    assert math.isnan(change.after)


def test_a_share_that_no_edits_reach_is_counted():
    # 16 notes in 4 bars: a third more of them wanted off the beat than any edit can bring
    melody = replace(solo([60, 62] * 8, [Q] * 16, key=C), technique=np.zeros(16, dtype=np.int64))
    assert amount(melody, "bend_share", 0.95, 0.99).words == "about 16 more of the 16 notes"


def test_a_small_difference_is_not_said_as_nothing():
    melody = walk(0)
    start = value(melody, "degree_drift")
    assert amount(melody, "degree_drift", start + 0.0004, start + 0.1).words == "up by about 0.0004"


def test_a_long_melody_is_not_edited():
    melody = solo([60, 62, 64, 65, 67] * 120, [E] * 600, key=C)
    change = amount(melody, "scale_run_share", 0.1, 0.5)
    assert not change.checked
    assert change.words == "about 300 fewer of the 600 notes"


def test_nothing_is_said_inside_or_unmeasured():
    melody = scales(4)
    assert amount(melody, "root_share", 0.1, 0.5) is None
    assert amount(melody, "chord_tone_share", 0.1, 0.5) is None
    assert amount(melody, "root_share", 0.5, 0.1) is None
    assert find_edits(melody, "root_share", 0.1, 0.5) is None


@pytest.mark.parametrize("seed", [1, 2])
def test_every_amount_is_said_in_full(seed):
    melody = walk(seed)
    for name, _, low, high in targets(melody):
        change = amount(melody, name, low, high)
        assert not set(change.words) & set("{}|_")
        assert change.words[0].islower()
        assert change.checked == math.isfinite(change.after)


# -- of a placement ------------------------------------------------------------------------------------------------


def placed(melody, features, habits=(), **more):
    """A placement whose values are measured and whose limits are given."""
    found = []
    for name, (low, high) in features.items():
        there = value(melody, name)
        verdict = "below" if there < low else "above" if there > high else "within"
        found.append(feature_place(name, verdict, between=(low, high), value=there))
    return placement(found, habits, melody, **more)


def test_changes_of_all_features_outside():
    found = placed(scales(4), {"scale_run_share": (0.0, 0.5), "root_share": (0.0, 0.1), "step_share": (0, 1)})
    assert {name: c.words for name, c in changes(found).items()} == {
        "scale_run_share": "break 2 of the 4 scale runs",
        "root_share": "about once in each bar, play another note in place of the root",
    }
    assert change_for(found, "step_share") is None


def test_a_habit_s_change_is_that_of_its_strongest_member_outside():
    melody = scales(4)
    runs = habit_place("runs", "shown", features=("longest_degree_run", "degree_run_share"))
    inside = {"longest_degree_run": (2, 9), "degree_run_share": (0, 0.5)}
    assert change_for(placed(melody, inside, [runs]), "runs").words == "break 2 of the 4 scale runs"
    both = {"longest_degree_run": (2, 4), "degree_run_share": (0, 0.5)}
    assert change_for(placed(melody, both, [runs]), "runs").words == "break the 4 longest scale runs"


def test_a_habit_with_no_member_outside_comes_inwards():
    runs = habit_place("runs", "hinted", features=("degree_run_share",))
    # inside 0 to 1, but above its inner three quarters: 15 of 20 notes may stay
    change = change_for(placed(scales(4), {"degree_run_share": (0, 1)}, [runs]), "runs")
    assert change.words == "break 1 of the 4 scale runs"


def test_a_member_outside_on_the_other_side_does_not_speak_for_a_habit():
    runs = habit_place("runs", "shown", features=())
    found = placed(scales(4), {"motif_coverage": (0, 1)}, [runs])
    found = replace(
        found,
        features=tuple(
            feature_place("degree_run_share", "below", between=(1.5, 2.0), value=1.0)
            if f.name == "degree_run_share"
            else replace(f, verdict="unmeasured", limits=None)
            for f in found.features
        ),
    )
    assert change_for(found, "runs") is None


def test_habits_not_shown_need_no_change():
    found = placed(scales(4), {"scale_run_share": (0, 0.5)}, [habit_place("runs", p_free=0.01)])
    assert change_for(found, "runs") is None


def test_a_solo_cut_into_excerpts_is_measured_in_them():
    melody = scales(8)
    plan = Plan(40, ((20, 1.0),), (0, 10, 20), 20, False, "in 3 overlapping excerpts")
    change = change_for(placed(melody, {"scale_run_share": (0, 0.5)}, plan=plan), "scale_run_share")
    edited = find_edits(melody, "scale_run_share", 0, 0.5, length=20)
    medians = [measure(edited.melody, start, start + 20).values["scale_run_share"] for start in (0, 10, 20)]
    assert change.after == edited.value == np.median(medians)
    assert change.count == edited.count


def test_real_tunes_get_amounts_too():
    tunes = real_melodies()[:12]
    if not tunes:
        pytest.skip("music21's corpus folder is not installed")
    for tune in tunes:
        base = Base(tune)
        for name in ("step_share", "motif_coverage", "notes_per_beat", "root_share"):
            start = value(tune, name)
            change = amount(base, name, *target(name, start, True))
            assert change is not None
            assert change.words


def test_limits_are_compared_in_single_precision():
    # samples are kept in single precision: a value that is the limit but for that rounding lies inside
    limit = float(np.float32(0.7))
    assert limit < 0.7
    assert Goal("root_share", 0.1, limit).inside(0.7)
    assert not Goal("root_share", 0.1, limit).inside(0.70001)
    assert not Goal("root_share", 0.1, limit).inside(math.nan)
