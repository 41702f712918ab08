"""A melody from what other programs hold, and back: arrays, frames, music21's streams.

Conventions: times are quarter notes outside, ticks inside; whatever is mended is told in a remark, as the readers do.
music21 is loaded only by whoever hands over or asks for a stream.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError, MissingLibraryError, UsageError, WrongTypeError
from stylemeter.music.chords.symbols import lay_chords, parse_symbol
from stylemeter.music.keys import estimate, parse_key
from stylemeter.music.melody import Chord, Key, Melody, grid_columns
from stylemeter.music.meter import TICKS, Bars, Meter, lay_bars, parse_meter, plain_bars, regular_spans

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["from_arrays", "from_frame", "from_music21", "to_frame", "to_music21"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Spans = list[tuple[int, int]]

#: Latest time, in quarter notes, that a melody can mean (a day at 69 a minute); beyond it, other units were meant.
QUARTERS_MAX = 100_000.0
_METERS = 'give "4/4", or pairs: [(0, "4/4"), (16, "3/4")]'
#: Columns a melody may have beside its notes, and what they hold.
MARKS: dict[str, type[np.generic]] = {
    "technique": np.int64,
    "onset_seconds": np.float64,
    "strings": np.int64,
    "frets": np.int64,
    "phrase_ends": np.bool_,
    "confidence": np.float64,
}
#: What a table, where a row is a note, calls them otherwise.
_SINGULAR = {"strings": "string", "frets": "fret", "phrase_ends": "phrase_end"}
#: What a frame of notes says beside its columns lies in its `attrs` under this name.
ATTRS = "stylemeter"


@dataclass(frozen=True, slots=True)
class Notes:
    """Columns of a melody before they are laid on the grid: sorted, one note at an onset.

    `marks` are the columns of `MARKS` that are there.
    """

    onset: Ints
    pitch: Floats
    duration: Ints | None
    marks: dict[str, Any]
    remarks: tuple[str, ...]

    @property
    def end(self) -> int:
        """Tick at which the last note ends; the one after its onset where nobody knows."""
        last = int(self.onset[-1]) + 1
        return last if self.duration is None else max(last, int((self.onset + self.duration).max()))


# -- arrays ------------------------------------------------------------------------------------------------------


def from_arrays(
    onset: npt.ArrayLike,
    pitch: npt.ArrayLike,
    duration: npt.ArrayLike | None = None,
    *,
    meter: str | Sequence[tuple[float, str]] = "4/4",
    pickup: float = 0.0,
    key: str | Key | None = None,
    chords: str | Sequence[tuple[float, str]] | None = None,
    tempo: float | None = None,
    title: str = "",
    part: str = "",
    tuning: Sequence[int] | None = None,
    **marks: npt.ArrayLike | None,
) -> Melody:
    """See `Melody.from_arrays`; `marks` are columns of `MARKS`."""
    notes = _notes(onset, pitch, duration, marks)
    meters = _meters(meter)
    if not 0 <= pickup < QUARTERS_MAX:
        raise UsageError(f"a pickup can't be {pickup:g} quarter notes long", mend="give its length, or 0 for none")
    bars = _bars(notes, meters, round(pickup * TICKS))
    laid = _chords(chords, meters, bars, int(notes.onset[0]), notes.end)
    more = {"tempo": tempo, "title": title, "part": part, "tuning": None if tuning is None else tuple(tuning)}
    return _melody(notes, meters, bars, key=key, chords=laid, source="arrays", **more)


def _notes(
    onset: npt.ArrayLike,
    pitch: npt.ArrayLike,
    duration: npt.ArrayLike | None,
    marks: Mapping[str, npt.ArrayLike | None] | None = None,
) -> Notes:
    """Columns, checked and sorted; of notes that begin together the top one is kept."""
    at, height = _numbers("onset", onset), _numbers("pitch", pitch)
    there = {"pitch": pitch, "duration": duration, **(marks or {})}
    columns = {name: _numbers(name, given) for name, given in there.items() if given is not None}
    for name, column in columns.items():
        if len(column) != len(at):
            raise InputError(f"{len(at)} onsets and {len(column)} of {name}", mend="give one of each a note")
    if not len(at):
        raise InputError("no notes in it", mend="give at least one")
    long = columns.get("duration")
    _check_units(at, height, long)
    ticks = np.rint(at * TICKS).astype(np.int64)
    # sorted by onset, then pitch: the last of those that begin together is the top one
    order = np.lexsort((height, ticks))
    order = order[np.append(np.diff(ticks[order]) > 0, True)]
    lower = len(ticks) - len(order)
    told = f"{lower} lower note{'' if lower == 1 else 's'} that begin{'s' if lower == 1 else ''} with another left out"
    return Notes(
        ticks[order],
        height[order],
        None if long is None else np.maximum(1, np.rint(long[order] * TICKS)).astype(np.int64),
        {name: columns[name][order].astype(kind) for name, kind in MARKS.items() if name in columns},
        (told,) if lower else (),
    )


def _check_units(onset: Floats, pitch: Floats, duration: Floats | None) -> None:
    """Refuse what is likely to be in other units."""
    latest = float(np.abs(onset).max())
    if latest > QUARTERS_MAX:
        raise InputError(f"onsets reach {latest:g}", mend="give them in quarter notes, not in ticks")
    if float(pitch.min()) < 0 or float(pitch.max()) > 127:
        raise InputError(f"pitches reach from {pitch.min():g} to {pitch.max():g}", mend="give MIDI note numbers")
    if duration is not None and (float(duration.min()) <= 0 or float(duration.max()) > QUARTERS_MAX):
        raise InputError("durations must be greater than 0", mend="give them in quarter notes, or leave them all out")


def _numbers(name: str, given: npt.ArrayLike) -> Floats:
    """A column of finite numbers."""
    try:
        column = np.asarray(given, dtype=float)
    except (TypeError, ValueError):
        raise WrongTypeError(f"{name} can't be read as numbers", mend="give one number a note") from None
    if column.ndim != 1:
        raise InputError(f"{name} has {column.ndim} dimensions", mend="give one number a note")
    if not np.all(np.isfinite(column)):
        raise InputError(f"{name} holds what is no number", mend="leave such notes out, or the whole column")
    return column


def _meters(meter: str | Sequence[tuple[float, str]]) -> tuple[Meter, ...]:
    """Meters with the tick each begins at."""
    if isinstance(meter, str):
        return (parse_meter(meter),)
    try:
        changes = sorted((round(float(at) * TICKS), text) for at, text in meter)
    except (TypeError, ValueError):
        raise WrongTypeError("a meter can't be understood", mend=_METERS) from None
    if not changes:
        raise UsageError("no meter given", mend=_METERS)
    return tuple(parse_meter(text, at) for at, text in changes)


def _bars(notes: Notes, meters: Sequence[Meter], pickup: int) -> Bars:
    """Bar lines from tick 0, after a pickup where there is one."""
    if not pickup:
        return plain_bars(notes.onset, notes.duration, meters)
    first = min(0, int(notes.onset[0]))
    spans = [(first, pickup - first), *regular_spans(meters, pickup, max(notes.end, pickup + 1))]
    return lay_bars(spans, meters)


def _chords(
    chords: str | Sequence[tuple[float, str]] | None, meters: Sequence[Meter], bars: Bars, first: int, end: int
) -> tuple[Chord, ...] | None:
    """Chords bar by bar, or each with its onset."""
    if chords is None:
        return None
    if isinstance(chords, str):
        return lay_chords(chords, meters, bars, first, end)
    try:
        return tuple(sorted((parse_symbol(text, round(float(at) * TICKS)) for at, text in chords), key=_onset))
    except (TypeError, ValueError):
        raise WrongTypeError("chords can't be understood", mend='give "Dm7 | G7", or pairs: [(0, "Dm7")]') from None


def _onset(chord: Chord) -> int:
    return chord.onset


def _melody(notes: Notes, meters: Sequence[Meter], bars: Bars, *, key: str | Key | None, **more: Any) -> Melody:
    """The notes on the grid; a key that nobody names is estimated."""
    bar, beat, weight = grid_columns(notes.onset, meters, bars)
    found = parse_key(key) if isinstance(key, str) else key
    remarks = notes.remarks + tuple(more.pop("remarks", ()))
    if found is None:
        time = np.bincount(np.floor(notes.pitch + 0.5).astype(int) % 12, weights=notes.duration, minlength=12)
        found = estimate(time)
        told = "no key given, and none to be guessed from these notes"
        remarks += (told if found is None else f"no key given: {found.name} estimated from the notes",)
    return Melody(
        onset=notes.onset,
        duration=notes.duration,
        pitch=notes.pitch,
        bar=bar,
        beat=beat,
        weight=weight,
        meters=tuple(meters),
        bars=bars,
        key=found,
        remarks=remarks,
        **notes.marks,
        **more,
    )


# -- frames ------------------------------------------------------------------------------------------------------


def to_frame(melody: Melody) -> pd.DataFrame:
    """See `Melody.to_frame`."""
    import pandas as pd

    columns: dict[str, object] = {"onset": melody.onset / TICKS}
    if melody.duration is not None:
        columns["duration"] = melody.duration / TICKS
    columns |= {"pitch": melody.pitch, "bar": melody.bar, "beat": melody.beat, "weight": melody.weight}
    columns |= {_SINGULAR.get(n, n): getattr(melody, n) for n in MARKS if getattr(melody, n) is not None}
    frame = pd.DataFrame(columns)
    key, chords, bars = melody.key, melody.chords, melody.bars
    frame.attrs[ATTRS] = {
        "meters": [[m.onset, m.numerator, m.denominator] for m in melody.meters],
        "bars": [bars.line.tolist(), bars.end.tolist(), bars.number.tolist()],
        "key": key and [key.tonic, key.mode, key.source, key.runner_up, key.margin],
        "chords": chords and [[c.onset, c.root, c.kind, list(c.pitch_classes)] for c in chords],
        "tempo": melody.tempo,
        "tuning": melody.tuning and list(melody.tuning),
        "guessed_share": melody.guessed_share,
        "remarks": list(melody.remarks),
        **{name: getattr(melody, name) for name in ("title", "part", "path", "source")},
    }
    return frame


def from_frame(frame: pd.DataFrame, **options: Any) -> Melody:
    """See `Melody.from_frame`."""
    columns = getattr(frame, "columns", None)
    if columns is None:
        raise WrongTypeError.of("a note table", frame, "a data frame with the columns onset and pitch")
    missing = [name for name in ("onset", "pitch") if name not in columns]
    if missing:
        raise InputError(f"no column {missing[0]!r}", mend="name them onset, pitch and, where known, duration")
    names = {n: _SINGULAR.get(n, n) for n in ("duration", *MARKS)}
    given = {n: frame[c] for n, c in names.items() if c in columns and not frame[c].isna().all()}
    kept = frame.attrs.get(ATTRS)
    if isinstance(kept, Mapping) and not options:
        return _restored(_notes(frame["onset"], frame["pitch"], given.pop("duration", None), given), kept)
    more: dict[str, Any] = {**given, **options}
    return from_arrays(frame["onset"], frame["pitch"], **more)


def _restored(notes: Notes, kept: Mapping[str, Any]) -> Melody:
    """A melody of ours again, its own bars kept."""
    meters = tuple(Meter(*m) for m in kept["meters"])
    line, end, number = (np.array(column, dtype=np.int64) for column in kept["bars"])
    more = {name: kept[name] for name in ("tempo", "title", "part", "path", "source", "guessed_share", "remarks")}
    bars = Bars(line, end, number)
    if int(notes.onset[0]) < int(line[0]) or int(notes.onset[-1]) >= int(end[-1]):
        bars = plain_bars(notes.onset, notes.duration, meters)
    more["tuning"] = kept["tuning"] and tuple(kept["tuning"])
    more["chords"] = kept["chords"] and tuple(Chord(t, root, kind, tuple(pcs)) for t, root, kind, pcs in kept["chords"])
    return _melody(notes, meters, bars, key=kept["key"] and Key(*kept["key"]), **more)


# -- music21 -----------------------------------------------------------------------------------------------------


def from_music21(stream: Any, part: str | int | None = None) -> Melody:
    """See `Melody.from_music21`."""
    try:
        import music21
    except ImportError:
        raise MissingLibraryError.of("music21", "corpus") from None
    if not isinstance(stream, music21.stream.Stream):
        raise WrongTypeError.of("a stream", stream, "a score, part or stream of music21")
    voice = _part(stream, part).toSoundingPitch()
    flat = voice.flatten()
    rows, remarks = _sounding(flat.notes)
    if not rows:
        raise InputError("no notes in it", mend="choose another part")
    signatures = list(flat.getElementsByClass("TimeSignature"))
    meters = tuple({_ticks(s.offset): Meter(_ticks(s.offset), s.numerator, s.denominator) for s in signatures}.values())
    if not meters:
        meters = (Meter(0, 4, 4),)
        remarks.append("no meter given: 4/4 assumed")
    notes = _notes([t / TICKS for t, _, _ in rows], [p for _, _, p in rows], [max(1, d) / TICKS for _, d, _ in rows])
    spans = _spans(voice, notes, meters)
    key, chords = _key_of(flat), _chords_of(flat, remarks)
    tempo = next((m.getQuarterBPM() for m in flat.getElementsByClass("MetronomeMark")), None)
    metadata = stream.metadata
    return _melody(
        notes,
        meters,
        lay_bars(spans, meters) if spans else plain_bars(notes.onset, notes.duration, meters),
        key=key,
        chords=chords,
        tempo=None if tempo is None else float(tempo),
        title=(metadata.title or "") if metadata is not None else "",
        part=str(voice.partName or "") if hasattr(voice, "partName") else "",
        source="music21",
        remarks=remarks,
    )


def _ticks(offset: Any) -> int:
    """Ticks of music21's quarter lengths (numbers and fractions)."""
    ticks: int = round(offset * TICKS)
    return ticks


