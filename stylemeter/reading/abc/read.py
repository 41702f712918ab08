"""Reading ABC: one melody a tune.

Conventions: a tune is read as written (repeats not played out, every ending once); of several voices the one
with most notes is taken.

References
----------
.. [1] The ABC music standard 2.1 (December 2011).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace
from itertools import accumulate

from stylemeter.errors import InputError, LimitError, UnknownNameError
from stylemeter.music.melody import Chord, Key, Melody
from stylemeter.music.meter import Meter, lay_bars, meter_at
from stylemeter.reading.abc.file import AbcTune, split_tunes
from stylemeter.reading.abc.scan import scan
from stylemeter.reading.abc.voice import Voice
from stylemeter.reading.draft.build import Draft, RawNote, build, count_words
from stylemeter.reading.draft.chord_texts import move, read_symbols
from stylemeter.reading.draft.parts import Candidate, choose
from stylemeter.reading.draft.printed_bars import bar_name, cut_spans, tell_bars
from stylemeter.reading.draft.ties import TiedLine
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.support.decoding import decode
from stylemeter.support.printable import show

__all__ = ["AbcTune", "decode", "read", "read_tune", "split_tunes"]

#: Characters of music in one file: what can be read in the seconds a file has.
MUSIC_MAX = 3_000_000
#: Tunes left out that are told one by one, and tunes offered where none fits.
TOLD_MAX = 5


def read(data: bytes, options: ReadOptions) -> list[Melody]:
    """Read the tunes of an ABC file.

    Parameters
    ----------
    data : bytes
    options : ReadOptions
        `part` selects a tune by its reference number ("17" or "X:17"), title or place in the file, a voice by
        "V:mark" or its name, or both ("X:17 V:2").

    Returns
    -------
    list of Melody
        At least one. A tune that can't be read is told of in the first one's remarks.

    Raises
    ------
    InputError
        If no tune can be read.
    UnknownNameError
        If none is what `part` asks for.
    """
    tunes = split_tunes(decode(data))
    if not tunes:
        raise InputError("no tune in it", mend="an ABC tune starts with X:1 and has a K: line before its music")
    chosen, voice = _select(tunes, options.part)
    melodies: list[Melody] = []
    failures: list[tuple[AbcTune, InputError]] = []
    unknown: UnknownNameError | None = None
    left = MUSIC_MAX
    for tune in chosen:
        left -= sum(map(len, tune.body))
        if left < 0:
            raise LimitError("too much music for one file", mend="split the file")
        try:
            melodies.append(read_tune(tune, voice, slurs=options.phrase_slurs))
        except InputError as error:
            failures.append((tune, error))
        except UnknownNameError as error:
            unknown = unknown or error
    if not melodies and unknown:
        voices = f" or a voice, {unknown.mend}" if "," in unknown.mend else ""
        mend = f"choose a tune by its X: number{voices}"
        raise UnknownNameError(f"no tune or voice {show(voice or '', 40)!r}", mend=mend)
    return _with_failures(melodies, failures)


def _with_failures(melodies: list[Melody], failures: list[tuple[AbcTune, InputError]]) -> list[Melody]:
    """The melodies read, the first one telling which tunes are missing."""
    if not melodies:
        tune, error = failures[0]
        raise error.at(f"tune {tune.label}")
    told = [f"tune {tune.label} left out: {error}" for tune, error in failures[:TOLD_MAX]]
    if len(failures) > TOLD_MAX:
        told.append(f"{count_words(len(failures) - TOLD_MAX, 'more tune')} left out")
    return [melodies[0].with_remarks(*told), *melodies[1:]] if told else melodies


def _select(tunes: Sequence[AbcTune], part: str | None) -> tuple[Sequence[AbcTune], str | None]:
    """Tunes and voice a user asks for."""
    if not part or not part.strip():
        return tunes, None
    wanted, mark, voice = part.strip().rpartition("V:")
    if not mark:
        wanted, voice = part.strip(), ""
    wanted = wanted.strip()
    if not wanted:
        return tunes, voice.strip()
    number = wanted[2:].strip() if wanted[:2].upper() == "X:" else wanted
    found = [t for t in tunes if t.number and t.number == (number.lstrip("0") or number)]
    found = found or [t for t in tunes if t.title and t.title.casefold() == wanted.casefold()]
    if not found and number == wanted and number.isascii() and number.isdigit() and len(number) < 8:
        found = [t for t in tunes if t.position == int(number)]
    return (found, voice.strip() or None) if found else (tunes, wanted)


def read_tune(tune: AbcTune, voice: str | None = None, *, slurs: bool = False) -> Melody:
    r"""Read one tune.

    Parameters
    ----------
    tune : AbcTune
    voice : str, optional
        Mark or name of the voice; by default the one likeliest to be the melody.
    slurs : bool
        Whether slurs mean phrases.

    Raises
    ------
    InputError
        If it has no notes, or a key that can't be read.
    UnknownNameError
        If it has no such voice.

    Examples
    --------
    >>> melody = read_tune(split_tunes("X:1\nM:2/4\nL:1/8\nK:D\nfgfe|d2-d2|")[0])
    >>> melody.pitch.tolist(), melody.beat.tolist(), melody.part
    ([78.0, 79.0, 78.0, 76.0, 74.0], [1.0, 1.5, 2.0, 2.5, 1.0], 'X:1')
    """
    voices, said = scan(tune)
    if not voices:
        raise InputError("no notes in it", mend="check it in a notation editor")
    chosen, told = _voice(voices, voice)
    if chosen.doubtful_tuplets:
        chosen = _fitting(chosen, _voice(scan(tune, plain_tuplets=True)[0], chosen.mark)[0])
    draft = _draft(tune, chosen, [*said, *told], several=len(voices) > 1)
    ends = chosen.phrase_ends + (chosen.slur_ends if slurs else [])
    onsets = [0, *accumulate(event.ticks for event in chosen.events)]
    return build(replace(draft, phrase_ends=[onsets[place] for place in sorted(ends)]))


def _voice(voices: Sequence[Voice], wanted: str | None) -> tuple[Voice, list[str]]:
    """The voice asked for, by its mark or name, or the one likeliest to be the melody, and what has to be told."""
    for called in ([voice.mark for voice in voices], [voice.name for voice in voices]):
        for voice, name in zip(voices, called, strict=True):
            if wanted is not None and wanted.casefold() == name.casefold():
                return voice, []
    place, told = choose([_candidate(voice) for voice in voices], wanted)
    return voices[place], told


def _candidate(voice: Voice) -> Candidate:
    """A voice as the choice of parts sees it."""
    tops = sorted(max(event.pitches) for event in voice.events if event.pitches)
    chords = sum(len(event.pitches) > 1 for event in voice.events)
    name = f"V:{show(voice.mark, 20)} {show(voice.name, 60)}".strip()
    return Candidate(
        name,
        len(tops),
        tops[len(tops) // 2] if tops else 0.0,
        chordal=2 * chords > len(tops),
        percussion=voice.drums,
        programs=voice.programs,
    )


def _fitting(standard: Voice, plain: Voice) -> Voice:
    """Of two readings of the tuplets the one whose bars come out, the standard's where neither does better."""
    if _odd(plain) >= _odd(standard):
        return standard
    plain.said.append("tuplets of 5, 6, 7 or 9 read as in the time of 4 or 8, as the bars ask for")
    return plain


