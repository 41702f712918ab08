"""Cases 41 to 53: standard MIDI files, written byte by byte (Standard MIDI Files 1.0, 1988). 480 ticks a quarter."""

from __future__ import annotations

from .case import Case

ANY = r"."
PITCHES = (60, 62, 64, 65, 67, 69, 71, 72)
STEADY = (0, 1, 2, 3, 4, 5, 6, 7)
SCALE = {"pitches": PITCHES, "onsets": STEADY}
END = (0, b"\xff\x2f\x00")
METER = (0, b"\xff\x58\x04\x04\x02\x18\x08")
TEMPO_120 = (0, b"\xff\x51\x03\x07\xa1\x20")


def variable(number: int) -> bytes:
    """A variable-length quantity."""
    septets = [number & 0x7F]
    while number := number >> 7:
        septets.append(number & 0x7F | 0x80)
    return bytes(reversed(septets))


def track(*events: tuple[int, bytes]) -> bytes:
    """A track of (ticks since the one before, message)."""
    body = b"".join(variable(delta) + message for delta, message in events)
    return b"MTrk" + len(body).to_bytes(4, "big") + body


def header(format_: int, count: int, division: int | bytes = 480) -> bytes:
    """The header chunk."""
    last = division if isinstance(division, bytes) else division.to_bytes(2, "big")
    return b"MThd\x00\x00\x00\x06" + format_.to_bytes(2, "big") + count.to_bytes(2, "big") + last


def play(*pitches: int, channel: int = 0, length: int = 480) -> list[tuple[int, bytes]]:
    """Notes one after the other."""
    events = []
    for pitch in pitches:
        events += [(0, bytes([0x90 | channel, pitch, 90])), (length, bytes([0x80 | channel, pitch, 0]))]
    return events


def name(words: str) -> tuple[int, bytes]:
    """A track name."""
    return 0, b"\xff\x03" + variable(len(words)) + words.encode()


def single(*events: tuple[int, bytes], division: int | bytes = 480, format_: int = 0) -> bytes:
    """A file of one track."""
    return header(format_, 1, division) + track(*events)


PLAIN = single(METER, TEMPO_120, *play(*PITCHES), END)


def wrapped() -> bytes:
    """The same in a RIFF file."""
    data = b"data" + len(PLAIN).to_bytes(4, "little") + PLAIN
    return b"RIFF" + (4 + len(data)).to_bytes(4, "little") + b"RMID" + data


def with_alien_chunks() -> bytes:
    """Chunks of other types before and behind the track: to be passed over, says the standard."""
    alien = b"XFIH" + (5).to_bytes(4, "big") + b"hello"
    first = header(0, 1)
    return first + alien + PLAIN[len(first) :] + alien


def on_six_channels() -> bytes:
    """A line played on six strings, a channel each, the fourth note bent up and back."""
    events: list[tuple[int, bytes]] = [METER]
    for index, pitch in enumerate(PITCHES):
        channel = index % 6
        if index == 3:
            bend = [(0, b"\xe3\x00\x40"), (0, bytes([0x93, pitch, 90])), (120, b"\xe3\x00\x50"), (120, b"\xe3\x00\x60")]
            events += [*bend, (120, b"\xe3\x00\x40"), (120, bytes([0x83, pitch, 0]))]
        else:
            events += play(pitch, channel=channel)
    return single(*events, END)


def band() -> bytes:
    """A conductor's track, drums, a bass, chords and the lead."""
    drums = track(name("Drums"), *play(*[36, 38] * 16, channel=9, length=240), END)
    bass = track(name("Bass"), *play(*[36] * 8, channel=1), END)
    lead = track(name("Lead guitar"), *play(*PITCHES, channel=2), END)
    return header(1, 4) + track(METER, TEMPO_120, END) + drums + bass + lead


def lead_named(melodies: list) -> None:
    """The lead was taken, not the drums."""
    assert melodies[0].part == "Lead guitar"


def tempo_90(melodies: list) -> None:
    """The tempo of another track holds."""
    assert melodies[0].tempo is not None
    assert abs(melodies[0].tempo - 90) < 0.01


def lasting(*quarters: float):
    """A check of the lengths, in quarters."""

    def check(melodies: list) -> None:
        assert [round(length / 10080, 3) for length in melodies[0].duration.tolist()] == list(quarters)

    return check


def near_the_beats(melodies: list) -> None:
    """Played a little off the beat, the notes stay near where they were played."""
    onset = (melodies[0].onset - melodies[0].onset[0]) / 10080
    assert all(abs(found - played) < 0.3 for found, played in zip(onset, STEADY, strict=True))


