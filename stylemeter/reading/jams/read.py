"""JAMS annotations of a take: notes a string, beats, tempo, chords and key.

Conventions: a performed source (`reading.performed` has the rules). Notes of all `note_midi` annotations are one
take (one annotation a string); pitches stay the fractions they are. Beats are those annotated as `beat_position`,
or those of the options `tempo` and `first_beat`, or those of a `tempo` annotation from second 0.

References
----------
.. [1] E. J. Humphrey et al., "JAMS", ISMIR 2014 (namespaces note_midi, beat_position, tempo, chord, key_mode).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError, LimitError
from stylemeter.music.chords.symbols import parse_label
from stylemeter.music.keys import pitch_class
from stylemeter.music.melody import Chord, Key, Melody
from stylemeter.music.meter import TICKS, Meter
from stylemeter.music.scales import mode_name
from stylemeter.reading.draft.build import build, count_words
from stylemeter.reading.draft.parts import Candidate, choose
from stylemeter.reading.draft.repairs import Findings
from stylemeter.reading.draft.strings import OPEN, frets_of
from stylemeter.reading.draft.user_options import parse_meter
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.jams.beats import Beats, annotated_beats, even_beats
from stylemeter.reading.jams.file import Observation, load, observations, of_namespace, text_at
from stylemeter.reading.performed.draft import Take, bar_namer, check_span, lay, settle

__all__ = ["read"]

CHORD_NAMESPACES = ("chord", "chord_harte")


def read(data: bytes, options: ReadOptions) -> list[Melody]:
    """Read the take of a JAMS file.

    Parameters
    ----------
    data : bytes
    options : ReadOptions
        `tempo` and `first_beat` apply.

    Returns
    -------
    list of Melody
        One.

    Raises
    ------
    InputError
        If it holds no notes or no beats.
    """
    document = load(data)
    remarks: list[str] = []
    found = Findings()
    notes, strings = _notes(document, remarks, found)
    _check_part(document, options.part)
    beats = _beats(document, options, remarks)
    start = np.array([note.time for note in notes])
    take = Take(
        beats.quarters(start),
        beats.quarters(start + np.array([note.duration for note in notes])),
        start,
        beats.pace(start),
        np.array([float(note.value) for note in notes]),
        places=_places(notes, strings),
    )
    beaten = [parse_meter(options.meter)] if options.meter else list(beats.meters) or [Meter(0, 4, 4)]
    check_span(float(take.end.max() - min(take.onset.min(), 0.0)), beaten)
    draft, shift = settle(lay(take, beaten), beats.meters, beats.spans)
    key, chords = _key(document, remarks), _chords(document, beats, shift, found)
    name = bar_namer(draft)
    remarks += found.lines(lambda ms: name(int(beats.quarters(np.array([ms / 1000]))[0] * TICKS) + shift))
    title = text_at(document, "file_metadata", "title")[: limits.TEXT_MAX]
    tempo = round(beats.tempo, 3)
    remarks += draft.remarks
    tuning = None if take.places is None else OPEN[::-1]
    told = replace(draft, key=key, chords=chords, tempo=tempo, title=title, tuning=tuning)
    return [build(replace(told, source="jams", remarks=remarks))]


def _ms(one: Observation) -> int:
    """Place of an observation, in milliseconds."""
    return int(one.time * 1000)


def _check_part(document: Mapping[str, Any], wanted: str | None) -> None:
    """Refuse a part that isn't there: all strings are one."""
    name = text_at(document, "sandbox", "instrument") or "all strings"
    choose([Candidate(name, 1, 0.0)], wanted)


def _places(notes: Sequence[Observation], strings: Sequence[int]) -> npt.NDArray[np.int64] | None:
    """String and fret of each note, where every annotation says its string and all can be played there."""
    if not all(strings):
        return None
    fret = frets_of(np.array([float(note.value) for note in notes]), np.array(strings, dtype=np.int64))
    return None if fret is None else np.stack([np.array(strings, dtype=np.int64), fret], axis=1)


def _string(annotation: Mapping[str, Any]) -> int:
    """String of an annotation whose source is counted from 0 for the lowest of six; 0 where it says none."""
    source = text_at(annotation, "annotation_metadata", "data_source")
    return 6 - int(source) if source in ("0", "1", "2", "3", "4", "5") else 0