def _part(stream: Any, part: str | int | None) -> Any:
    """The part asked for: by name, by number from 1, else the one with most notes."""
    parts = list(stream.parts) if hasattr(stream, "parts") else []
    if not parts:
        return stream
    if part is None:
        return max(parts, key=lambda p: len(p.flatten().notes))
    names = [str(p.partName or p.id) for p in parts]
    if isinstance(part, int) and 1 <= part <= len(parts):
        return parts[part - 1]
    if part in names:
        return parts[names.index(str(part))]
    raise UsageError(f"no part {part!r}", mend="there is: " + ", ".join(names))


def _sounding(found: Iterable[Any]) -> tuple[list[tuple[int, int, float]], list[str]]:
    """Onset, duration and pitch of the notes, ties merged, the top one of a chord; what was left out is told."""
    rows: list[tuple[int, int, float]] = []
    graces = unpitched = stacked = 0
    for note in found:
        if "ChordSymbol" in note.classes or "NoChord" in note.classes:
            continue
        if note.duration.isGrace:
            graces += 1
            continue
        pitches = getattr(note, "pitches", ())
        if not pitches:
            unpitched += 1
            continue
        stacked += len(pitches) - 1
        top = max(pitches, key=lambda p: p.ps)
        tie = next((n.tie for n in getattr(note, "notes", [note]) if n.pitch is top), note.tie)
        start, length = _ticks(note.offset), _ticks(note.quarterLength)
        if tie is not None and tie.type in ("stop", "continue") and rows:
            onset, before, pitch = rows[-1]
            if onset + before == start and pitch == float(top.ps):
                rows[-1] = (onset, before + length, pitch)
                continue
        rows.append((start, length, float(top.ps)))
    counts = ((graces, "grace note(s) left out"), (unpitched, "note(s) without a pitch left out"))
    remarks = [f"{count} {what}" for count, what in counts if count]
    if stacked:
        remarks.append(f"{stacked} lower note(s) of chords left out: the top note is kept")
    return rows, remarks