def unquantised() -> bytes:
    """The scale as hands play it, with no meter told."""
    late = (0, 17, -11, 9, -20, 23, 4, -6)
    events, now = [], 0
    for index, (pitch, off) in enumerate(zip(PITCHES, late, strict=True)):
        start = 480 * index + off
        events += [(start - now, bytes([0x90, pitch, 90])), (400, bytes([0x80, pitch, 0]))]
        now = start + 400
    return single(*events, END)


OFF_TRACK = header(1, 2) + track(*play(*PITCHES), END) + track((0, b"\xff\x51\x03\x0a\x2c\x2b"), END)
BAD_METER = (0, b"\xff\x58\x04\x04\xff\x18\x08")
NO_METER = (0, b"\xff\x58\x04\x00\x02\x18\x08")
BAD_KEY = (0, b"\xff\x59\x02\x63\x07")
HIGH = single(METER, *play(60, 62, 64, 65), (0, b"\x90\xc8\x5a"), (480, b"\x80\xc8\x00"), *play(67, 69, 71, 72), END)
NEVER_OFF = single(METER, *play(*PITCHES[:-1]), (0, b"\x90\x48\x5a"), (480, END[1]))
OVERLAP = single(
    METER,
    (0, b"\x90\x3c\x5a"),
    (480, b"\x90\x3e\x5a"),
    (120, b"\x80\x3c\x00"),
    (360, b"\x80\x3e\x00"),
    *play(*PITCHES[2:]),
    END,
)
ZERO = single(METER, *play(60, 62), (0, b"\x90\x4c\x5a"), (0, b"\x80\x4c\x00"), *play(*PITCHES[2:]), END)
GIANT = single(METER, *play(60, 62), (0x0FFFFFFF, b"\x90\x40\x5a"), (480, b"\x80\x40\x00"), END)
GIANTS = single(METER, *play(60), *[(0x0FFFFFFF, b"\xff\x01\x00")] * 5000, *play(62, 64), END)

MIDI_FILES = (
    Case(41, "RIFF around it", wrapped(), "case.rmi", **SCALE),
    Case(42, "alien chunks", with_alien_chunks(), "case.mid", **SCALE),
    Case(43, "no end of track", single(METER, *play(*PITCHES)), "case.mid", **SCALE),
    Case(43, "cut off", PLAIN[:-30], "case.mid", pitches=PITCHES[:5], error=ANY, remark=ANY),
    Case(43, "cut off in the header", PLAIN[:10], "case.mid", error=ANY),
    Case(43, "more tracks promised", header(1, 65535) + PLAIN[14:], "case.mid", error=ANY, remark=ANY, **SCALE),
    Case(
        44,
        "SMPTE division",
        single(*play(*PITCHES, length=500), END, division=b"\xe7\x28"),
        "case.mid",
        error=ANY,
        **SCALE,
    ),
    Case(44, "division 0", single(METER, *play(*PITCHES), END, division=0), "case.mid", error=ANY),
    Case(
        45,
        "format 2",
        header(2, 2) + track(*play(*PITCHES), END) + track(*play(48, 50), END),
        "case.mid",
        error=ANY,
        **SCALE,
    ),
    Case(
        46,
        "tempo 0",
        single(METER, (0, b"\xff\x51\x03\x00\x00\x00"), *play(*PITCHES), END),
        "case.mid",
        error=ANY,
        **SCALE,
    ),
    Case(46, "tempo on another track", OFF_TRACK, "case.mid", check=tempo_90, **SCALE),
    Case(47, "meter of 4/2^255", single(BAD_METER, *play(*PITCHES), END), "case.mid", remark=ANY, **SCALE),
    Case(47, "meter of 0/4", single(NO_METER, *play(*PITCHES), END), "case.mid", remark=ANY, **SCALE),
    Case(47, "key of 99 sharps", single(METER, BAD_KEY, *play(*PITCHES), END), "case.mid", remark=ANY, **SCALE),
    Case(48, "data byte over 127", HIGH, "case.mid", error=ANY, remark=ANY, pitches=PITCHES),
    Case(49, "missing note-off", NEVER_OFF, "case.mid", remark=ANY, **SCALE),
    Case(49, "overlap", OVERLAP, "case.mid", **SCALE),
    Case(49, "zero length", ZERO, "case.mid", remark=ANY, **SCALE),
    Case(50, "a channel a string, with a bend", on_six_channels(), "case.mid", **SCALE),
    Case(51, "drums and many tracks", band(), "case.mid", check=lead_named, **SCALE),
    Case(52, "unquantised, no meter", unquantised(), "case.mid", check=near_the_beats, remark=ANY, pitches=PITCHES),
    Case(53, "giant delta", GIANT, "case.mid", error=ANY),
    Case(53, "five thousand giant deltas", GIANTS, "case.mid", error=ANY),
)
