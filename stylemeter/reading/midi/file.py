"""The bytes of a Standard MIDI File, taken apart into the events a melody needs.

Conventions: an event is its tick, its status byte and its data (of a meta event its type first). What can't be, or
isn't needed, is left out or mended, so that whoever takes the events need check nothing; what was done is told in
remarks.

References
----------
.. [1] MIDI Manufacturers Association, Standard MIDI Files 1.0 (RP-001), 1988/1996: chunks, variable-length
   quantities, running status, meta events, SMPTE division.
.. [2] RP-029 "Bundling SMF and DLS data in an RMID file": the RIFF wrapper.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from stylemeter.errors import InputError, LimitError
from stylemeter.reading.draft.build import count_words

__all__ = ["EVENTS_MAX", "Event", "Scanned", "scan"]

#: Tick, status byte, data.
Event = tuple[int, int, bytes]

#: Events kept for decoding, and events looked at: sixty thousand notes of all parts, and room for what surrounds them.
EVENTS_MAX = 120_000
LOOKED_AT_MAX = 1_500_000
TRACKS_MAX = 1_000
#: Bytes kept of a track's name or a text event.
TEXT_BYTES_MAX = 200
#: Last tick of a track: years, at any tempo.
CLOCK_MAX = 2**40

#: Data bytes after a status byte, for channel messages (by the upper four bits) and system messages.
_CHANNEL_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
_SYSTEM_BYTES = {0xF1: 1, 0xF2: 2, 0xF3: 1, 0xF6: 0, 0xF8: 0, 0xF9: 0, 0xFA: 0, 0xFB: 0, 0xFC: 0, 0xFD: 0, 0xFE: 0}
#: Controllers that say how far a pitch bend reaches (data entry and registered parameter number).
_CONTROLLERS = frozenset({6, 38, 98, 99, 100, 101})
#: Meta events: text, a track's name, lyrics, marker, cue point; tempo, meter, key.
TEXTS = frozenset({0x01, 0x03, 0x05, 0x06, 0x07})
NAME = 0x03
TEMPO, METER, KEY = 0x51, 0x58, 0x59
_END = 0x2F
DRUMS = 9

_BAD = {TEMPO: "impossible tempo event", METER: "impossible meter event", KEY: "impossible key event"}


@dataclass(frozen=True, slots=True)
class Scanned:
    """A file taken apart.

    Attributes
    ----------
    kind : int
        Format: 0 one track, 1 tracks of one tune, 2 each track a tune.
    division : int
        Ticks to a quarter note; 0 where the file counts in seconds (SMPTE).
    tick_seconds : float or None
        Length of a tick where the file counts in seconds.
    tracks : tuple of list of (tick, status, data)
        Events of each track, in order.
    ends : tuple of int
        Last tick of each track.
    drums : int
        Notes of the drum channel left out.
    remarks : list of str
    """

    kind: int
    division: int
    tick_seconds: float | None
    tracks: tuple[list[Event], ...]
    ends: tuple[int, ...]
    drums: int
    remarks: list[str]


@dataclass(slots=True)
class _Count:
    """What is counted over all tracks."""

    kept: int = 0
    looked_at: int = 0
    drums: int = 0
    mended: Counter[tuple[str, str]] = field(default_factory=Counter)
    remarks: list[str] = field(default_factory=list)


class _DamageError(Exception):
    """A place in a track from which nothing can be read."""


def scan(data: bytes) -> Scanned:
    """Take a MIDI file apart.

    Parameters
    ----------
    data : bytes
        A Standard MIDI File, or one in a RIFF wrapper.

    Returns
    -------
    Scanned

    Raises
    ------
    InputError
        If there is no header, no time division or no track.
    LimitError
        If there are more events than can be read in bounded time.
    """
    smf, wrapped = _unwrap(data)
    count = _Count()
    kind, promised, division, tick_seconds, at = _header(smf, count)
    tracks: list[list[Event]] = []
    ends: list[int] = []
    for chunk, cut in _track_chunks(smf, at, count):
        events, end = _track(chunk, len(tracks) + 1, cut, count)
        tracks.append(events)
        ends.append(end)
        if len(tracks) > TRACKS_MAX:
            raise LimitError(f"more than {TRACKS_MAX} tracks", mend="export the one part alone")
    if not tracks:
        raise InputError("no tracks in it", mend="export it again as a Standard MIDI File")
    if promised != len(tracks):
        count.remarks.append(f"the header promises {count_words(promised, 'track')}, there are {len(tracks)}")
    remarks = (["read out of a RIFF wrapper"] if wrapped else []) + count.remarks
    remarks += [f"{count_words(number, noun)} {how}" for (noun, how), number in sorted(count.mended.items())]
    return Scanned(kind, division, tick_seconds, tuple(tracks), tuple(ends), count.drums, remarks)


def _unwrap(data: bytes) -> tuple[bytes, bool]:
    """The MIDI file inside a RIFF wrapper, and whether there was one."""
    if not (data[:4] == b"RIFF" and data[8:12] == b"RMID"):
        return data, False
    at = 12
    while at + 8 <= len(data):
        size = int.from_bytes(data[at + 4 : at + 8], "little")
        if data[at : at + 4] == b"data":
            return data[at + 8 : at + 8 + size], True
        at += 8 + size + size % 2
    raise InputError("a RIFF wrapper without MIDI data in it", mend="export it as a plain MIDI file")


def _header(smf: bytes, count: _Count) -> tuple[int, int, int, float | None, int]:
    """Format, number of tracks promised, division, seconds a tick, and where the first track may begin."""
    size = int.from_bytes(smf[4:8], "big")
    if smf[:4] != b"MThd" or size < 6 or len(smf) < 14:
        raise InputError("no MIDI header", mend="check that it is a Standard MIDI File, or export it again")
    kind, promised, division = (int.from_bytes(smf[i : i + 2], "big") for i in (8, 10, 12))
    if kind > 2:
        count.remarks.append(f"unknown MIDI format {kind}: read as tracks of one tune")
        kind = 1
    if division & 0x8000:
        frames, parts = 256 - (division >> 8), division & 0xFF
        if frames not in (24, 25, 29, 30) or not parts:
            raise InputError("an impossible time division (SMPTE)", mend="export it again with ticks to a quarter note")
        # 29 stands for 30 drop-frame, whose frames last 1001/30000 of a second.
        return kind, promised, 0, 1 / ((30000 / 1001 if frames == 29 else frames) * parts), 8 + size
    if division == 0:
        raise InputError("time division 0: its ticks have no length", mend="export it again")
    return kind, promised, division, None, 8 + size


def _track_chunks(smf: bytes, at: int, count: _Count) -> Iterator[tuple[bytes, bool]]:
    """Each track's bytes, and whether the file ends before they do; other chunks are skipped."""
    alien = 0
    while at + 8 <= len(smf):
        size = int.from_bytes(smf[at + 4 : at + 8], "big")
        if smf[at : at + 4] == b"MTrk":
            yield smf[at + 8 : at + 8 + size], at + 8 + size > len(smf)
        else:
            alien += 1
        at += 8 + size
    if alien:
        count.remarks.append(f"{count_words(alien, 'chunk')} that {'is' if alien == 1 else 'are'} no track skipped")


