"""What each format can't hold of a melody.

Conventions: a loss is said as what is lost; reading a written file again gives the same melody but for these.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stylemeter.errors import UnknownNameError
from stylemeter.music.melody import Melody, Technique
from stylemeter.music.meter import TICKS, lay_bars, meter_at, regular_spans
from stylemeter.writing.layout import note_ends, printed_bars

__all__ = ["LOSSES", "Loss", "losses"]


@dataclass(frozen=True, slots=True)
class Loss:
    """Something a format can't hold, and whether a melody has it."""

    words: str
    there: Callable[[Melody], bool]


def _overlaps(melody: Melody) -> bool:
    """Whether a note sounds past the onset of the next."""
    if melody.duration is None:
        return False
    return bool(np.any((melody.onset + melody.duration)[:-1] > melody.onset[1:]))


def _marked(melody: Melody, marks: Technique) -> bool:
    """Whether any note has one of these marks."""
    return melody.technique is not None and bool(np.any(melody.technique & int(marks)))


def _outer_chords(melody: Melody) -> bool:
    """Whether chords start outside of the printed bars."""
    if not melody.chords:
        return False
    bars = printed_bars(melody)
    return any(not bars[0].start <= chord.onset < bars[-1].end for chord in melody.chords)


def _inner_meters(melody: Melody) -> bool:
    """Whether the meter changes elsewhere than at a printed bar line."""
    if len(melody.meters) == 1:
        return False
    lines = {bar.start for bar in printed_bars(melody)}
    return any(meter.onset not in lines for meter in melody.meters[1:])


def _odd_first_bar(melody: Melody) -> bool:
    """Whether the first bar is short without being a pickup, or a pickup and the only one."""
    bars = melody.bars
    line, end, pickup = int(bars.line[0]), int(bars.end[0]), int(bars.number[0]) == 0
    return pickup if len(bars.line) == 1 else not pickup and end - line < meter_at(melody.meters, line).bar


