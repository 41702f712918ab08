"""Family *harmony*: shares of the notes that have a chord."""

from __future__ import annotations

from oracle.degrees import notes_on_beat
from oracle.registry import MINIMUM, evidence, feature
from oracle.terms import NOTHING, TOO_FEW, Unmeasured, at_least, chord_of_each_note, ratio, semitones

EXTENSIONS = {1, 2, 5, 6, 8, 9}
DIMINISHED_SEVENTH = {0, 3, 6, 9}


def with_chord(table):
    return {i for i, chord in enumerate(chord_of_each_note(table)) if chord is not None}


def above_root(table, i):
    return (semitones(table)[i] - chord_of_each_note(table)[i]["root"]) % 12


def is_chord_tone(table, i):
    return semitones(table)[i] % 12 in chord_of_each_note(table)[i]["pitch_classes"]


def is_third_or_seventh(table, i):
    chord = chord_of_each_note(table)[i]
    whole = {(c - chord["root"]) % 12 for c in chord["pitch_classes"]}
    wanted = {3, 4, 10, 11} | ({9} if whole == DIMINISHED_SEVENTH else set())
    return is_chord_tone(table, i) and above_root(table, i) in wanted


TESTS = {
    "chord_tone_share": is_chord_tone,
    "chord_root_share": lambda table, i: above_root(table, i) == 0,
    "extension_share": lambda table, i: above_root(table, i) in EXTENSIONS and not is_chord_tone(table, i),
    "chord_third_or_seventh_share": is_third_or_seventh,
}


def population(table):
    found = with_chord(table)
    if not found:
        raise Unmeasured(NOTHING)
    if len(found) < MINIMUM:
        raise Unmeasured(TOO_FEW)
    return found


def _share(name):
    test = TESTS[name]

    def share(table):
        among = population(table)
        return ratio(sum(test(table, i) for i in among), len(among))

    share.__name__ = name
    feature("harmony", needs=("chords",))(share)
    evidence(name)(lambda table: {i for i in with_chord(table) if test(table, i)})


for _name in TESTS:
    _share(_name)


@feature("harmony", needs=("chords",))
def strong_beat_chord_tone_share(table):
    strong = population(table) & notes_on_beat(table)
    at_least(len(strong), 4)
    return ratio(sum(is_chord_tone(table, i) for i in strong), len(strong))


@feature("harmony", needs=("chords",))
def strong_beat_chord_root_share(table):
    strong = population(table) & notes_on_beat(table)
    at_least(len(strong), 4)
    return ratio(sum(above_root(table, i) == 0 for i in strong), len(strong))


@evidence("strong_beat_chord_root_share")
def strong_beat_chord_roots(table):
    return {i for i in with_chord(table) & notes_on_beat(table) if above_root(table, i) == 0}


@evidence("strong_beat_chord_tone_share")
def strong_beat_chord_tones(table):
    return {i for i in with_chord(table) & notes_on_beat(table) if is_chord_tone(table, i)}