def _track(chunk: bytes, number: int, cut: bool, count: _Count) -> tuple[list[Event], int]:
    """The events of a track a melody needs, up to where the track can be read, and its last tick."""
    events: list[Event] = []
    clock = end = 0
    try:
        for delta, status, payload in _events(chunk, count):
            clock += delta
            if clock > CLOCK_MAX:
                raise LimitError(f"the pauses of track {number} pass all measure", mend="export it again")
            if status == 0xFF and payload[0] == _END:
                if cut:
                    count.remarks.append(f"track {number} claims to be longer than the file: read to its end mark")
                return events, clock
            kept = _keep(status, payload, count)
            if kept is None:
                continue
            count.kept += 1
            if count.kept > EVENTS_MAX:
                raise LimitError(f"more than {EVENTS_MAX} notes and bends", mend="export the one part alone")
            events.append((clock, status, kept))
            end = clock
        if cut:
            raise _DamageError("the file ends in it")
        count.remarks.append(f"track {number} has no end mark")
    except _DamageError as damage:
        count.remarks.append(f"track {number} is damaged ({damage}): read up to there")
    return events, end


def _events(chunk: bytes, count: _Count) -> Iterator[tuple[int, int, bytes]]:
    """Delta, status byte and payload of each event; a meta event's payload begins with its type."""
    at = 0
    running = 0
    while at < len(chunk):
        count.looked_at += 1
        if count.looked_at > LOOKED_AT_MAX:
            raise LimitError(f"more than {LOOKED_AT_MAX} events", mend="export the one part alone")
        delta, at = _variable_length(chunk, at)
        if at >= len(chunk):
            raise _DamageError(f"at byte {at}: cut short")
        status = chunk[at]
        if status >= 0x80:
            at += 1
        else:
            status = running
        if 0x80 <= status < 0xF0:
            running = status
        stop, start = _payload(chunk, at, status)
        if stop > len(chunk):
            raise _DamageError(f"at byte {at}: cut short")
        kind = chunk[at : at + 1] if status == 0xFF else b""
        yield delta, status, kind + chunk[start:stop]
        at = stop


