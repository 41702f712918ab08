"""A MIDI part as a draft: written onsets as they are, performed ones quantised; meter, key and chords beside them.

Conventions: as in `reading.midi`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError, LimitError
from stylemeter.music.chords.symbols import parse_label, parse_symbol
from stylemeter.music.keys import parse_key
from stylemeter.music.melody import Chord, Key, Technique
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.draft.build import Draft, RawNote
from stylemeter.reading.draft.repairs import Findings
from stylemeter.reading.draft.strings import OPEN
from stylemeter.reading.draft.user_options import parse_meter
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.midi.bends import sounding
from stylemeter.reading.midi.clock import Clock, grid_share, is_written, on_grid, written_ticks
from stylemeter.reading.midi.parts import Part, Signs
from stylemeter.reading.performed.draft import (
    CLOSED,
    CUT,
    TOGETHER,
    Take,
    bar_namer,
    check_span,
    close_gaps,
    count_at,
    lay,
    settle,
)

__all__ = ["Tune", "draft_of"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

#: Share of the ends on sixteenths, triplets or 32nds from which durations are written ones, not how long keys were
#: held (files whose onsets were put on a grid after playing often keep the played ends).
WRITTEN_ENDS = 0.75
END_PARTS = (3, 4, 8)
METERS_MAX = 1000
NO_CHORD = Chord(0, None, "N", ())


@dataclass(frozen=True, slots=True)
class Tune:
    """One tune's part, what holds over it, what has to be told and what was mended (places in file ticks).

    `division` is 0 where the file counts in seconds.
    """

    part: Part
    signs: Signs
    clock: Clock
    division: int
    remarks: list[str]
    found: Findings


@dataclass(frozen=True, slots=True)
class _Beats:
    """Where the beats of a performed tune lie: on the file's own ticks, or at an even tempo from a first beat."""

    clock: Clock
    division: int
    tempo: float | None
    first_beat: float | None

    def quarters(self, ticks: Ints) -> Floats:
        """Quarter notes from the first bar line."""
        if self.tempo is not None:
            return (self.clock.seconds(ticks) - (self.first_beat or 0.0)) * (self.tempo / 60)
        first = self.clock.ticks(self.first_beat) if self.first_beat is not None else 0.0
        return np.asarray((ticks - first) / self.division)

    def pace(self, ticks: Ints) -> Floats:
        """Seconds a quarter note lasts."""
        if self.tempo is not None:
            return np.full(len(ticks), 60 / self.tempo)
        return self.clock.tick_seconds(ticks) * self.division


def draft_of(tune: Tune, options: ReadOptions) -> Draft:
    """The tune as written, or as performed.

    Raises
    ------
    InputError
        If the file has no beats and the options say none.
    LimitError
        If the melody is too long.
    """
    if options.tempo is None and not tune.division:
        raise InputError("counts in seconds (SMPTE) and has no beats", mend="say them with --tempo and --first-beat")
    meters = _meters(tune)
    key = _key(tune)
    if tune.division and is_written(np.unique(tune.part.onset), tune.division):
        return replace(_written(tune, meters, options), key=key, tempo=_tempo(tune))
    return replace(_performed(tune, meters, options), key=key, tempo=options.tempo or _tempo(tune))


def _meters(tune: Tune) -> list[Meter]:
    """Meters in force up to the last note, only where they change."""
    last = int(tune.part.onset[-1])
    division = tune.division or TICKS
    meters: list[Meter] = []
    for tick, (numerator, denominator) in tune.signs.meters:
        if tick > last and meters:
            break
        onset = int(written_ticks(np.array([tick]), division)[0])
        while meters and meters[-1].onset == onset:
            meters.pop()
        if not meters or (meters[-1].numerator, meters[-1].denominator) != (numerator, denominator):
            meters.append(Meter(onset, numerator, denominator))
    if meters and meters[0].onset >= TICKS // 4 and (meters[0].numerator, meters[0].denominator) != (4, 4):
        meters.insert(0, Meter(0, 4, 4))
        tune.remarks.append("no meter before the first one in the file: 4/4 taken till there, as MIDI has it")
    if len(meters) > METERS_MAX:
        raise LimitError(f"more than {METERS_MAX} changes of meter", mend="give a shorter take")
    return meters