def _odd(voice: Voice) -> int:
    """How many bars are longer or shorter than the meter says, for whatever reason."""
    onsets = [0, *accumulate(event.ticks for event in voice.events)]
    meters = _meters(voice, onsets)
    return sum(length != meter_at(meters, start).bar for start, length in _spans(voice, onsets)[0]) if meters else 0


def _draft(tune: AbcTune, voice: Voice, remarks: list[str], *, several: bool) -> Draft:
    """What `build` needs of one voice."""
    onsets = [0, *accumulate(event.ticks for event in voice.events)]
    meters = _meters(voice, onsets)
    spans, sections = _spans(voice, onsets)
    if len(spans) > limits.BARS_MAX:
        raise LimitError(f"more than {limits.BARS_MAX} bars", mend="split the tune")
    bars = lay_bars(spans, meters or (Meter(0, 4, 4),))
    notes = _notes(voice, onsets)
    key, signature = _key(voice)
    texts = [(onsets[place], place, text) for place, text in voice.symbols]
    chords = _sounding(read_symbols(texts, len(spans), voice.found, voice.said), voice, onsets)
    remarks += voice.found.lines(lambda place: bar_name(bars, onsets[min(place, len(onsets) - 1)]))
    remarks += voice.said
    counted = tell_bars(spans, meters, sections, bars, remarks)
    return Draft(
        notes=notes,
        meters=meters,
        spans=counted,
        key=key,
        signature=signature,
        chords=chords,
        tempo=voice.tempo,
        title=tune.title,
        part=f"{tune.label} V:{voice.mark}" if several else tune.label,
        source="abc",
        remarks=remarks,
    )


def _sounding(chords: list[Chord] | None, voice: Voice, onsets: Sequence[int]) -> list[Chord] | None:
    """Chord symbols at sounding pitch: in a transposing voice they are written as its notes are."""
    if not chords or not any(key.shift for _, key in voice.keys):
        return chords
    starts = [onsets[place] for place, _ in voice.keys]
    return [move(chord, voice.keys[bisect_right(starts, chord.onset) - 1][1].shift) for chord in chords]


def _notes(voice: Voice, onsets: Sequence[int]) -> list[RawNote]:
    """Sounding notes, ties between equal pitches joined."""
    line = TiedLine()
    for place, event in enumerate(voice.events):
        if event.pitches:
            lost, hidden = line.sound(onsets[place], event.ticks, event.pitches, event.tied)
        else:
            lost, hidden = line.silence(), 0
        if lost:
            voice.found.add("tie", "to another pitch or a rest left out", place, lost)
        if hidden:
            voice.found.add("note", "under a held one left out", place, hidden)
    return line.raw()


def _meters(voice: Voice, onsets: Sequence[int]) -> list[Meter]:
    """Meters in force, none where the tune has none."""
    return [meter for place, field in voice.meters if (meter := field.at(onsets[place]))]


def _spans(voice: Voice, onsets: Sequence[int]) -> tuple[list[tuple[int, int]], set[int]]:
    """Printed bars, and the ticks at which a section or an ending begins or ends."""
    spans = cut_spans([onsets[sign.place] for sign in voice.signs], onsets[-1])
    return spans, {onsets[sign.place] for sign in voice.signs if sign.section}


def _key(voice: Voice) -> tuple[Key | None, int | None]:
    """The key in force at the first note, or the sharps of a signature without a mode; later keys are told."""
    first = next(place for place, event in enumerate(voice.events) if event.pitches)
    start = [field for place, field in voice.keys if place <= first][-1]
    voice.said += start.remarks
    for place, field in voice.keys:
        if place > first and (field.sounding, field.mode) != (start.sounding, start.mode):
            voice.found.add("key change", "followed; the first key is the one declared", place)
    return (None if start.sounding is None else Key(start.sounding, start.mode, "declared")), start.sounding_sharps
