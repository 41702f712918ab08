"""MIDI files made byte by byte: what they hold, and what a reader must make of them.

Each case: a name, the bytes, what is expected (notes as (onset, duration, pitch) in quarter notes, or the line
of an error), a remark that must be among the melody's, and reading options.
"""

from dataclasses import dataclass, field
from fractions import Fraction

END = (0, b"\xff\x2f\x00")
FOUR_FOUR = (0, b"\xff\x58\x04\x04\x02\x18\x08")
TEMPO_120 = (0, b"\xff\x51\x03\x07\xa1\x20")
#: Four quarter notes C D E F from tick 0 at 480 ticks to a quarter.
SCALE = [(i, 1, 60 + p) for i, p in enumerate((0, 2, 4, 5))]


def length(value):
    """A variable-length quantity, as long as it needs to be."""
    out = [value & 0x7F]
    while value := value >> 7:
        out.append(0x80 | value & 0x7F)
    return bytes(reversed(out))


def chunk(name, body, size=None):
    return name + (len(body) if size is None else size).to_bytes(4, "big") + body


def track(events, size=None, end=True):
    """A track chunk of (delta, bytes) events."""
    body = b"".join(length(delta) + event for delta, event in [*events, *([END] if end else [])])
    return chunk(b"MTrk", body, size)


def smf(*tracks, kind=1, division=480, promised=None):
    count = len(tracks) if promised is None else promised
    head = kind.to_bytes(2, "big") + count.to_bytes(2, "big") + (division & 0xFFFF).to_bytes(2, "big")
    return chunk(b"MThd", head) + b"".join(tracks)


def on(pitch, channel=0, velocity=80):
    return bytes((0x90 | channel, pitch, velocity))


def off(pitch, channel=0):
    return bytes((0x80 | channel, pitch, 0))


def meta(kind, body):
    return b"\xff" + bytes((kind,)) + length(len(body)) + body


def named(name):
    return (0, meta(3, name.encode()))


def line(notes=SCALE, channel=0, division=480, gate=1.0):
    """Events of a melody given as (onset, duration, pitch) in quarter notes."""
    timed = []
    for onset, duration, pitch in notes:
        start = Fraction(onset) * division
        timed.append((int(start), 1, on(pitch, channel)))
        timed.append((int(start + Fraction(duration) * Fraction(gate) * division), 0, off(pitch, channel)))
    return delta(sorted(timed))


def delta(timed):
    """Events (delta, bytes) of events (tick, order, bytes)."""
    now, events = 0, []
    for tick, _, event in timed:
        events.append((tick - now, event))
        now = tick
    return events


@dataclass(frozen=True)
class Case:
    item: int
    name: str
    data: bytes
    notes: list | None = None
    error: str = ""
    remark: str = ""
    options: dict = field(default_factory=dict)

    def __str__(self):
        return f"{self.item} {self.name}"


def riff(data, extra=b""):
    body = b"RMID" + extra + b"data" + len(data).to_bytes(4, "little") + data + b"\x00" * (len(data) % 2)
    return b"RIFF" + len(body).to_bytes(4, "little") + body


PLAIN = smf(track([FOUR_FOUR, *line()]))
INFO = b"LIST" + (5).to_bytes(4, "little") + b"INFOx\x00"


def string_guitar(channels=6, programs=(29,), bends=True):
    """A lick over six strings, a channel each, with a held bend of two semitones and a vibrato."""
    timed = [(0, 0, bytes((0xC0 | c, programs[c % len(programs)]))) for c in range(channels)] if programs else []
    for index, pitch in enumerate((64, 67, 69, 72)):
        channel = index % channels
        timed += [(480 * index, 2, on(pitch, channel)), (480 * index + 470, 0, off(pitch, channel))]
    if bends:
        # The third note (A on channel 3) is bent up by two semitones at once and held: B.
        timed += [(960 + 60, 1, b"\xe2\x7f\x7f"), (1440 - 5, 1, b"\xe2\x00\x40")]
        # The fourth one wavers by an eighth of a semitone.
        for k in range(12):
            timed.append((1440 + 30 * k, 3, bytes((0xE3, 0, 0x40 + (4 if k % 2 else -4)))))
        timed.append((1440 + 360, 3, b"\xe3\x00\x40"))
    last = channels - 1
    timed += [(1920, 2, on(76, last)), (2400, 0, off(76, last))]
    return smf(track([FOUR_FOUR, named("Lead"), *delta(sorted(timed, key=lambda e: (e[0], e[1])))]))


