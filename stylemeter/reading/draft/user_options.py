"""What the user says of a melody, applied after it was read: key, meter, chords, tempo.

Conventions: what the user gives overrides what the file says, with a remark where the two differ; remarks that
asked for what is now given are dropped.
"""

from __future__ import annotations

from dataclasses import replace

from stylemeter.errors import InputError, UsageError
from stylemeter.music.chords.symbols import lay_chords
from stylemeter.music.keys import parse_key
from stylemeter.music.melody import Melody, grid_columns
from stylemeter.music.meter import Bars, Meter, lay_bars, parse_meter, regular_spans
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions

__all__ = ["apply", "check", "parse_meter"]

#: Farthest first beat (seconds): a day.
FIRST_BEAT_MAX = 86_400.0


def check(options: ReadOptions) -> None:
    """Refuse options no file could be read with, before any is.

    Raises
    ------
    UsageError
        If key, meter, chords or tempo can't be understood.
    """
    if options.key is not None:
        parse_key(options.key)
    if options.meter is not None:
        parse_meter(options.meter)
    if options.chords is not None:
        four_four = (Meter(0, 4, 4),)
        end = 64 * four_four[0].bar
        try:
            lay_chords(options.chords, four_four, lay_bars(regular_spans(four_four, 0, end), four_four), 0, end)
        except InputError as error:
            raise UsageError(error.what, where=error.where, mend=error.mend) from None
    if options.tempo is not None and not limits.TEMPO_MIN <= options.tempo <= limits.TEMPO_MAX:
        raise UsageError(
            f"tempo {options.tempo:g} is no tempo",
            mend=f"give quarter notes a minute, {limits.TEMPO_MIN:g} to {limits.TEMPO_MAX:g}",
        )
    if options.first_beat is not None and not -FIRST_BEAT_MAX <= options.first_beat <= FIRST_BEAT_MAX:
        raise UsageError(
            f"first beat at {options.first_beat:g} is no place in a recording",
            mend="give the second at which beat 1 of bar 1 falls",
        )


def apply(melody: Melody, options: ReadOptions) -> Melody:
    """The melody as the user's options have it.

    Parameters
    ----------
    melody : Melody
        As read.
    options : ReadOptions
        `key`, `meter`, `chords` and `tempo` are used; the others are the readers'.

    Returns
    -------
    Melody

    Raises
    ------
    UsageError
        If an option can't be understood.
    InputError
        If the bars a meter asks for are too many.
    """
    if options.meter is not None:
        melody = _with_meter(melody, parse_meter(options.meter, melody.meters[0].onset))
    if options.key is not None:
        melody = _with_key(melody, options.key)
    if options.chords is not None:
        melody = _with_chords(melody, options.chords)
    if options.tempo is not None and melody.tempo is None:
        melody = replace(melody, tempo=float(options.tempo))
    return melody


def _with_key(melody: Melody, text: str) -> Melody:
    """The melody in the key given."""
    key = parse_key(text)
    told = melody.key
    melody = _answered(melody, "--key").with_key(key)
    if told is None or told.source != "declared" or (told.tonic, told.mode) == (key.tonic, key.mode):
        return melody
    return melody.with_remarks(f"key {key.name} as given; the file declares {told.name}")


def _with_meter(melody: Melody, meter: Meter) -> Melody:
    """The melody with its bars laid anew in one meter, from the first bar line it had."""
    told = melody.meters
    assumed = any("--meter" in remark for remark in melody.remarks)
    melody = _answered(melody, "--meter")
    if len(told) == 1 and (told[0].numerator, told[0].denominator) == (meter.numerator, meter.denominator):
        return melody
    first_line = _first_line(melody.bars)
    meters = (replace(meter, onset=min(told[0].onset, first_line)),)
    end = max(_end(melody), int(melody.bars.end[-1]))
    if (end - int(melody.onset[0])) // meter.bar > limits.BARS_MAX:
        raise InputError(f"has more than {limits.BARS_MAX} bars of {meter}", mend="give a longer meter")
    bars = lay_bars(_spans(meters, first_line, int(melody.onset[0]), end), meters)
    bar, beat, weight = grid_columns(melody.onset, meters, bars)
    melody = replace(melody, meters=meters, bars=bars, bar=bar, beat=beat, weight=weight)
    if assumed:
        return melody
    changes = "changes of meter" if len(told) > 1 else str(told[0])
    return melody.with_remarks(
        f"meter {meter} as given; the file has {changes}: bars laid anew from its first bar line"
    )


def _first_line(bars: Bars) -> int:
    """Tick of the first printed bar line: behind a pickup, where there is one."""
    pickup = len(bars.number) > 1 and int(bars.number[0]) == 0
    return int(bars.line[1 if pickup else 0])


def _spans(meters: tuple[Meter, ...], first_line: int, first: int, end: int) -> list[tuple[int, int]]:
    """Full bars from the first bar line, and what lies before it: a pickup, after full bars where it is long."""
    spans = regular_spans(meters, first_line, end)
    full = meters[0].bar
    start = first_line
    while start - full >= first:
        start -= full
        spans.insert(0, (start, full))
    return [(first, start - first), *spans] if first < start else spans


def _end(melody: Melody) -> int:
    """Tick at which the last note ends."""
    if melody.duration is None:
        return int(melody.onset[-1]) + 1
    return int((melody.onset + melody.duration).max())


def _with_chords(melody: Melody, text: str) -> Melody:
    """The melody over the chords given, laid from its first full bar to its end."""
    first = int(melody.onset[0])
    try:
        chords = lay_chords(text, melody.meters, melody.bars, first, _end(melody))
    except InputError as error:
        raise UsageError(error.what, where=error.where, mend=error.mend) from None
    had = melody.chords is not None
    melody = replace(_answered(melody, "--chords"), chords=chords)
    return melody.with_remarks("chords as given; those of the file left out") if had else melody


def _answered(melody: Melody, option: str) -> Melody:
    """The melody without the remarks that asked for an option."""
    return replace(melody, remarks=tuple(remark for remark in melody.remarks if option not in remark))
