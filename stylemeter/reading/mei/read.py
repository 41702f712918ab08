"""Reading MEI: one melody a score or movement, from the staff that is likeliest to be the melody and its fullest layer.

Conventions: read as written (repeats, endings and expansions not played out); pitches sound as the staff transposes.

References
----------
.. [1] Music Encoding Initiative, MEI Guidelines 5.0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from xml.etree.ElementTree import Element

from stylemeter.errors import InputError, StylemeterError, UnknownNameError
from stylemeter.music.keys import move_signature
from stylemeter.music.melody import Melody
from stylemeter.music.meter import Meter, lay_bars
from stylemeter.reading.draft.build import Draft, build, count_words
from stylemeter.reading.draft.chord_texts import move, read_symbols
from stylemeter.reading.draft.parts import Candidate, choose
from stylemeter.reading.draft.printed_bars import bar_name, tell_bars
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.mei.file import find_scores, open_mei
from stylemeter.reading.mei.layer import Layer
from stylemeter.reading.mei.walk import Score, Staff, walk
from stylemeter.support.printable import show

__all__ = ["read"]

#: Scores left out that are told one by one, and parts offered where none fits.
TOLD_MAX = 8


def read(data: bytes, options: ReadOptions) -> list[Melody]:
    """Read the scores of an MEI document.

    Parameters
    ----------
    data : bytes
    options : ReadOptions
        `part` is a staff's number (``n``) or label.

    Returns
    -------
    list of Melody
        At least one. A movement that can't be read is told of in the first one's remarks.

    Raises
    ------
    InputError
        If no score can be read.
    UnknownNameError
        If no staff is called as asked for.
    """
    said: list[str] = []
    scores = find_scores(open_mei(data, said))
    melodies: list[Melody] = []
    failures: list[StylemeterError] = []
    unknown: UnknownNameError | None = None
    for number, (score, title) in enumerate(scores, start=1):
        try:
            melodies.append(_melody(score, title, options))
        except InputError as error:
            failures.append(error.at(f"score {number}") if len(scores) > 1 else error)
        except UnknownNameError as error:
            unknown = unknown or error
    if not melodies and unknown:
        raise unknown
    if not melodies:
        raise failures[0] if failures else InputError("no score in it", mend="export it again as MEI")
    said += [f"left out: {error}" for error in failures[:TOLD_MAX]]
    if len(failures) > TOLD_MAX:
        said.append(f"{count_words(len(failures) - TOLD_MAX, 'more score')} left out")
    return [melodies[0].with_remarks(*said), *melodies[1:]]


def _melody(element: Element, title: str, options: ReadOptions) -> Melody:
    """One score."""
    score = walk(element)
    remarks: list[str] = []
    staff = _choose(list(score.staves.values()), options.part, remarks)
    layer = staff.line
    if staff.fault is not None:
        raise staff.fault
    if layer is None:
        raise InputError("no notes in it", mend="choose another part or check the file in a notation editor")
    others = sum(len(other.notes) for other in staff.layers.values() if other is not layer)
    if others:
        remarks.append(f"{count_words(others, 'note')} of a second voice left out")
    return build(_draft(score, staff, layer, title, remarks))


def _choose(staves: Sequence[Staff], wanted: str | None, remarks: list[str]) -> Staff:
    """The staff asked for, by its number in the file or its name, or the one likeliest to be the melody.

    One that can't be read is only taken where it is asked for, or all are so.
    """
    if not any(staff.layers for staff in staves):
        raise InputError("no notes in it", mend="check the file in a notation editor")
    wanted = wanted if wanted and wanted.strip() else None
    marked = next((staff for staff in staves if wanted and wanted.strip() == staff.mark), None)
    if marked is not None:
        return marked
    sound = [staff for staff in staves if not staff.fault]
    among = list(staves) if wanted is not None or not any(staff.line for staff in sound) else sound
    place, told = choose([_candidate(staff) for staff in among], wanted)
    remarks += told
    faulty = [staff for staff in staves if staff.fault and staff is not among[place]]
    for staff in faulty[:TOLD_MAX]:
        name = " ".join(filter(None, ("staff", show(staff.mark, 20), show(staff.label, 40))))
        remarks.append(f"{name} can't be read and is left out: {staff.fault}")
    return among[place]


def _candidate(staff: Staff) -> Candidate:
    """A staff as the choice of parts sees it."""
    notes = staff.line.notes.notes if staff.line else []
    onsets = {onset for onset, _, _ in notes}
    middle = sorted(pitch for _, _, pitch in notes)[len(notes) // 2] if notes else 0.0
    chordal = len(notes) > 2 * len(onsets)
    return Candidate(show(staff.label, 80), len(onsets), middle, chordal, percussion=staff.drums)


def _draft(score: Score, staff: Staff, layer: Layer, title: str, remarks: list[str]) -> Draft:
    """What `build` needs of one layer."""
    bars = lay_bars(score.bars, staff.meters or (Meter(0, 4, 4),))
    own = [h for h in score.harmonies if h[1] in ("", staff.mark)] or score.harmonies
    chords = read_symbols([(at, at, text) for at, _, text in own], len(score.bars), score.found, score.said)
    shift = staff.first_shift or 0
    if chords and any(h[1] in ("", staff.mark) for h in own):
        chords = [move(chord, shift) for chord in chords]
    notes = layer.notes.raw()
    first = notes[0].onset
    signatures = [sharps for at, sharps in staff.signatures if at <= first] or [s for _, s in staff.signatures]
    before = [key for at, key in staff.keys if at <= first]
    for at, key in staff.keys:
        if before and at > first and (key.tonic, key.mode) != (before[-1].tonic, before[-1].mode):
            score.found.add("key change", "followed; the first key is the one declared", at)
    remarks += score.found.lines(lambda tick: bar_name(bars, tick))
    remarks += score.said
    return Draft(
        notes=notes,
        meters=staff.meters,
        spans=tell_bars(score.bars, staff.meters, score.sections, bars, remarks),
        key=replace(before[-1], tonic=(before[-1].tonic + shift) % 12) if before else None,
        signature=move_signature(signatures[-1], shift) if signatures else None,
        chords=chords,
        phrase_ends=[at for own, at in score.phrase_ends if own is layer],
        tempo=score.tempo,
        title=title,
        part=show(staff.label or staff.mark, 80),
        source="mei",
        remarks=remarks,
    )
