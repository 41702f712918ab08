"""What a MIDI file's events say: parts with their notes and bends, and the signs over them.

Conventions: times are the file's own ticks from its start; a bend is in semitones. Which note-off ends which note,
and which channels are one guitar, is decided here.

References
----------
.. [1] MIDI 1.0 Detailed Specification (MIDI Manufacturers Association): note-on with velocity 0, pitch bend, registered
   parameter 0 (bend range, two semitones unless set).
.. [2] General MIDI level 1: channel 10 holds drums, programs 25-40 are guitars and basses.
"""

from __future__ import annotations

import re
from collections import defaultdict, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from stylemeter.reading.draft.strings import strings_of_groups
from stylemeter.reading.midi.file import KEY, METER, NAME, TEMPO, TEXTS, Scanned

__all__ = ["Part", "Signs", "Track", "decode", "find_parts"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

#: Key signatures by their sharps (flats below 0), from seven flats on.
_MAJOR = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
_MINOR = ("Abm", "Ebm", "Bbm", "Fm", "Cm", "Gm", "Dm", "Am", "Em", "Bm", "F#m", "C#m", "G#m", "D#m", "A#m")
#: Programs (from 0) of guitars and basses.
_STRINGED = range(24, 40)
#: Strings of one instrument that plays a channel a string.
_STRINGS = range(4, 9)
GUITAR_STRINGS = 6
#: Share of notes that may begin while another of their channel sounds, on a channel that plays one at a time.
OVERLAP_SHARE = 0.1
#: Semitones a bend reaches unless the file sets it.
BEND_RANGE = 2.0


@dataclass(frozen=True, slots=True)
class Part:
    """One instrument: a track, a channel of one, or several channels of one guitar.

    Attributes
    ----------
    name : str
        As the file names it, else its track's or channel's number.
    onset, end, pitch, channel : ndarray of shape (n_notes,)
        In file ticks and MIDI note numbers, sorted by onset; `end` is -1 where the note-off is missing.
    track_end : int
        Last tick of its track.
    bends : dict of int to ndarray of shape (n_bends, 2)
        Channel -> rows (tick, semitones), in order.
    programs : frozenset of int
        Programs chosen on its channels, from 0.
    strings : tuple of int
        The channels that were taken for the strings of one guitar; else empty.
    """

    name: str
    onset: Ints
    end: Ints
    pitch: Ints
    channel: Ints
    track_end: int
    bends: dict[int, Floats]
    programs: frozenset[int] = frozenset()
    strings: tuple[int, ...] = ()

    def __len__(self) -> int:
        return len(self.onset)

    @property
    def places(self) -> Ints | None:
        """String and fret of each note, of shape (n_notes, 2), where its channels are a guitar's strings."""
        return strings_of_groups(self.pitch.astype(float), self.channel + 1, self.strings) if self.strings else None

    def only(self, keep: npt.NDArray[np.bool_] | Ints) -> Part:
        """The part with some of its notes, by a mask or in the order of their indices."""
        onset, end, pitch, channel = (column[keep] for column in (self.onset, self.end, self.pitch, self.channel))
        return replace(self, onset=onset, end=end, pitch=pitch, channel=channel)


def _tick(sign: tuple[int, object]) -> int:
    """What signs are sorted by."""
    return sign[0]


@dataclass(slots=True)
class Signs:
    """What holds for every part, as (tick, value)."""

    tempos: list[tuple[int, int]] = field(default_factory=list)
    meters: list[tuple[int, tuple[int, int]]] = field(default_factory=list)
    keys: list[tuple[int, str]] = field(default_factory=list)
    texts: list[tuple[int, str]] = field(default_factory=list)

    @classmethod
    def together(cls, several: Iterable[Signs]) -> Signs:
        """The signs of several tracks, in order of time."""
        joined = cls()
        for signs in several:
            joined.tempos += signs.tempos
            joined.meters += signs.meters
            joined.keys += signs.keys
            joined.texts += signs.texts
        joined.tempos.sort(key=_tick)
        joined.meters.sort(key=_tick)
        joined.keys.sort(key=_tick)
        joined.texts.sort(key=_tick)
        return joined


@dataclass(slots=True)
class _Channel:
    """One channel of a track while its events go by; `end` is -1 until the note-off."""

    onset: list[int] = field(default_factory=list)
    end: list[int] = field(default_factory=list)
    pitch: list[int] = field(default_factory=list)
    sounding: dict[int, deque[int]] = field(default_factory=lambda: defaultdict(deque))
    bends: list[tuple[int, float]] = field(default_factory=list)
    programs: set[int] = field(default_factory=set)
    reach: float = BEND_RANGE
    parameter: list[int] = field(default_factory=lambda: [127, 127])

    @property
    def one_at_a_time(self) -> bool:
        """Whether (nearly) no note begins while another sounds."""
        overlaps = sum(end > later for end, later in zip(self.end, self.onset[1:], strict=False))
        return overlaps <= len(self.onset) * OVERLAP_SHARE


@dataclass(slots=True)
class Track:
    """One track decoded."""

    number: int
    name: str = ""
    channels: dict[int, _Channel] = field(default_factory=lambda: defaultdict(_Channel))
    end: int = 0

    @property
    def played(self) -> dict[int, _Channel]:
        """The channels that hold notes, in order."""
        return {number: self.channels[number] for number in sorted(self.channels) if self.channels[number].onset}


def decode(scanned: Scanned) -> list[tuple[Track, Signs]]:
    """What the events of each track say.

    Parameters
    ----------
    scanned : Scanned

    Returns
    -------
    list of (Track, Signs)
        One entry a track.
    """
    decoded = []
    for number, (events, end) in enumerate(zip(scanned.tracks, scanned.ends, strict=True), 1):
        track, signs = Track(number, end=end), Signs()
        for tick, status, data in events:
            if status == 0xFF:
                _take_meta(tick, data[0], data[1:], track, signs)
            else:
                _take(tick, status, data, track)
        decoded.append((track, signs))
    return decoded


def _take_meta(tick: int, kind: int, data: bytes, track: Track, signs: Signs) -> None:
    """Note a meta event."""
    if kind == NAME:
        track.name = track.name or _plain(data)
    elif kind in TEXTS:
        signs.texts.append((tick, _plain(data)))
    elif kind == TEMPO:
        signs.tempos.append((tick, int.from_bytes(data, "big")))
    elif kind == METER:
        signs.meters.append((tick, (data[0], 2 ** data[1])))
    elif kind == KEY:
        names = _MINOR if data[1] else _MAJOR
        signs.keys.append((tick, names[int.from_bytes(data[:1], "big", signed=True) + 7]))


def _plain(raw: bytes) -> str:
    """A text, as UTF-8 where it is that, without control characters."""
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return "".join(sign if sign.isprintable() else " " for sign in text).strip()


def _take(tick: int, status: int, data: bytes, track: Track) -> None:
    """Note a channel event."""
    channel = track.channels[status & 0x0F]
    match status & 0xF0:
        case 0x90 if data[1]:
            channel.sounding[data[0]].append(len(channel.onset))
            channel.onset.append(tick)
            channel.end.append(-1)
            channel.pitch.append(data[0])
        case 0x80 | 0x90:
            if channel.sounding[data[0]]:
                channel.end[channel.sounding[data[0]].popleft()] = tick
        case 0xE0:
            channel.bends.append((tick, ((data[1] << 7 | data[0]) - 8192) / 8192 * channel.reach))
        case 0xC0:
            channel.programs.add(data[0])
        case 0xB0:
            _set_parameter(channel, data[0], data[1])


def _set_parameter(channel: _Channel, control: int, value: int) -> None:
    """Follow the bend range: registered parameter 0, in semitones and hundredths."""
    if control in (100, 101):
        channel.parameter[control - 100] = value
    elif control in (98, 99):
        channel.parameter = [127, 127]
    elif channel.parameter == [0, 0]:
        whole, part = divmod(channel.reach, 1)
        channel.reach = value + part if control == 6 else whole + min(value, 99) / 100


def find_parts(tracks: Sequence[Track]) -> list[Part]:
    """The instruments of a tune, in the file's order.

    A track is a part, and so is each channel where a track has several; but channels that look like the strings
    of one guitar are one part: four to eight neighbouring channels, each with one note at a time, of one track
    or of tracks named alike but for a number, all with one and the same program, of a guitar or a bass, or with no
    program, bends or six of them.
    """
    parts: list[Part] = []
    done: set[int] = set()
    alike: dict[str, list[Track]] = defaultdict(list)
    for track in tracks:
        if len(track.played) == 1:
            alike[_stem(track)].append(track)
    for track in tracks:
        if track.number in done or not track.played:
            continue
        family = alike[_stem(track)] if len(track.played) == 1 else [track]
        if not _is_guitar([channel for t in family for channel in t.played.items()]):
            family = [track]
        done |= {t.number for t in family}
        parts += _parts_of(family)
    return parts


def _stem(track: Track) -> str:
    """A track's name without the number at its end; its own for a track without a name."""
    return re.sub(r"[\s#_-]*\d*$", "", track.name) or f"track {track.number}"


def _is_guitar(channels: Sequence[tuple[int, _Channel]]) -> bool:
    """Whether these channels look like the strings of one guitar."""
    numbers = [number for number, _ in channels]
    if len(numbers) not in _STRINGS or len(set(numbers)) < len(numbers):
        return False
    if max(numbers) - min(numbers) + 1 not in _STRINGS or not all(channel.one_at_a_time for _, channel in channels):
        return False
    programs = {frozenset(channel.programs) for _, channel in channels}
    if len(programs) != 1:
        return False
    told = next(iter(programs))
    if told:
        return len(told) == 1 and next(iter(told)) in _STRINGED
    return any(channel.bends for _, channel in channels) or len(numbers) == GUITAR_STRINGS


def _parts_of(family: Sequence[Track]) -> list[Part]:
    """One part of several tracks or channels of a guitar, or a part a channel."""
    channels = [(number, channel) for track in family for number, channel in track.played.items()]
    end = max(track.end for track in family)
    name = family[0].name if len(family) == 1 else _stem(family[0])
    if len(channels) == 1 or _is_guitar(channels):
        strings = tuple(number + 1 for number, _ in channels) if len(channels) > 1 else ()
        return [_part(name or f"track {family[0].number}", channels, end, strings)]
    label = f"{name}, " if name else ""
    return [_part(f"{label}channel {number + 1}", [(number, channel)], end, ()) for number, channel in channels]


def _part(name: str, channels: Sequence[tuple[int, _Channel]], end: int, strings: tuple[int, ...]) -> Part:
    """The notes of some channels in one table."""
    rows = [
        (onset, pitch, stop, number)
        for number, channel in channels
        for onset, pitch, stop in zip(channel.onset, channel.pitch, channel.end, strict=True)
    ]
    onset, pitch, stop, number = np.array(sorted(rows), dtype=np.int64).reshape(-1, 4).T
    bends = {number: np.array(channel.bends) for number, channel in channels if channel.bends}
    programs = frozenset(program for _, channel in channels for program in channel.programs)
    return Part(name, onset, stop, pitch, number, end, bends, programs, strings)