def _off_grid(melody: Melody) -> bool:
    """Whether a note starts or ends elsewhere than on a third or an eighth of a quarter note."""
    times = np.concatenate([melody.onset, np.array(note_ends(melody))]) - int(melody.bars.line[0])
    return bool(np.any((times % (TICKS // 3) != 0) & (times % (TICKS // 8) != 0)))


def _uneven(melody: Melody) -> bool:
    """Whether bars, once a pickup is filled up, are not all as long as their meter says."""
    start, end = int(melody.bars.line[0]), int(melody.bars.end[-1])
    plain = lay_bars(regular_spans(melody.meters, start, end), melody.meters)
    own = melody.bars
    return not (np.array_equal(plain.line, own.line) and np.array_equal(plain.end, own.end))


def _half_told_key(melody: Melody) -> bool:
    """Whether the tonic is known and the mode is not one that scores can name."""
    return melody.key is not None and melody.key.mode in (None, "blues")


def _guitar_unsaid(melody: Melody) -> bool:
    """Whether a guitar part says nothing of technique, which notation can't tell from a part without any marks."""
    return melody.technique is None and re.search(r"guitar|gtr|gitarr", melody.part, re.IGNORECASE) is not None


_RHYTHM = Loss("that the rhythm is not known: notes are written evenly", lambda m: not m.rhythm_known)
_DURATIONS = Loss("that no durations are known: notes are written up to the next one", lambda m: m.duration is None)
_OVERLAPS = Loss("the end of notes that sound into the next one", _overlaps)
_KEY_SOURCE = Loss(
    "how the key is known: it reads back as declared", lambda m: m.key is not None and m.key.source != "declared"
)
_TONIC = Loss("the tonic of a key whose mode isn't known or is a blues", _half_told_key)
_PITCH = Loss("fractions of a semitone: rounded", lambda m: bool(np.any(m.pitch % 1)))
_TECHNIQUE = Loss("how notes are played (technique)", lambda m: m.technique is not None)
_SECONDS = Loss("the seconds notes were played at", lambda m: m.onset_seconds is not None)
_STRINGS = Loss("the strings and frets notes are played on", lambda m: m.strings is not None)
_PHRASES = Loss("where the source's phrases end", lambda m: m.phrase_ends is not None)
_CONFIDENCE = Loss("how surely each note was heard", lambda m: m.confidence is not None)
_REMARKS = Loss("remarks and the share of guesses", lambda m: bool(m.remarks) or m.guessed_share > 0)
_CHORDS = Loss("chords before the first printed note or rest, and after the last bar", _outer_chords)
_FIRST_BAR = Loss("whether the short first bar is a pickup", _odd_first_bar)
_METERS = Loss("changes of meter elsewhere than at bar lines", _inner_meters)
_NO_KEY = Loss("that no key is known: a reader estimates one", lambda m: m.key is None)

#: Format -> what it can't hold.
LOSSES: dict[str, tuple[Loss, ...]] = {
    "json": (),
    "csv": (),
    "musicxml": (
        _RHYTHM,
        _DURATIONS,
        _OVERLAPS,
        _NO_KEY,
        _TONIC,
        _KEY_SOURCE,
        _SECONDS,
        _PHRASES,
        _CONFIDENCE,
        Loss("the tuning of the strings", lambda m: m.tuning is not None),
        Loss("how far notes are bent", lambda m: _marked(m, Technique.BEND | Technique.PRE_BEND)),
        Loss("grace notes and dead notes", lambda m: _marked(m, Technique.GRACE | Technique.DEAD)),
        Loss("that nothing is known of a guitar's technique: it reads back as without any", _guitar_unsaid),
        _FIRST_BAR,
        _METERS,
        _CHORDS,
        _REMARKS,
    ),
    "midi": (
        _RHYTHM,
        _DURATIONS,
        _OVERLAPS,
        Loss(
            "the key: MIDI knows major and minor only, give it with --key",
            lambda m: m.key is not None and m.key.mode not in ("major", "minor"),
        ),
        _NO_KEY,
        _KEY_SOURCE,
        Loss("times on neither triplets nor 32nds: a reader may take them for played ones", _off_grid),
        _PITCH,
        _TECHNIQUE,
        _SECONDS,
        _STRINGS,
        _PHRASES,
        _CONFIDENCE,
        Loss("a pickup: its bar becomes bar 1", lambda m: int(m.bars.number[0]) == 0),
        Loss("bars shorter or longer than their meter: bar lines are laid evenly", _uneven),
        _METERS,
        Loss("chords before the first bar", lambda m: any(c.onset < m.bars.line[0] for c in m.chords or ())),
        _REMARKS,
    ),
    "abc": (
        _RHYTHM,
        _DURATIONS,
        _OVERLAPS,
        _NO_KEY,
        _TONIC,
        _KEY_SOURCE,
        _PITCH,
        _TECHNIQUE,
        _SECONDS,
        _STRINGS,
        _PHRASES,
        _CONFIDENCE,
        _FIRST_BAR,
        _METERS,
        _CHORDS,
        _REMARKS,
    ),
    "tab": (
        _DURATIONS,
        _OVERLAPS,
        _NO_KEY,
        _TONIC,
        _KEY_SOURCE,
        _PITCH,
        _TECHNIQUE,
        _SECONDS,
        _PHRASES,
        Loss("the chords: their names stand over the bars", lambda m: bool(m.chords)),
        Loss("times on neither triplets nor 32nds", _off_grid),
        _FIRST_BAR,
        Loss("changes of meter", lambda m: len(m.meters) > 1),
        _REMARKS,
    ),
}


def losses(melody: Melody, format: str) -> list[str]:  # noqa: A002 - what it is
    """What of this melody a format can't hold.

    Parameters
    ----------
    melody : Melody
    format : {"csv", "json", "musicxml", "midi", "abc", "tab"}

    Returns
    -------
    list of str
        Each says what is lost; empty where nothing is.

    Raises
    ------
    UnknownNameError
        If there is no such format.

    Examples
    --------
    >>> from stylemeter.reading.draft.build import Draft, RawNote, build
    >>> losses(build(Draft([RawNote(0, None, 60.5)])), "abc")[0]
    'that no durations are known: notes are written up to the next one'
    """
    if format not in LOSSES:
        raise UnknownNameError.among("format", format, list(LOSSES))
    return [loss.words for loss in LOSSES[format] if loss.there(melody)]