def _notes(document: Mapping[str, Any], remarks: list[str], found: Findings) -> tuple[list[Observation], list[int]]:
    """Notes of all strings, and the string of each."""
    notes: list[Observation] = []
    strings: list[int] = []
    unread, where = 0, ""
    for number, annotation in enumerate(of_namespace(document, "note_midi"), 1):
        observed, broken = observations(annotation)
        unread += len(broken)
        where = where or (f" (the first: entry {broken[0]} of annotation {number})" if broken else "")
        for note in observed:
            if not _is_pitch(note.value):
                unread += 1
                where = where or f" (the first at {note.time:.2f} s)"
            elif note.duration <= 0:
                found.add("note", "of no or negative length left out", _ms(note))
            else:
                notes.append(note)
                strings.append(_string(annotation))
        if len(notes) > limits.NOTES_MAX:
            raise LimitError(f"more than {limits.NOTES_MAX} notes", mend="give a shorter take")
    if not notes:
        raise InputError("no notes in it (namespace note_midi)", mend="give a file with annotated notes")
    if unread:
        remarks.append(f"{count_words(unread, 'note')} without a possible time or pitch left out{where}")
    return notes, strings


def _is_pitch(value: object) -> bool:
    """Whether a value is a MIDI note number, fractions allowed."""
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return number and limits.PITCH_MIN <= value <= limits.PITCH_MAX  # type: ignore[operator]


def _beats(document: Mapping[str, Any], options: ReadOptions, remarks: list[str]) -> Beats:
    """The beats the user says, those annotated, or those of the annotated tempo."""
    tempo = options.tempo or _tempo(document)
    if options.tempo is None and options.first_beat is None:
        for annotation in of_namespace(document, "beat_position"):
            beats = annotated_beats(observations(annotation)[0])
            if beats:
                return beats
    if tempo is None:
        raise InputError("has no beats", mend="say them with --tempo and --first-beat")
    if options.first_beat is None:
        remarks.append("first beat taken at the start of the recording; say it with --first-beat")
    return even_beats(tempo, options.first_beat or 0.0)


def _tempo(document: Mapping[str, Any]) -> float | None:
    """The annotated tempo, if it is one."""
    for annotation in of_namespace(document, "tempo"):
        for one in observations(annotation)[0]:
            number = isinstance(one.value, (int, float)) and not isinstance(one.value, bool)
            if number and limits.TEMPO_MIN <= one.value <= limits.TEMPO_MAX:
                return float(one.value)
    return None


def _key(document: Mapping[str, Any], remarks: list[str]) -> Key | None:
    """The first annotated key, or None."""
    keys: list[Key] = []
    unread: list[str] = []
    for annotation in of_namespace(document, "key_mode"):
        for one in observations(annotation)[0]:
            tonic, _, mode = str(one.value).partition(":")
            root, name = pitch_class(tonic), mode_name(mode or "major")
            if root is None or not name:
                unread.append(str(one.value)[:40])
            elif Key(root, name, "declared") not in keys:
                keys.append(Key(root, name, "declared"))
    if unread and not keys:
        remarks.append(f"key {unread[0]!r} not understood; give it with --key")
    if len(keys) > 1:
        remarks.append(f"the file declares {len(keys)} keys: the first, {keys[0].name}, is taken")
    return keys[0] if keys else None


def _chords(document: Mapping[str, Any], beats: Beats, shift: int, found: Findings) -> list[Chord]:
    """The chords of the first annotation that has any (the one of the lead sheet, where there are several)."""
    every = (observations(a)[0] for name in CHORD_NAMESPACES for a in of_namespace(document, name))
    observed = next((o for o in every if o), [])[: limits.CHORDS_MAX]
    chords: list[Chord] = []
    if observed:
        places = np.round(beats.quarters(np.array([one.time for one in observed])) * 4).astype(np.int64)
        for one, place in zip(observed, places.tolist(), strict=True):
            try:
                chords.append(parse_label(str(one.value), place * (TICKS // 4) + shift))
            except InputError:
                found.add("chord", "not understood: no chord taken there", _ms(one))
                chords.append(Chord(place * (TICKS // 4) + shift, None, "N", ()))
    return chords
