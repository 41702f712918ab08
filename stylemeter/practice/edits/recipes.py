"""Which editor moves which feature which way, and how its edits are counted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from stylemeter.features.degrees import pentatonic_notes
from stylemeter.features.scale_use import SEVEN_NOTES
from stylemeter.music.melody import Technique
from stylemeter.practice.edits import air, figures, marks, pitch, runs, timing, variety
from stylemeter.practice.edits.edit import Edit
from stylemeter.practice.edits.scene import Scene

__all__ = ["RECIPES", "Recipe"]

Array = npt.NDArray[Any]
Editor = Callable[[Scene], list[Edit]]
Where = Callable[[Scene], Array]


def _evidence(scene: Scene) -> int:
    return len(scene.evidence_rows)


@dataclass(frozen=True, slots=True)
class Recipe:
    """How a feature is moved one way.

    Attributes
    ----------
    editor : callable
        `Scene -> list of Edit`, the most telling first.
    total : callable
        `Scene -> int`: how many things there are of the kind the edits change.
    cumulative : bool
        Whether each edit holds all those before it and takes their place.
    """

    editor: Editor
    total: Callable[[Scene], int] = _evidence
    cumulative: bool = False


def _interval(count: Callable[..., Array]) -> Editor:
    return pitch.move_notes(pitch.by_interval(count), reach=1)


def _pair(counted: pitch.Pair, of: pitch.Pair, *, steady: bool = False, moving: bool = False) -> Editor:
    return pitch.move_notes(pitch.by_pair(counted, of, steady=steady, moving=moving), reach=2)


def _degree(*wanted: int, where: Where | None = None, long_first: bool = False) -> Editor:
    classes = pitch.degrees(*wanted)
    return pitch.move_notes(pitch.by_class(classes, long_first=long_first), reach=0, where=where, allow=classes)


def _chord(kind: str, where: Where | None = None) -> Editor:
    classes = pitch.of_chord(kind)
    return pitch.move_notes(pitch.by_class(classes), reach=0, where=where, allow=classes)


def _phrase_ends(scene: Scene) -> Array:
    ends = np.zeros(scene.n, dtype=bool)
    ends[scene.line.phrase_last] = True
    return ends


def _on_beat(scene: Scene) -> Array:
    return scene.line.on_beat


def _outside_mode(scene: Scene) -> Array:
    return (~scene.inside).astype(float)


def _pentatonic(scene: Scene) -> Array:
    """Classes of the pentatonic set in use, as the evidence shows it."""
    used = pentatonic_notes(scene.line)
    both = [pitch.degrees(*degrees)(scene) for degrees in ((0, 2, 4, 7, 9), (0, 3, 5, 7, 10))]
    classes = scene.line.q % 12
    return next((table for table in both if np.array_equal(table[classes] > 0, used)), both[1])


def _one_scale(scene: Scene) -> Array:
    """Classes of the seven-note scale in use."""
    held = SEVEN_NOTES @ np.bincount(scene.line.q % 12, minlength=12)
    found: Array = SEVEN_NOTES[int(held.argmax())].astype(float)
    return found


def _notes(scene: Scene) -> int:
    return scene.n


def _different(scene: Scene) -> int:
    return round(scene.value)


def _both(name: str, editor: Editor, total: Callable[[Scene], int] = _evidence) -> dict[tuple[str, str], Recipe]:
    """One editor that looks at the scene's direction itself."""
    return {(name, "up"): Recipe(editor, total), (name, "down"): Recipe(editor, total)}


def _each(
    name: str, up: Editor, down: Editor, total: Callable[[Scene], int] = _evidence
) -> dict[tuple[str, str], Recipe]:
    return {(name, "up"): Recipe(up, total), (name, "down"): Recipe(down, total)}


def _keep(a: Array, b: Array) -> Array:
    found: Array = np.sign(a) == np.sign(b)
    return found


def _turn(a: Array, b: Array) -> Array:
    found: Array = np.sign(a) * np.sign(b) < 0
    return found


def _turn_or_not(a: Array, b: Array) -> Array:
    found: Array = np.sign(a) != np.sign(b)
    return found


_INTERVALS = {
    **_both("step_share", _interval(pitch.step)),
    **_both("skip_share", _interval(pitch.skip)),
    **_both("leap_share", _interval(pitch.leap)),
    **_both("repeated_note_share", _interval(pitch.repeats)),
    **_both("semitone_share", _interval(pitch.semitone)),
    **_both("degree_step_share", _interval(pitch.step)),
    **_both("mean_move", _interval(pitch.size)),
    **_both("mean_interval", _interval(pitch.size)),
    **_both("interval_entropy", pitch.move_notes(pitch.by_interval_entropy, reach=1)),
    **_each("scale_run_share", runs.make_runs, runs.break_runs, runs.long_runs),
    **_each("longest_scale_run", runs.make_runs, runs.break_runs, runs.long_runs),
    **_each("degree_run_share", runs.make_runs, runs.break_runs, runs.long_runs),
    **_each("longest_degree_run", runs.make_runs, runs.break_runs, runs.long_runs),
    **_both("degree_step_inertia", _pair(_keep, lambda a, b: pitch.step(a) & pitch.step(b))),
    **_both("step_inertia", _pair(_keep, lambda a, b: pitch.step(a) & pitch.step(b))),
    **_both("direction_change_rate", _pair(_turn, lambda a, b: (a != 0) & (b != 0), moving=True)),
    **_both("leap_reversal_share", _pair(_turn_or_not, lambda a, b: pitch.leap(a) & (b != 0), steady=True)),
    **_both("pitch_range", runs.pull_range),
}