def _written(tune: Tune, meters: list[Meter], options: ReadOptions) -> Draft:
    """The draft of a tune whose onsets are exact."""

    def onset_of(ticks: Ints) -> Ints:
        return written_ticks(ticks, tune.division)

    tune = _struck_together(tune)
    check_span(float(tune.part.end.max() / tune.division), meters)
    onset = tune.part.onset
    count_at(tune.found, "onset", "on no simple part of a beat, kept exactly", onset[~on_grid(onset, tune.division)])
    draft = Draft(_written_notes(tune), meters, chords=_chords(tune, options.chord_text, onset_of))
    draft = replace(draft, tuning=None if tune.part.places is None else OPEN[::-1])
    return replace(draft, remarks=_told(tune, draft, onset_of))


def _struck_together(tune: Tune) -> Tune:
    """The tune with notes strummed a moment after or before others put at the onset of those that are on the grid."""
    part = tune.part
    onset = part.onset.copy()
    exact = np.unique(onset[on_grid(onset, tune.division)])
    off = np.flatnonzero(~on_grid(onset, tune.division))
    if not len(exact) or not len(off):
        return tune
    after = np.searchsorted(exact, onset[off]).clip(1, len(exact) - 1) if len(exact) > 1 else np.zeros(len(off), int)
    before = exact[np.maximum(after - 1, 0)]
    nearest = np.where(np.abs(onset[off] - before) <= np.abs(exact[after] - onset[off]), before, exact[after])
    apart = np.abs(tune.clock.seconds(onset[off]) - tune.clock.seconds(nearest))
    strummed = apart < TOGETHER
    count_at(tune.found, "note", "strummed within 30 ms of another put at its onset", onset[off[strummed]])
    onset[off[strummed]] = nearest[strummed]
    order = np.argsort(onset, kind="stable")
    part = replace(part, onset=onset, end=np.maximum(part.end, onset + 1))
    return replace(tune, part=part.only(order))


def _told(tune: Tune, draft: Draft, onset_of: Callable[[Ints], Ints]) -> list[str]:
    """Every remark of a tune, places told as bars."""
    name = bar_namer(draft)
    return tune.remarks + tune.found.lines(lambda tick: name(int(onset_of(np.array([tick]))[0])))


def _written_notes(tune: Tune) -> list[RawNote]:
    """Notes of a tune whose onsets are exact."""
    part = tune.part
    pitch, technique = sounding(part)
    places = part.places
    # The top note of each onset, the longest of doubled ones, comes last.
    order = np.lexsort((part.end, pitch, part.onset))
    onset = written_ticks(part.onset[order], tune.division)
    start = np.unique(onset)
    top = np.searchsorted(onset, start, side="right") - 1
    duration = _written_durations(start, order[top], tune)[np.searchsorted(start, onset)]
    seconds = tune.clock.seconds(part.onset[order])
    return [
        RawNote(
            int(onset[i]),
            int(duration[i]),
            float(pitch[index]),
            None if technique is None else Technique(int(technique[index])),
            float(seconds[i]) if tune.signs.tempos else None,
            *((-1, -1) if places is None else places[index].tolist()),
        )
        for i, index in enumerate(order.tolist())
    ]


def _written_durations(start: Ints, top: Ints, tune: Tune) -> Ints:
    """Durations of the top line: exact where the ends are, else with the gaps between held keys closed."""
    onset, end, division = tune.part.onset[top], tune.part.end[top], tune.division
    if grid_share(end, division, END_PARTS) < WRITTEN_ENDS:
        duration, closed, cut = close_gaps(start, onset / division, end / division)
        if len(closed):
            tune.remarks.append("the ends of its notes are played, not written")
            count_at(tune.found, "gap", CLOSED, onset[closed])
    else:
        following = np.append(start[1:], np.iinfo(np.int64).max)
        stop = written_ticks(end, division)
        cut = np.flatnonzero(stop > following)
        duration = np.maximum(np.minimum(stop, following) - start, 1)
    count_at(tune.found, "note", CUT, onset[cut])
    return duration