def _spans(voice: Any, notes: Notes, meters: Sequence[Meter]) -> Spans:
    """The printed bars; none where the stream has no measures that hold all notes."""
    starts = [_ticks(m.offset) for m in voice.getElementsByClass("Measure")]
    if not starts:
        return []
    last = voice.getElementsByClass("Measure").last()
    ends = [*starts[1:], starts[-1] + _ticks(last.highestTime or last.barDuration.quarterLength)]
    spans = [(a, b - a) for a, b in zip(starts, ends, strict=True) if b > a]
    if not spans or spans[0][0] > int(notes.onset[0]):
        return []
    covered = spans[-1][0] + spans[-1][1]
    return spans if covered >= notes.end else spans + regular_spans(meters, covered, notes.end)


def _key_of(flat: Any) -> Key | None:
    """The key declared, where its mode is."""
    for signature in flat.getElementsByClass("KeySignature"):
        tonic, mode = getattr(signature, "tonic", None), getattr(signature, "mode", None)
        if tonic is not None and mode:
            return parse_key(f"{tonic.name.replace('-', 'b')} {mode}", "declared")
    return None


def _chords_of(flat: Any, remarks: list[str]) -> tuple[Chord, ...] | None:
    """Chord symbols; one that is not understood is told and left out."""
    chords: list[Chord] = []
    for symbol in flat.getElementsByClass("ChordSymbol"):
        onset, figure = _ticks(symbol.offset), "N" if "NoChord" in symbol.classes else symbol.figure
        try:
            chords.append(parse_symbol(figure.replace("-", "b"), onset))
        except InputError:
            remarks.append(f"chord symbol {figure!r} not understood: left out")
    return tuple(chords) or None


