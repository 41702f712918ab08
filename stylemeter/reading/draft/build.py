"""From what a reader found to a `Melody`: the one place where notes are sorted, reduced and laid on the grid.

Every reader hands over a `Draft`; nothing is mended without a remark.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from stylemeter.errors import InputError
from stylemeter.music import keys
from stylemeter.music.melody import Chord, Key, Melody, Technique, grid_columns
from stylemeter.music.meter import Meter, lay_bars, meter_at, regular_spans
from stylemeter.reading.intake import limits

__all__ = ["Draft", "RawNote", "build", "count_words"]


@dataclass(frozen=True, slots=True)
class RawNote:
    """One sounding note as a reader found it, ties already merged.

    Attributes
    ----------
    onset : int
        Ticks from the start of the piece.
    duration : int or None
        Ticks, greater than 0; None where the source has no durations.
    pitch : float
        Sounding MIDI note number.
    technique : Technique or None
        None where the source cannot say.
    seconds : float or None
        Onset in seconds where the source has it.
    string, fret : int
        Where it is played, as in `Melody`; -1 where the source doesn't say.
    """

    onset: int
    duration: int | None
    pitch: float
    technique: Technique | None = None
    seconds: float | None = None
    string: int = -1
    fret: int = -1


@dataclass(frozen=True, slots=True)
class Draft:
    """What a reader found.

    Attributes
    ----------
    notes : sequence of RawNote
        In any order; several at one onset are reduced to the top one and counted.
    meters : sequence of Meter
        Empty: 4/4 is assumed, with a remark.
    spans : sequence of (start, length) or None
        The printed bars in ticks; None lays full bars from `first_line`.
    first_line : int
        Where the first bar line lies when `printed_bars` is None.
    pickup : bool
        Whether a short first bar is a pickup.
    key : Key or None
        As declared. None: estimated from the notes, among `signature`'s two keys when that is given.
    signature : int or None
        Sharps (> 0) or flats (< 0) of a signature whose mode the file does not say.
    rhythm_known : bool
        As in `Melody`; without it bars stay as they are printed, however short.
    chords : sequence of Chord or None
        None where the source has none.
    tuning : sequence of int or None
        As in `Melody`.
    phrase_ends : sequence of int or None
        Ticks: a phrase ends with the last note that starts at or before each. None where the source marks none.
    """

    notes: Sequence[RawNote]
    meters: Sequence[Meter] = ()
    spans: Sequence[tuple[int, int]] | None = None
    first_line: int = 0
    pickup: bool = True
    key: Key | None = None
    signature: int | None = None
    chords: Sequence[Chord] | None = None
    tuning: Sequence[int] | None = None
    phrase_ends: Sequence[int] | None = None
    tempo: float | None = None
    title: str = ""
    part: str = ""
    source: str = ""
    rhythm_known: bool = True
    guessed_share: float = 0.0
    remarks: list[str] = field(default_factory=list)


def count_words(number: int, one: str, many: str = "") -> str:
    """A count with its noun.

    Examples
    --------
    >>> count_words(1, "grace note"), count_words(3, "grace note")
    ('1 grace note', '3 grace notes')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def build(draft: Draft) -> Melody:
    """Make the melody a reader found.

    Returns
    -------
    Melody

    Raises
    ------
    InputError
        If there are no notes.
    """
    remarks = list(draft.remarks)
    notes = _single_line(draft.notes, remarks)
    if not notes:
        raise InputError("no notes in it", mend="choose another part or check the file in a notation editor")
    meters = _meters(draft, remarks)
    onset = np.array([n.onset for n in notes], dtype=np.int64)
    duration = _durations(notes, remarks)
    last = int(onset[-1]) + (1 if duration is None else int(duration[-1]))
    spans = _cover(draft, meters, int(onset[0]), max(last, int(onset[-1]) + 1))
    bars = lay_bars(spans, meters, pickup=draft.pickup, join=draft.rhythm_known)
    bar, beat, weight = grid_columns(onset, meters, bars)
    pitch = np.array([n.pitch for n in notes], dtype=float)
    known = any(n.technique is not None for n in notes)
    timed = all(n.seconds is not None for n in notes)
    placed = any(n.string >= 0 and n.fret >= 0 for n in notes)
    return Melody(
        onset=onset,
        duration=duration,
        pitch=pitch,
        bar=bar,
        beat=beat,
        weight=weight,
        meters=tuple(meters),
        bars=bars,
        technique=np.array([int(n.technique or 0) for n in notes], dtype=np.int64) if known else None,
        key=_key(draft, pitch, duration, remarks),
        chords=tuple(sorted(draft.chords, key=lambda c: c.onset)) if draft.chords else None,
        tempo=_tempo(draft, remarks),
        onset_seconds=np.array([n.seconds for n in notes], dtype=float) if timed else None,
        strings=np.array([n.string for n in notes], dtype=np.int64) if placed else None,
        frets=np.array([n.fret for n in notes], dtype=np.int64) if placed else None,
        tuning=tuple(draft.tuning) if placed and draft.tuning else None,
        phrase_ends=_phrase_ends(onset, draft.phrase_ends),
        title=draft.title,
        part=draft.part,
        source=draft.source,
        remarks=tuple(remarks),
        rhythm_known=draft.rhythm_known,
        guessed_share=draft.guessed_share,
    )