def _performed(tune: Tune, meters: list[Meter], options: ReadOptions) -> Draft:
    """The draft of a tune that was played in, on its own beats or on those the user says."""
    part, remarks = tune.part, tune.remarks
    if tune.division:
        share = grid_share(np.unique(part.onset), tune.division)
        remarks.append(f"played in, not written: {100 * share:.0f} % of its onsets lie on triplets or sixteenths")
    if options.tempo is None and not tune.signs.tempos:
        remarks.append("no tempo in the file: 120 quarter notes a minute taken, as MIDI has it; say it with --tempo")
    if options.tempo is not None or options.first_beat is not None:
        if len(meters) > 1:
            remarks.append("changes of meter left out: the beats are those given")
        meters = [replace(meter, onset=0) for meter in meters[:1]]
    beats = _Beats(tune.clock, tune.division, options.tempo, options.first_beat)
    pitch, technique = sounding(part)
    take = Take(
        beats.quarters(part.onset),
        beats.quarters(part.end),
        tune.clock.seconds(part.onset),
        beats.pace(part.onset),
        pitch,
        technique,
        part.places,
    )
    beaten = [parse_meter(options.meter)] if options.meter else meters or [Meter(0, 4, 4)]
    check_span(float(take.end.max() - min(take.onset.min(), 0.0)), meters)
    draft, shift = settle(lay(take, beaten), meters)
    sixteenth = TICKS // 4

    def onset_of(ticks: Ints) -> Ints:
        return np.round(beats.quarters(ticks) * 4).astype(np.int64) * sixteenth + shift

    tuning = None if take.places is None else OPEN[::-1]
    draft = replace(draft, chords=_chords(tune, options.chord_text, onset_of), tuning=tuning)
    return replace(draft, remarks=_told(tune, draft, onset_of) + draft.remarks)


def _tempo(tune: Tune) -> float | None:
    """Quarter notes a minute at the first note, where the file says them."""
    first = int(tune.part.onset[0])
    said = [tempo for tick, tempo in tune.signs.tempos if tick <= first] or [t for _, t in tune.signs.tempos[:1]]
    return round(60e6 / said[-1], 3) if said else None


def _key(tune: Tune) -> Key | None:
    """The first key the file declares."""
    names = list(dict.fromkeys(name for _, name in tune.signs.keys))
    if not names:
        return None
    key = parse_key(names[0], "declared")
    if len(names) > 1:
        tune.remarks.append(f"the file declares {len(names)} keys: the first, {key.name}, is taken")
    return key


def _chords(tune: Tune, prefix: str | None, onset_of: Callable[[Ints], Ints]) -> list[Chord] | None:
    """Chords of the text events that begin with a prefix, one entry a change."""
    texts = [
        (tick, text[len(prefix) :].strip()) for tick, text in tune.signs.texts if prefix and text.startswith(prefix)
    ]
    if not texts:
        return None
    if len(texts) > limits.CHORDS_MAX:
        raise LimitError(f"more than {limits.CHORDS_MAX} chords", mend="give a shorter take")
    onsets = onset_of(np.array([tick for tick, _ in texts], dtype=np.int64)).tolist()
    known = {label: _chord(label) for label in dict.fromkeys(label for _, label in texts)}
    chords: list[Chord] = []
    for onset, (_, label) in zip(onsets, texts, strict=True):
        chord = replace(known[label] or NO_CHORD, onset=onset)
        if not chords or replace(chords[-1], onset=onset) != chord:
            chords.append(chord)
    strange = {label for label, chord in known.items() if chord is None}
    for tick, label in texts:
        if label in strange:
            tune.found.add("chord", "not understood: no chord taken there", tick)
    return chords


def _chord(label: str) -> Chord | None:
    """A chord written either way, or None."""
    for parse in (parse_label, parse_symbol):
        try:
            return parse(label, 0)
        except InputError:
            continue
    return None