def to_music21(melody: Melody) -> Any:
    """See `Melody.to_music21`."""
    try:
        import music21
    except ImportError:
        raise MissingLibraryError.of("music21", "corpus") from None
    part = music21.stream.Part()
    part.partName = melody.part or None
    chords = list(melody.chords or ())
    for number, start, end in _printed(melody):
        measure = music21.stream.Measure(number=number)
        if number == 0:
            measure.paddingLeft = (melody.meters[0].bar - (end - start)) / TICKS
        for meter in melody.meters:
            if start <= meter.onset < end or (meter is melody.meters[0] and not len(part)):
                measure.insert(max(0, meter.onset - start) / TICKS, music21.meter.TimeSignature(str(meter)))
        if not len(part):
            _insert_head(music21, melody, measure)
        _insert_notes(music21, melody, measure, start, end)
        for chord in [c for c in chords if start <= c.onset < end]:
            measure.insert((chord.onset - start) / TICKS, _chord_symbol(music21, chord))
        part.insert(start / TICKS, measure)
    score = music21.stream.Score([part])
    score.metadata = music21.metadata.Metadata(title=melody.title)
    return score


def _printed(melody: Melody) -> list[tuple[int, int, int]]:
    """Number, start and end of every printed bar; a pickup begins with its first note."""
    rows: dict[int, tuple[int, int]] = {}
    bars = melody.bars
    for line, end, number in zip(bars.line.tolist(), bars.end.tolist(), bars.number.tolist(), strict=True):
        start = max(line, int(melody.onset[0])) if number == 0 else line
        rows[number] = (min(start, rows.get(number, (start, end))[0]), end)
    return [(number, start, end) for number, (start, end) in rows.items()]