def _payload(chunk: bytes, at: int, status: int) -> tuple[int, int]:
    """Where an event's payload ends and begins."""
    if status == 0xFF:
        size, start = _variable_length(chunk, at + 1)
    elif status in (0xF0, 0xF7):
        size, start = _variable_length(chunk, at)
    elif status in _SYSTEM_BYTES:
        size, start = _SYSTEM_BYTES[status], at
    elif status & 0xF0 in _CHANNEL_BYTES:
        size, start = _CHANNEL_BYTES[status & 0xF0], at
    else:
        raise _DamageError(f"at byte {at}: no event begins there")
    return start + size, start


def _variable_length(chunk: bytes, at: int) -> tuple[int, int]:
    """A variable-length quantity of at most four bytes, and where it ends."""
    value = 0
    for place in range(at, at + 4):
        if place >= len(chunk):
            raise _DamageError(f"at byte {at}: cut short")
        byte = chunk[place]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, place + 1
    raise _DamageError(f"at byte {at}: a length of more than four bytes")


def _keep(status: int, payload: bytes, count: _Count) -> bytes | None:
    """Data of an event that is kept, mended where it must be; None for one that is left out."""
    if status == 0xFF:
        return _keep_meta(payload[0], payload[1:], count)
    message = status & 0xF0
    if status >= 0xF0 or message not in (0x80, 0x90, 0xB0, 0xC0, 0xE0):
        return None
    if message in (0x80, 0x90) and status & 0x0F == DRUMS:
        count.drums += message == 0x90 and payload[1] > 0
        return None
    if message == 0xB0 and payload[0] not in _CONTROLLERS:
        return None
    if payload[0] > 127:
        count.mended["event with a data byte over 127", "left out"] += 1
        return None
    if payload[-1] > 127:
        count.mended["data byte over 127", "read as 127"] += 1
    return bytes(min(byte, 127) for byte in payload)


def _keep_meta(kind: int, payload: bytes, count: _Count) -> bytes | None:
    """Type and data of a meta event that is kept."""
    if kind in TEXTS:
        payload = payload[:TEXT_BYTES_MAX]
    elif kind not in _BAD:
        return None
    elif not _possible(kind, payload):
        count.mended[_BAD[kind], "left out"] += 1
        return None
    return bytes((kind,)) + payload


def _possible(kind: int, payload: bytes) -> bool:
    """Whether a tempo, meter or key event says something that can be."""
    if kind == TEMPO:
        return len(payload) == 3 and any(payload)
    if kind == METER:
        return len(payload) == 4 and 1 <= payload[0] <= 64 and payload[1] <= 6
    return len(payload) == 2 and (payload[0] <= 7 or payload[0] >= 249) and payload[1] <= 1
