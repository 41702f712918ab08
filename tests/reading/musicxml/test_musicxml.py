"""MusicXML: the inputs 1 to 40 of the sixty (33 and 15, 26, 27, 32 in the tests beside this one), parts and keys."""

from __future__ import annotations

from fractions import Fraction

import pytest
from inputs.musicxml import CASES, Case
from inputs.sixty.xml import attributes, bars, measure, note, notes, part, plain, whole

from stylemeter.errors import InputError, LimitError, UnknownNameError
from stylemeter.music.melody import Melody
from stylemeter.music.meter import TICKS
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.musicxml.read import read

STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def one(data: bytes, **options: object) -> Melody:
    """The one melody of a file."""
    (melody,) = read(data, ReadOptions(**options))
    return melody


def named(melody: Melody) -> list[tuple[Fraction, float]]:
    """Onsets in quarters with pitches."""
    return [(Fraction(int(t), TICKS), float(p)) for t, p in zip(melody.onset, melody.pitch, strict=True)]


def expected(text: str) -> list[tuple[Fraction, float]]:
    """ "C#4@1/2" -> (1/2, 61)."""
    found = []
    for word in text.split():
        name, onset = word.split("@")
        pitch = STEPS[name[0]] + name.count("#") - name.count("b") + 12 * (int(name.lstrip("ABCDEFG#b")) + 1)
        found.append((Fraction(onset), float(pitch)))
    return found


@pytest.mark.parametrize("case", CASES, ids=str)
def test_input_gives_its_notes_or_its_error(case: Case):
    if case.error:
        with pytest.raises(InputError) as caught:
            read(case.data, ReadOptions())
        assert str(caught.value).startswith(case.error)
        return
    melody = one(case.data)
    if case.notes:
        assert named(melody) == expected(case.notes)
    assert melody.remarks == case.remarks
    assert " ".join(f"{m}@{Fraction(m.onset, TICKS)}" for m in melody.meters) == case.meters
    assert melody.beat[0] == case.first_beat
    chords = " ".join(f"{Fraction(c.onset, TICKS)}:{c.root}:{c.kind}" for c in melody.chords or ())
    assert chords == case.chords
    for name, value in case.more.items():
        assert found_as(melody, name) == value


def found_as(melody: Melody, name: str) -> object:
    """A further property, in the units of the cases."""
    if name == "ticks":
        return melody.onset.tolist()
    if name == "duration":
        return [d / TICKS for d in melody.duration.tolist()]
    value = getattr(melody, name)
    return value.tolist() if name in ("bar", "beat") else value


def test_every_item_of_the_list_has_an_input():
    elsewhere = {15, 26, 27, 32, 33}
    assert {case.item for case in CASES} | elsewhere == set(range(1, 41))