def _insert_head(music21: Any, melody: Melody, measure: Any) -> None:
    """Key and tempo, at the head of the first bar."""
    key = melody.key
    if key is not None and key.mode in music21.key.modeSharpsAlter:
        measure.insert(0, music21.key.Key(key.name.split()[0].replace("b", "-"), key.mode))
    if melody.tempo is not None:
        measure.insert(0, music21.tempo.MetronomeMark(number=melody.tempo))


def _insert_notes(music21: Any, melody: Melody, measure: Any, start: int, end: int) -> None:
    """The notes that sound in a bar, tied over its lines, and the rests between them."""
    if melody.duration is None:
        raise UsageError("this source has no durations", mend="give them: a stream's notes need them")
    # a note that rings on into the next is written up to it, as one line
    stops = np.minimum(melody.onset + melody.duration, np.append(melody.onset[1:], np.iinfo(np.int64).max))
    now = start
    for i in np.flatnonzero((melody.onset < end) & (stops > start)).tolist():
        onset, stop = int(melody.onset[i]), int(stops[i])
        low, high = max(start, onset), min(end, stop)
        if low > now:
            measure.insert((now - start) / TICKS, music21.note.Rest(quarterLength=(low - now) / TICKS))
        note = music21.note.Note(music21.pitch.Pitch(ps=float(melody.pitch[i])), quarterLength=(high - low) / TICKS)
        if onset < start or stop > end:
            note.tie = music21.tie.Tie("start" if onset >= start else "stop" if stop <= end else "continue")
        measure.insert((low - start) / TICKS, note)
        now = high
    if now < end:
        measure.insert((now - start) / TICKS, music21.note.Rest(quarterLength=(end - now) / TICKS))


def _chord_symbol(music21: Any, chord: Chord) -> Any:
    """A chord as music21's symbol, its figure our own."""
    if chord.root is None:
        return music21.harmony.NoChord()
    names = ("C", "D-", "D", "E-", "E", "F", "F#", "G", "A-", "A", "B-", "B")
    symbol = music21.harmony.ChordSymbol()
    symbol.pitches = [music21.pitch.Pitch(names[p]) for p in chord.pitch_classes]
    symbol.root(music21.pitch.Pitch(names[chord.root]))
    symbol.figure = names[chord.root].replace("-", "b") + chord.kind
    return symbol
