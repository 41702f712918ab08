"""When each row of a table sounds: onsets and durations in ticks, whatever its columns count in.

Conventions: the first of these that the columns tell: bar position (bars from 0, with the fraction of the bar), bar
and beat (from 1), quarter notes, seconds; without any of them the rows follow one another. A printed decimal is read
as the musical fraction it was rounded from: the parts of a beat, plain notes and triplets first (`numbers.snap`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from stylemeter.errors import InputError
from stylemeter.music.meter import TICKS, Meter, meter_at, regular_spans
from stylemeter.reading.draft.build import count_words
from stylemeter.reading.draft.fields import shown, to_ticks
from stylemeter.reading.draft.numbers import (
    BEAT_PARTS,
    QUARTER_PARTS,
    Printed,
    bar_parts,
    nearest_tick,
    parse_number,
    snap,
)
from stylemeter.reading.intake.limits import BARS_MAX
from stylemeter.reading.table.columns import Column, Role

__all__ = ["Row", "Source", "Times", "bar_lines", "times_of"]


@dataclass(frozen=True, slots=True)
class Row:
    """One row: where it stands, for errors, and its cells."""

    where: str
    cells: tuple[str, ...]

    def cell(self, column: Column | None) -> str:
        """The cell in a column; empty where there is no such column or the row is too short."""
        return self.cells[column.index].strip() if column and column.index < len(self.cells) else ""


@dataclass(slots=True)
class Times:
    """When the rows sound.

    Attributes
    ----------
    onset : list of int
        Ticks, an entry a row.
    duration : list of (int or None)
        Ticks, maybe 0; None where the table has none.
    seconds : list of (float or None)
    spans : list of (start, length) or None
        Printed bars where the columns tell them.
    """

    onset: list[int]
    duration: list[int | None] = field(default_factory=list)
    seconds: list[float | None] = field(default_factory=list)
    spans: list[tuple[int, int]] | None = None
    remarks: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Source:
    """What the times are worked out from.

    Attributes
    ----------
    rows : sequence of Row
        Those that sound; rests too where the rows follow one another.
    columns : dict
        Role -> column, as `columns.assign` finds them.
    meters : sequence of Meter
        At least one.
    tempo : float or None
        Quarter notes a minute, for columns in seconds.
    first_beat : float or None
        Seconds at which beat 1 of bar 1 falls.
    """

    rows: Sequence[Row]
    columns: dict[Role, Column]
    meters: Sequence[Meter]
    tempo: float | None
    first_beat: float | None

    def numbers(self, column: Column) -> list[Printed]:
        """The numbers of a column, each with the most digits any of them was printed with."""
        found = []
        for row in self.rows:
            printed = parse_number(row.cell(column))
            if printed is None:
                mend = "a spreadsheet may have made a date of it: mend the row or take it out"
                raise InputError(f"{column.name} {shown(row.cell(column))} is not a number", where=row.where, mend=mend)
            found.append(printed)
        digits = max((p.digits for p in found), default=0)
        return [replace(p, digits=digits) for p in found]

    @property
    def played(self) -> bool:
        """Whether onsets are told in seconds alone."""
        onset = self.columns.get("onset")
        return onset is not None and not self.quarters(onset)

    def quarters(self, column: Column) -> bool:
        """Whether a column counts in quarter notes; a duration's unit is the onset's where it names none."""
        onset = self.columns.get("onset")
        unit = column.unit or (onset.unit if onset else "")
        return unit not in ("seconds", "milliseconds")

    def seconds(self, column: Column) -> list[float]:
        """The seconds of a column."""
        own = column.unit or (self.columns["onset"].unit if "onset" in self.columns else "")
        scale = 1e-3 if own == "milliseconds" else 1.0
        return [float(p.value) * scale for p in self.numbers(column)]

    def pace(self) -> float:
        """Ticks a second."""
        if self.tempo is None:
            raise InputError(
                "the times are in seconds and nothing tells the tempo",
                mend="give --tempo in quarter notes a minute, or name the column 'onset' if they are quarter notes",
            )
        return self.tempo / 60 * TICKS


def times_of(source: Source) -> Times:
    """When each row sounds, where the columns tell it in musical time.

    Returns
    -------
    Times

    Raises
    ------
    InputError
        With the row whose time can't be understood.
    """
    if not source.rows:
        return Times([])
    times = _way(source)(source)
    _durations(source, times)
    seconds = source.columns.get("seconds")
    times.seconds = [None] * len(source.rows) if seconds is None else list(source.seconds(seconds))
    for row, onset, length in zip(source.rows, times.onset, times.duration, strict=True):
        to_ticks(abs(onset) + (length or 0), "onset", row.where)
    return times


def _way(source: Source) -> Callable[[Source], Times]:
    """How onsets are told."""
    columns = source.columns
    if "bar_position" in columns:
        return _by_bar_position
    if "bar" in columns and "beat" in columns:
        return _by_bar_and_beat
    if "onset" not in columns:
        return _one_after_another
    return _by_quarters


def _snapped(printed: Sequence[Printed], parts: Sequence[int]) -> tuple[list[Fraction], int, int]:
    """Numbers as the fractions they were printed for; how many were rounded, and how many fit none of the parts."""
    values, rounded, off = [], 0, 0
    for number in printed:
        value = snap(number, parts)
        off += value is None
        rounded += value is not None and value != number.value
        values.append(number.value if value is None else value)
    return values, rounded, off


def _tell(times: Times, name: str, rounded: int, off: int) -> None:
    """Remark on numbers read as the fractions they were rounded from."""
    if rounded:
        cells = count_words(rounded, f"rounded {name}")
        times.remarks.append(f"{cells} read as the simplest fraction of a beat that prints so")
    if off:
        times.remarks.append(f"{count_words(off, name)} on no plain or triplet place: kept to the nearest tick")


def _by_quarters(source: Source) -> Times:
    """Onsets in quarter notes."""
    column = source.columns["onset"]
    values, rounded, off = _snapped(source.numbers(column), QUARTER_PARTS)
    times = Times([nearest_tick(v) for v in values])
    first = min(times.onset)
    if -meter_at(source.meters, 0).bar < first < 0:
        # What lies before 0 is a pickup: bar 1, and a line of chords, begin at 0.
        times.spans = [(first, -first), *regular_spans(source.meters, 0, max(*times.onset, 0) + 1)]
    _tell(times, column.name, rounded, off)
    if off * 2 > len(values) > 4:
        mend = "if they are seconds, name the column 'seconds' and give --tempo"
        times.remarks.append(f"most values of {column.name} lie on no grid of quarter notes: {mend}")
    if column.name.lower().startswith("beat") and source.meters[0].denominator != 4:
        times.remarks.append(f"{column.name} counted in quarter notes")
    return times


def bar_lines(source: Source, last: int) -> list[tuple[int, int]]:
    """Full bars from tick 0 up to and with bar `last` (from 0)."""
    if last >= BARS_MAX:
        raise InputError(f"bar {last + 1}; at most {BARS_MAX} bars are read", mend="check the column of bars")
    end = max(m.bar for m in source.meters) * (last + 1)
    return regular_spans(source.meters, 0, max(end, 1))


def _by_bar_position(source: Source) -> Times:
    """Onsets in bars from 0."""
    column = source.columns["bar_position"]
    printed = source.numbers(column)
    for row, number in zip(source.rows, printed, strict=True):
        if number.value < 0:
            raise InputError(f"{column.name} {row.cell(column)} is below 0", where=row.where, mend="bars count from 0")
    spans = bar_lines(source, max((int(p.value) for p in printed), default=0))
    onset, rounded, off = [], 0, 0
    for number in printed:
        bar = int(number.value)
        start, length = spans[bar]
        meter = meter_at(source.meters, start)
        parts = bar_parts(meter.numerator, meter.denominator)
        [place], more, lost = _snapped([replace(number, value=number.value - bar)], parts)
        onset.append(start + round(place * length))
        rounded, off = rounded + more, off + lost
    times = Times(onset)
    _tell(times, column.name, rounded, off)
    return times


def _by_bar_and_beat(source: Source) -> Times:
    """Onsets as bar and beat, both from 1; bar 0 is a pickup."""
    bars = [_whole(row, source.columns["bar"]) for row in source.rows]
    column = source.columns["beat"]
    beats, rounded, off = _snapped(source.numbers(column), BEAT_PARTS)
    spans = bar_lines(source, max(0, *bars, 1) - 1)
    times = Times([])
    first = Fraction(1) if min(beats, default=1) >= 1 else Fraction(0)
    if not first:
        times.remarks.append(f"{column.name} counted from 0")
    printed_units = any(
        beat - first >= Fraction(spans[max(bar, 1) - 1][1], meter_at(source.meters, spans[max(bar, 1) - 1][0]).beat)
        for bar, beat in zip(bars, beats, strict=True)
    )
    for bar, beat in zip(bars, beats, strict=True):
        start, _ = spans[max(bar, 1) - 1]
        meter = meter_at(source.meters, start)
        line = start if bar > 0 else start - (1 - bar) * meter.bar
        unit = 4 * TICKS // meter.denominator if printed_units else meter.beat
        times.onset.append(line + round((beat - first) * unit))
    if printed_units and any(m.compound for m in source.meters):
        times.remarks.append(f"{column.name} counted in the lower number of the meter")
    _tell(times, column.name, rounded, off)
    if min(bars, default=1) == 0 and min(times.onset) < 0:
        start = min(times.onset)
        times.spans = [(start, -start), *spans]
    return times


def _whole(row: Row, column: Column) -> int:
    """A bar number."""
    printed = parse_number(row.cell(column))
    if printed is None or printed.value.denominator != 1 or abs(printed.value) > BARS_MAX:
        what = f"{column.name} {shown(row.cell(column))} is not a bar number"
        raise InputError(what, where=row.where, mend="mend the row or take it out")
    return int(printed.value)


def _one_after_another(source: Source) -> Times:
    """Onsets where each row starts when the one before ends."""
    times = Times([])
    _durations(source, times)
    now = 0
    for length in times.duration:
        times.onset.append(now)
        now += length or 0
    times.remarks.append("no column of onsets: the rows laid one after another")
    return times


def _durations(source: Source, times: Times) -> None:
    """Fill in the durations, unless they are there."""
    if times.duration or not source.rows:
        return
    column = source.columns.get("duration") or source.columns.get("end")
    if column is None:
        times.duration = [None] * len(source.rows)
        return
    if source.quarters(column):
        values, rounded, off = _snapped(source.numbers(column), QUARTER_PARTS)
        ticks = [nearest_tick(v) for v in values]
        _tell(times, column.name, rounded, off)
    else:
        ticks = [round(s * source.pace()) for s in source.seconds(column)]
    if column.role == "end":
        ticks = [end - onset for end, onset in zip(ticks, times.onset, strict=True)]
    for row, length in zip(source.rows, ticks, strict=True):
        if length < 0:
            what = f"{column.name} {row.cell(column)}"
            words = f"{what} is before the onset" if column.role == "end" else f"{what} is below 0"
            raise InputError(words, where=row.where, mend="mend the row or take it out")
    times.duration = list(ticks)