def _tempo(draft: Draft, remarks: list[str]) -> float | None:
    """The tempo, where it can be meant."""
    if draft.tempo is None or limits.TEMPO_MIN <= draft.tempo <= limits.TEMPO_MAX:
        return draft.tempo
    remarks.append(f"tempo {draft.tempo:g} is no tempo: left out")
    return None


def _phrase_ends(onset: np.ndarray, ends: Sequence[int] | None) -> np.ndarray | None:
    """Which notes end a phrase, the last one among them."""
    if not ends:
        return None
    last = np.searchsorted(onset, np.array(ends, dtype=np.int64), side="right") - 1
    found = np.zeros(len(onset), dtype=bool)
    found[last[last >= 0]] = True
    found[-1] = True
    return found


def _single_line(notes: Sequence[RawNote], remarks: list[str]) -> list[RawNote]:
    """Sort by onset and keep the top note of every onset, counting the rest."""
    top: dict[int, RawNote] = {}
    stacked = 0
    for note in sorted(notes, key=lambda n: (n.onset, n.pitch, n.duration or 0)):
        stacked += note.onset in top
        top[note.onset] = note
    if stacked:
        remarks.append(f"{count_words(stacked, 'lower note')} of double stops or chords left out: the top note is kept")
    return list(top.values())


def _meters(draft: Draft, remarks: list[str]) -> list[Meter]:
    """Meters in order, one at a tick, 4/4 where there is none."""
    by_onset: dict[int, Meter] = {}
    for meter in sorted(draft.meters, key=lambda m: m.onset):
        by_onset[meter.onset] = meter
    kept: list[Meter] = []
    for meter in by_onset.values():
        if not kept or (meter.numerator, meter.denominator) != (kept[-1].numerator, kept[-1].denominator):
            kept.append(meter)
    if not kept:
        remarks.append("no meter given: 4/4 assumed; say it with --meter")
        kept.append(Meter(0, 4, 4))
    return kept


def _durations(notes: Sequence[RawNote], remarks: list[str]) -> np.ndarray | None:
    """Durations in ticks, or None where the source has none for some note."""
    missing = sum(n.duration is None for n in notes)
    if missing:
        if missing < len(notes):
            remarks.append(f"{count_words(missing, 'note')} without a duration: durations are left out altogether")
        return None
    return np.array([n.duration for n in notes], dtype=np.int64)


def _cover(draft: Draft, meters: Sequence[Meter], first: int, end: int) -> list[tuple[int, int]]:
    """Printed bars, with full bars added where notes lie before the first or after the last of them."""
    spans = [s for s in draft.spans or () if s[1] > 0]
    if not spans:
        start = draft.first_line
        full = meter_at(meters, start).bar
        while start > first:
            start -= full
        return regular_spans(meters, start, end)
    while spans[0][0] > first:
        spans.insert(0, (spans[0][0] - meter_at(meters, first).bar, meter_at(meters, first).bar))
    covered = spans[-1][0] + spans[-1][1]
    return spans if covered >= end else spans + regular_spans(meters, covered, end)


#: The major key of a signature, by sharps, as pitch class.
def _signature_keys(sharps: int) -> tuple[tuple[int, str], tuple[int, str]]:
    """Major and minor key of a signature."""
    major = (7 * sharps) % 12
    return (major, "major"), ((major + 9) % 12, "minor")


def _key(draft: Draft, pitch: np.ndarray, duration: np.ndarray | None, remarks: list[str]) -> Key | None:
    """Declared key, checked against the notes, or the estimate; a doubt is told in a remark."""
    classes = np.floor(pitch + 0.5).astype(int) % 12
    time = np.bincount(classes, weights=duration, minlength=12).astype(float)
    if draft.key is not None:
        _doubt(draft.key, time, remarks)
        return draft.key
    among = None if draft.signature is None else _signature_keys(draft.signature)
    key = keys.estimate(time, among)
    if key is None:
        remarks.append("key not told by the file and not to be guessed from these notes: give it with --key")
        return None
    why = "no key in the file" if among is None else "the signature does not say the mode"
    remarks.append(
        f"{why}: {key.name} estimated from the notes (next best {key.runner_up}, {key.margin:.2f} behind); "
        "override with --key"
        if key.margin is not None
        else f"{why}: {key.name} estimated from the notes; override with --key"
    )
    return key


def _doubt(key: Key, time: np.ndarray, remarks: list[str]) -> None:
    """Remark on a declared major or minor key that the notes fit far worse than another."""
    fits = keys.rank_keys(time)
    own = next((f for f in fits if (f.tonic, f.mode) == (key.tonic, key.mode)), None)
    if own and fits[0].correlation - own.correlation > DOUBT_MARGIN:
        remarks.append(f"the file declares {key.name}, but the notes fit {fits[0].name} better; override with --key")


#: Correlation by which another key must fit better before a declared key is doubted.
DOUBT_MARGIN = 0.3