def test_more_xml_than_the_limit_is_refused(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(limits, "ZIP_BYTES_MAX", 1000)
    with pytest.raises(LimitError, match="bytes of XML; the limit is 1000 bytes"):
        read(plain(), ReadOptions())


@pytest.mark.parametrize(("limit", "value"), [("NOTES_MAX", 7), ("BARS_MAX", 1), ("TICKS_MAX", 5 * TICKS)])
def test_limits_are_kept(monkeypatch: pytest.MonkeyPatch, limit: str, value: int):
    monkeypatch.setattr(limits, limit, value)
    with pytest.raises(LimitError):
        read(plain(), ReadOptions())
    monkeypatch.setattr(limits, limit, 100_000)
    assert len(one(plain())) == 8


TWO = whole(
    part(measure(attributes() + notes("C4 D4 E4 F4"))),
    part(measure(attributes() + notes("C3 G3", 8)), "P2"),
    names=("Lead", "Low"),
)


@pytest.mark.parametrize(
    ("wanted", "name"), [(None, "Lead"), ("low", "Low"), ("2", "Low"), ("Lead", "Lead"), ("1", "Lead")]
)
def test_part_by_name_number_or_most_notes(wanted: str | None, name: str):
    assert one(TWO, part=wanted).part == name


def test_unknown_part_lists_the_parts():
    with pytest.raises(UnknownNameError) as caught:
        one(TWO, part="Flute")
    assert str(caught.value) == "no part 'Flute'; there is: 1 Lead, 2 Low"


def test_chords_do_not_count_as_a_line():
    strummed = "".join(note("C3", 2) + note("E3", 2, before="<chord/>") for _ in range(8))
    data = whole(
        part(measure(attributes() + strummed)),
        part(measure(attributes() + notes("C4 D4 E4 F4")), "P2"),
        names=("Strummed", "Lead"),
    )
    assert one(data).part == "Lead"


def test_drums_are_never_the_melody_but_on_demand():
    drums = part(measure(attributes() + notes("C2 C2 C2 C2 C2 C2 C2 C2", 2)), "P2")
    data = whole(part(measure(attributes() + notes("C4 D4 E4 F4"))), drums, names=("Lead", "Drum kit"))
    assert one(data).part == "Lead"
    assert one(data, part="Drum kit").part == "Drum kit"
    by_channel = data.replace(
        b"<part-name>Drum kit</part-name>",
        b"<part-name>Kit</part-name><midi-instrument><midi-channel>10</midi-channel></midi-instrument>",
    )
    assert one(by_channel).part == "Lead"


def test_broken_part_beside_a_good_one_is_told():
    broken = part(measure(attributes() + note("C4", -1)), "P2")
    data = whole(part(measure(attributes() + notes("C4 D4 E4 F4"))), broken, names=("Lead", "Broken"))
    assert any("part 'Broken' can't be read (bar 1: duration '-1'" in remark for remark in one(data).remarks)
    with pytest.raises(InputError, match="part 'Broken': bar 1: duration '-1' is not a length"):
        one(data, part="Broken")


def test_part_missing_from_the_list_is_read():
    data = whole(part(measure(attributes() + notes("C4 D4 E4 F4")), "P9"), names=())
    assert len(one(data)) == 4
    assert "part 1 is not in the part list: read all the same" in one(data).remarks


def test_one_name_twice_gives_the_fuller_part():
    data = whole(
        part(measure(attributes() + notes("C4", 16))),
        part(measure(attributes() + notes("C4 D4 E4 F4")), "P2"),
        names=("Lead", "Lead"),
    )
    assert len(one(data, part="Lead")) == 4
    assert "2 parts are named 'Lead': number 2 read" in one(data, part="Lead").remarks


def test_upper_staff_unless_the_lower_is_far_fuller():
    def piano(upper: str, lower: str) -> bytes:
        back = "<backup><duration>16</duration></backup>"
        return bars(
            notes(upper, 16 // len(upper.split()), staff=1)
            + back
            + notes(lower, 16 // len(lower.split()), voice=5, staff=2)
        )

    assert one(piano("C5 D5", "C3 D3 E3 F3")).pitch.tolist() == [72, 74]
    assert one(piano("C5", "C3 D3 E3 F3")).pitch.tolist() == [48, 50, 52, 53]
    assert "4 notes of another staff left out (first in bar 1)" in one(piano("C5 D5", "C3 D3 E3 F3")).remarks


def test_bar_short_in_one_part_is_as_long_as_in_the_others():
    data = whole(
        part(measure(attributes() + notes("C4 D4 E4")) + measure(notes("F4 G4 A4 B4"), 2)),
        part(measure(attributes() + note("C3", 16)) + measure(note("C3", 16), 2), "P2"),
        names=("Lead", "Low"),
    )
    assert named(one(data))[3] == (4, 65)
    pickup = data.replace(b'number="1"', b'number="0" implicit="yes"', 1)
    assert named(one(pickup))[3] == (3, 65)


@pytest.mark.parametrize(
    ("fifths", "mode", "name"),
    [
        (0, "major", "C major"), (-3, "minor", "C minor"), (0, "dorian", "D dorian"), (1, "phrygian", "B phrygian"),
        (0, "lydian", "F lydian"), (-1, "mixolydian", "C mixolydian"), (0, "locrian", "B locrian"),
        (2, "ionian", "D major"), (2, "aeolian", "B minor"), (7, "major", "Db major"), (-7, "minor", "G# minor"),
    ],
)  # fmt: skip
def test_declared_key(fifths: int, mode: str, name: str):
    # Signatures of the modes: e.g. B. Benward & M. Saker, Music in Theory and Practice; the circle of fifths.
    data = plain().replace(
        b"<fifths>0</fifths><mode>major</mode>", f"<fifths>{fifths}</fifths><mode>{mode}</mode>".encode()
    )
    key = one(data).key
    assert key is not None
    assert (key.name, key.source) == (name, "declared")


@pytest.mark.parametrize("said", [b"", b"<mode>none</mode>"])
def test_signature_without_mode_is_estimated_between_its_two_keys(said: bytes):
    melody = one(plain().replace(b"<mode>major</mode>", said))
    assert melody.key is not None
    assert melody.key.source == "estimated"
    assert {melody.key.name, melody.key.runner_up} == {"C major", "A minor"}


@pytest.mark.parametrize(
    "key", ["<fifths>99</fifths>", "<fifths>x</fifths>", "<key-step>C</key-step><key-alter>-1</key-alter>"]
)
def test_signature_outside_the_circle_is_left_out(key: str):
    melody = one(plain().replace(b"<fifths>0</fifths><mode>major</mode>", key.encode()))
    assert "1 key sign of no major or minor circle left out (in bar 1)" in melody.remarks


def test_chords_of_another_part():
    chord = "<harmony><root><root-step>A</root-step></root><kind>minor</kind></harmony>"
    data = whole(
        part(measure(attributes() + notes("C4 D4 E4 F4"))),
        part(measure(attributes() + note("R", 8) + chord + note("R", 8)), "P2"),
        names=("Lead", "Chords"),
    )
    melody = one(data)
    assert [(c.onset, c.root, c.kind) for c in melody.chords or ()] == [(2 * TICKS, 9, "m")]
    assert "chord symbols taken from part 'Chords'" in melody.remarks


def test_title_and_names_are_safe_to_print():
    title = "<work><work-title>A\u202e\n B</work-title></work>"
    melody = one(plain().replace(b"<part-list>", title.encode() + b"<part-list>"))
    assert melody.title == "A\\u202e B"


def test_tempo_of_the_user_goes_first():
    assert one(plain(), tempo=77.0).tempo == 77.0


def test_reading_leaves_nothing_behind(tmp_path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    assert len(one(plain())) == 8
    assert list(tmp_path.iterdir()) == []


def test_bars_written_as_a_repeat_sign_are_told():
    """MusicXML 4.0, measure-repeat: "stop" stands in the first bar that is no longer repeated."""
    start = '<attributes><measure-style><measure-repeat type="start">1</measure-repeat></measure-style></attributes>'
    stop = start.replace('"start">1<', '"stop"><')
    rest = '<note><rest measure="yes"/><duration>16</duration></note>'
    bars = [attributes() + notes("C4 D4 E4 F4"), start + rest, rest, stop + rest, notes("E4 F4 E4 F4")]
    inner = "".join(measure(bar, number) for number, bar in enumerate(bars, 1))
    melody = one(whole(part(inner)))
    assert "2 bars given by a repeat sign alone read as a rest (first in bar 2)" in melody.remarks
    played = [attributes() + notes("C4 D4 E4 F4"), start + notes("C4 D4 E4 F4"), notes("E4 F4 E4 F4")]
    melody = one(whole(part("".join(measure(bar, number) for number, bar in enumerate(played, 1)))))
    assert not any("repeat sign" in remark for remark in melody.remarks)


def test_slurs_are_phrases_where_they_are_said_to_be():
    """Two slurs, the second one holding another and starting where the first one stops."""
    marks = ["<slur type='start' number='1'/>", "", "<slur type='stop' number='1'/><slur type='start' number='2'/>"]
    marks += [
        "<slur type='start' number='1'/>",
        "<slur type='stop' number='1'/>",
        "<slur type='stop' number='2'/>",
        "",
        "",
    ]
    line = "".join(
        note(name, 2, after=f"<notations>{mark}</notations>" if mark else "")
        for name, mark in zip(["C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5"], marks, strict=True)
    )
    data = whole(part(measure(attributes() + line)))
    assert one(data, phrase_slurs=True).phrase_ends.tolist() == [False, False, True, False, False, True, False, True]
    assert one(data).phrase_ends is None
