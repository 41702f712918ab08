"""MIDI files: written ones exactly, performed ones quantised.

Conventions: bars are laid from tick 0 by the meter events and counted from 1 there; a change of meter starts a
bar. A file is written if most of its onsets lie on 24ths of a quarter note (or nearly all on simple parts of it):
its onsets are taken as they are, and so are its durations if they lie there too. Else its onsets were performed and
are quantised on its own beats (`reading.performed` has the rules), or on those of the options `tempo` and
`first_beat`.

References
----------
.. [1] MIDI Manufacturers Association, Standard MIDI Files 1.0 (RP-001).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError, LimitError
from stylemeter.music.melody import Melody
from stylemeter.reading.draft.build import build, count_words
from stylemeter.reading.draft.parts import Candidate, choose
from stylemeter.reading.draft.repairs import Findings
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.midi.clock import Clock
from stylemeter.reading.midi.draft import Tune, draft_of
from stylemeter.reading.midi.file import Scanned, scan
from stylemeter.reading.midi.parts import Part, Signs, Track, decode, find_parts
from stylemeter.reading.performed.draft import count_at

__all__ = ["read"]

#: Share of a part's notes that may begin with another before it counts as chords rather than a melody.
CHORDAL_SHARE = 0.5
#: Notes closer than this begin together (quarter notes: 25 ms at 120 a minute).
TOGETHER = 0.05
#: Longest time a note without a note-off lasts (quarter notes).
OPEN_LENGTH = 4.0
#: Pitch below which neither a guitar nor a four-string bass goes, and semitones that part keys which switch a sampled
#: instrument's sound from what it plays.
SWITCH, APART = 28, 12


def read(data: bytes, options: ReadOptions) -> list[Melody]:
    """Read the melody of a Standard MIDI File, or the tunes of one of format 2.

    Parameters
    ----------
    data : bytes
    options : ReadOptions
        `part`, `tempo`, `first_beat` and `chord_text` apply.

    Returns
    -------
    list of Melody

    Raises
    ------
    InputError
        If it holds no readable melody.
    UnknownNameError
        If there is no such part.
    """
    scanned = scan(data)
    decoded = decode(scanned)
    tunes = [decoded]
    if scanned.kind == 2:
        tunes, options = _tunes(decoded, options)
    melodies: list[Melody] = []
    failures: list[InputError] = []
    for number, tune in enumerate(tunes, 1):
        try:
            melodies.append(_read_tune(tune, scanned, options))
        except InputError as error:
            failures.append(InputError(error.what, where=f"tune {number}" if len(tunes) > 1 else "", mend=error.mend))
    if not melodies:
        raise failures[0] if failures else _no_notes(scanned)
    left_out = [f"{error.where} left out: {error.what}" for error in failures]
    melodies[0] = melodies[0].with_remarks(*scanned.remarks, *left_out)
    return melodies


def _tunes(
    decoded: Sequence[tuple[Track, Signs]], options: ReadOptions
) -> tuple[list[list[tuple[Track, Signs]]], ReadOptions]:
    """The tracks of format 2, a tune each; only the one asked for as a part, if one is."""
    tunes = [[pair] for pair in decoded if pair[0].played]
    if options.part is None or not tunes:
        return tunes, options
    listed = [Candidate(tune[0][0].name or f"track {tune[0][0].number}", 1, 0.0) for tune in tunes]
    place, _ = choose(listed, options.part)
    return [tunes[place]], replace(options, part=None)


def _no_notes(scanned: Scanned) -> InputError:
    """Error for a file without notes of a pitch."""
    what = "no notes in it but drums (channel 10)" if scanned.drums else "no notes in it"
    damage = next((remark for remark in scanned.remarks if "damaged" in remark), "")
    if damage:
        return InputError(f"{what}: {damage}", mend="export it again")
    return InputError(what, mend="choose a file with a melody")


def _read_tune(tracks: Sequence[tuple[Track, Signs]], scanned: Scanned, options: ReadOptions) -> Melody:
    """Read one tune."""
    remarks: list[str] = []
    found = Findings()
    parts = find_parts([track for track, _ in tracks])
    if not parts:
        raise _no_notes(scanned)
    part = _choose(parts, options.part, float(scanned.division or 480), remarks, found)
    if scanned.drums:
        remarks.append(f"{count_words(scanned.drums, 'note')} of the drum channel left out")
    if part.strings:
        strings = ", ".join(map(str, part.strings))
        remarks.append(f"channels {strings} read as the strings of one guitar")
    signs = Signs.together(signs for _, signs in tracks)
    clock = Clock.even(scanned.tick_seconds) if scanned.tick_seconds else Clock.of(signs.tempos, scanned.division)
    part = _with_ends(part, _quarter(scanned, clock), found)
    title = next((track.name for track, _ in tracks if track.name and not track.played), "")
    draft = draft_of(Tune(part, signs, clock, scanned.division, remarks, found), options)
    return build(replace(draft, title=title, part=part.name, source="midi"))


def _quarter(scanned: Scanned, clock: Clock) -> float:
    """Ticks of a quarter note; of half a second where the file counts in seconds."""
    return float(scanned.division or 0.5 / clock.pace[0])


def _choose(parts: Sequence[Part], wanted: str | None, quarter: float, remarks: list[str], found: Findings) -> Part:
    """The part asked for, else the one likeliest to be the melody, without the keys that only switch its sound."""
    switches = [_switches(part) for part in parts]
    played = [part.only(~keys) for part, keys in zip(parts, switches, strict=True)]
    place, told = choose([_candidate(part, quarter) for part in played], wanted)
    remarks += told
    where = parts[place].onset[switches[place]]
    count_at(found, "note", "far below all others taken for a switch of sound and left out", where)
    return _bearable(played[place])


def _candidate(part: Part, quarter: float) -> Candidate:
    """A part as the choice sees it."""
    chordal = _chordal(part, quarter) > CHORDAL_SHARE
    middle = float(np.median(part.pitch))
    return Candidate(part.name, len(part), middle, chordal, guitar=bool(part.strings), programs=part.programs)


def _switches(part: Part) -> npt.NDArray[np.bool_]:
    """Which notes are keys that switch a sampled instrument's sound: below all strings and far below what is played."""
    sounds = np.unique(part.pitch)
    gaps = np.flatnonzero((np.diff(sounds) >= APART) & (sounds[:-1] < SWITCH))
    if not len(gaps):
        return np.zeros(len(part), dtype=bool)
    keys = part.pitch <= sounds[gaps[-1]]
    return keys if 2 * int(keys.sum()) < len(part) else np.zeros(len(part), dtype=bool)