_DEGREES = {
    **_both("root_share", _degree(0)),
    **_both("third_share", _degree(3, 4)),
    **_both("fifth_share", _degree(7)),
    **_both("ninth_share", _degree(1, 2)),
    **_both("seventh_share", _degree(10, 11)),
    **_both("root_time_share", _degree(0, long_first=True)),
    **_both("degree_entropy", variety.spread_classes),
    **_both("chromatic_share", pitch.move_notes(pitch.by_class(_outside_mode), reach=0, allow=_outside_mode)),
    **_both("one_scale_share", pitch.move_notes(pitch.by_class(_one_scale), reach=0, allow=_one_scale)),
    **_both("pentatonic_share", pitch.move_notes(pitch.by_class(_pentatonic), reach=0, allow=_pentatonic)),
    ("pitch_class_count", "up"): Recipe(runs.change_classes, _different),
    ("pitch_class_count", "down"): Recipe(runs.change_classes, _different, cumulative=True),
    **_both("phrase_end_root_share", _degree(0, where=_phrase_ends)),
    **_both("strong_beat_root_share", _degree(0, where=_on_beat)),
}

_HARMONY = {
    **_both("chord_tone_share", _chord("tone")),
    **_both("chord_root_share", _chord("root")),
    **_both("extension_share", _chord("extension")),
    **_both("chord_third_or_seventh_share", _chord("guide")),
    **_both("strong_beat_chord_root_share", _chord("root", _on_beat)),
    **_both("strong_beat_chord_tone_share", _chord("tone", _on_beat)),
}

_RHYTHM = {
    **_each("syncopation_index", air.hold_across, timing.push_to_beat),
    **_each("offbeat_onset_share", air.hold_across, air.leave_out(air.off_beat)),
    **_both("note_value_entropy", variety.vary_values("duration", "entropy")),
    **_both("ioi_entropy", variety.vary_values("ioi", "entropy")),
    **_both("commonest_value_share", variety.vary_values("duration", "commonest")),
    **_both("commonest_ioi_share", variety.vary_values("ioi", "commonest")),
    **_both("dotted_share", timing.retime(timing.dotted)),
    **_each("tuplet_share", timing.to_triplets, timing.straighten),
    **_both("npvi", timing.retime(timing.unevenness)),
    **_each("rhythm_recurrence", timing.repeat_bars, timing.change_bars),
    **_both("bar_onset_entropy", variety.shift_places),
}

_SPACE = {
    **_each("rest_fraction", air.put_breaths(0.5), air.play_through()),
    **_each("breaths_per_bar", air.put_breaths(0.5), air.play_through(0.5)),
    **_each("longest_stream", air.play_through(0.5), air.put_breaths(0.5)),
    **_each("notes_per_beat", air.split_notes(), air.leave_out(), _notes),
    **_each("density_variation", air.leave_out(air.in_quiet_bars), air.split_notes(air.in_quiet_bars)),
    **_each("empty_beat_share", air.hold_through, air.fill_waits),
    **_each("waiting_share", air.hold_through, air.fill_waits),
    **_each("phrase_length", air.join_phrases, air.put_breaths(1.0)),
    **_each("phrase_length_variation", air.join_phrases, air.put_breaths(1.0)),
}

_SHAPE = {
    **_both("climax_position", runs.place_climax),
    **_each("density_build", air.split_notes(air.in_last_third), air.leave_out(air.in_last_third)),
    ("register_build", "up"): Recipe(runs.shift_end, cumulative=True),
    ("register_build", "down"): Recipe(runs.shift_end, cumulative=True),
    **_both("convex_phrase_share", runs.arch_phrases, runs.arched),
}

_MOTIF = {
    **_each("motif_coverage", figures.bring_back(), figures.vary_notes),
    **_each("varied_repeat_share", figures.bring_back(changed=True), figures.vary_notes),
    **_each("rhythm_figure_coverage", figures.bring_rhythm_back, timing.retime(figures.uneven_figures)),
    **_each("lz_complexity", figures.vary_notes, figures.bring_back()),
}

_TECHNIQUE = {
    **_each("ornamented_share", marks.mark_notes(Technique.SLIDE), marks.play_plain(~Technique(0))),
    **_each(
        "bend_share",
        marks.mark_notes(Technique.BEND),
        marks.play_plain(Technique.BEND | Technique.PRE_BEND | Technique.RELEASE),
    ),
    **_each(
        "legato_share",
        marks.mark_notes(Technique.HAMMER_ON),
        marks.play_plain(Technique.HAMMER_ON | Technique.PULL_OFF | Technique.SLIDE),
    ),
    **_each("vibrato_share", marks.mark_notes(Technique.VIBRATO), marks.play_plain(Technique.VIBRATO)),
}

#: By (feature, "up" or "down"): which way its value is to go.
RECIPES: dict[tuple[str, str], Recipe] = {
    **_INTERVALS,
    **_DEGREES,
    **_HARMONY,
    **_RHYTHM,
    **_SPACE,
    **_SHAPE,
    **_MOTIF,
    **_TECHNIQUE,
}