def cases():
    bad_data = [(0, on(60)), (480, off(60)), (0, b"\x90\xbc\x50"), (480, b"\x90\x3e\xd0"), (480, off(62))]
    return [
        Case(41, "RIFF-wrapped", riff(PLAIN), SCALE, remark="read out of a RIFF wrapper"),
        Case(41, "RIFF-wrapped behind another chunk", riff(PLAIN, INFO), SCALE),
        Case(41, "RIFF wrapper without data", riff(b"")[:12] + INFO, error="a RIFF wrapper without MIDI data"),
        Case(
            42,
            "alien chunk before and between the tracks",
            PLAIN[:14] + chunk(b"XFIH", b"junk!") + PLAIN[14:] + chunk(b"XFKM", b""),
            SCALE,
            remark="2 chunks that are no track skipped",
        ),
        Case(42, "long header", PLAIN[:7] + b"\x09" + PLAIN[8:14] + b"abc" + PLAIN[14:], SCALE),
        Case(
            43,
            "truncated in the third note",
            PLAIN[: PLAIN.index(on(64)) + 2],
            SCALE[:2],
            remark="track 1 is damaged (at byte",
        ),
        Case(43, "no end mark", smf(track(line(), end=False)), SCALE, remark="track 1 has no end mark"),
        Case(43, "cut after the header", PLAIN[:14], error="no tracks in it"),
        Case(43, "cut in the header", PLAIN[:10], error="no MIDI header"),
        Case(44, "SMPTE division", smf(track(line()), division=0xE728), error="counts in seconds (SMPTE)"),
        Case(
            44,
            # 25 frames of 40 parts: a tick is a millisecond.
            "SMPTE division, beats given",
            smf(track([(500, on(60)), (480, off(60)), (20, on(62)), (480, off(62))]), division=0xE728),
            [(1, 1, 60), (2, 1, 62)],
            options={"tempo": 120.0},
        ),
        Case(44, "impossible SMPTE division", smf(track(line()), division=0x8000), error="an impossible time division"),
        Case(44, "division 0", smf(track(line()), division=0), error="time division 0"),
        Case(
            46, "tempo 0", smf(track([(0, meta(0x51, b"\0\0\0")), *line()])), SCALE, remark="1 impossible tempo event"
        ),
        Case(
            46,
            "tempo on another track",
            smf(track([TEMPO_120]), track([(0, meta(0x51, b"\x0f\x42\x40"))]), track(line())),
            SCALE,
        ),
        Case(
            47,
            "bad meter and key events",
            smf(
                track(
                    [
                        (0, meta(0x58, b"\x00\x02\x18\x08")),
                        (0, meta(0x58, b"\x04\x0f\x18\x08")),
                        (0, meta(0x59, b"\x09\x00")),
                        *line(),
                    ]
                )
            ),
            SCALE,
            remark="2 impossible meter events left out",
        ),
        Case(
            47,
            "short key event",
            smf(track([(0, meta(0x59, b"\x01")), *line()])),
            SCALE,
            remark="1 impossible key event",
        ),
        Case(
            48,
            "data byte over 127",
            smf(track(bad_data)),
            [(0, 1, 60), (2, 1, 62)],
            remark="1 event with a data byte over 127",
        ),
        Case(
            48,
            "header promises more tracks",
            smf(track(line()), promised=65535),
            SCALE,
            remark="the header promises 65535 tracks, there are 1",
        ),
        Case(
            49,
            "missing note-off",
            smf(track([(0, on(60)), (480, on(62)), (480, off(62))])),
            [(0, 1, 60), (1, 1, 62)],
            remark="1 note without an end held to the next one (in bar 1)",
        ),
        Case(
            49,
            "last note-off missing",
            smf(track([(0, on(60)), (480, off(60)), (0, on(62)), (960, b"\x90\x01\x00")])),
            [(0, 1, 60), (1, 2, 62)],
        ),
        Case(
            49,
            "overlap",
            smf(track([(0, on(60)), (480, on(62)), (240, off(60)), (240, off(62))])),
            [(0, 1, 60), (1, 1, 62)],
            remark="1 note cut where the next one begins (in bar 1)",
        ),
        Case(
            49,
            "same pitch struck again before its end",
            smf(track([(0, on(60)), (480, on(60)), (240, off(60)), (240, off(60))])),
            [(0, 1, 60), (1, 1, 60)],
        ),
        Case(
            49,
            "zero length",
            smf(track([(0, on(60)), (0, off(60)), (480, on(62)), (480, off(62))])),
            [(1, 1, 62)],
            remark="1 note without length left out",
        ),
        Case(49, "note-off without a note", smf(track([(0, off(70)), *line()])), SCALE),
        Case(
            50,
            "a channel a string",
            string_guitar(),
            [(0, 1, 64), (1, 1, 67), (2, 1, 71), (3, 1, 72), (4, 1, 76)],
            remark="channels 1, 2, 3, 4, 6 read as the strings of one guitar",
        ),
        Case(
            51,
            "drums left out",
            smf(track([FOUR_FOUR, *line()]), track([(0, on(36, 9)), (480, off(36, 9))])),
            SCALE,
            remark="1 note of the drum channel left out",
        ),
        Case(51, "only drums", smf(track([(0, on(36, 9)), (480, off(36, 9))])), error="no notes in it but drums"),
        Case(51, "no notes", smf(track([FOUR_FOUR])), error="no notes in it"),
        Case(
            51,
            "many tracks: most notes",
            smf(track([named("Solo"), *line()]), track([named("Bass"), *line([(0, 4, 36)])])),
            SCALE,
            remark="several parts: read 1 Solo (4 notes), not 2 Bass",
        ),
        Case(
            51,
            "a part by name",
            smf(track([named("Solo"), *line()]), track([named("Bass"), *line([(0, 4, 36)])])),
            [(0, 4, 36)],
            options={"part": "bass"},
        ),
        Case(
            51,
            "a part by number",
            smf(track([named("Solo"), *line()]), track([named("Bass"), *line([(0, 4, 36)])])),
            [(0, 4, 36)],
            options={"part": "2"},
        ),
        Case(
            51,
            "no such part",
            smf(track([named("Solo"), *line()])),
            error="no part 'Flute'; there is: 1 Solo",
            options={"part": "Flute"},
        ),
        Case(
            51,
            "chords beside a melody",
            smf(
                track([named("Keys"), *delta(sorted((480 * i, 0, on(p)) for i in range(4) for p in (48, 52, 55)))]),
                track([named("Solo"), *line()]),
            ),
            SCALE,
        ),
        Case(52, "no meter", smf(track(line())), SCALE, remark="no meter given: 4/4 assumed"),
        Case(
            53,
            "giant delta",
            smf(track([(0, on(60)), (480, off(60)), (0x0FFFFFFF, on(62)), (480, off(62))])),
            error="its last note ends in bar",
        ),
        Case(53, "giant delta after the notes", smf(track([*line(), (0x0FFFFFFF, meta(1, b"end"))])), SCALE),
        Case(
            53,
            "nine-byte delta",
            smf(chunk(b"MTrk", track(line())[8:-4] + b"\xff\xff\xff\xff\xff\xff\xff\xff\x7f" + on(70))),
            SCALE,
            remark="track 1 is damaged",
        ),
        Case(
            53,
            "a million notes",
            smf(chunk(b"MTrk", (b"\x00" + on(60) + b"\x01" + off(60)) * 1_000_000)),
            error="more than 120000",
        ),
    ]