def _bearable(part: Part) -> Part:
    """Refuse a part with too many notes."""
    if len(part) > limits.NOTES_MAX:
        raise LimitError(f"part {part.name!r} has more than {limits.NOTES_MAX} notes", mend="give a shorter take")
    return part


def _chordal(part: Part, quarter: float) -> float:
    """Share of the notes that begin together with another, or nearly."""
    near = np.diff(part.onset) <= TOGETHER * quarter
    return float(np.mean(np.append(near, False) | np.insert(near, 0, False)))


def _with_ends(part: Part, quarter: float, found: Findings) -> Part:
    """The part with an end for every note."""
    empty = (part.end >= 0) & (part.end <= part.onset)
    if empty.any() and not empty.all():
        count_at(found, "note", "without length left out", part.onset[empty])
        part = part.only(~empty)
    starts = np.unique(part.onset)
    later = np.searchsorted(starts, part.onset, side="right")
    following = np.append(starts, max(part.track_end, int(starts[-1]) + 1))[later]
    missing = part.end <= part.onset
    end = np.where(missing, np.minimum(following, part.onset + int(OPEN_LENGTH * quarter)), part.end)
    count_at(found, "note", "without an end held to the next one", part.onset[missing])
    return replace(part, end=np.maximum(end, part.onset + 1))
