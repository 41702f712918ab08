"""MIDI files made in code: each trap read right, or refused in one clear line."""

import random
from fractions import Fraction

import numpy as np
import pytest
from inputs import midi_cases as made

from stylemeter.errors import InputError, StylemeterError, UsageError
from stylemeter.music.melody import Technique
from stylemeter.music.meter import TICKS
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.midi.read import read

CASES = made.cases()


def notes_of(melody):
    """Notes as (onset, duration, pitch), times exact in quarter notes, pitch to a tenth of a semitone."""
    assert melody.duration is not None
    return [
        (Fraction(onset, TICKS), Fraction(duration, TICKS), round(pitch, 1))
        for onset, duration, pitch in zip(
            melody.onset.tolist(), melody.duration.tolist(), melody.pitch.tolist(), strict=True
        )
    ]


def exact(notes):
    return [(Fraction(onset), Fraction(duration), pitch) for onset, duration, pitch in notes]


def one(data, **options):
    (melody,) = read(data, ReadOptions(**options))
    return melody


@pytest.mark.parametrize("case", [c for c in CASES if c.notes is not None], ids=str)
def test_read_right(case):
    melody = one(case.data, **case.options)
    assert notes_of(melody) == exact(case.notes)
    if case.remark:
        assert any(case.remark in remark for remark in melody.remarks), melody.remarks
    assert melody.source == "midi"


@pytest.mark.parametrize("case", [c for c in CASES if c.error], ids=str)
def test_refused_in_one_line(case):
    with pytest.raises(StylemeterError) as caught:
        read(case.data, ReadOptions(**case.options))
    line = str(caught.value.at("take.mid"))
    assert case.error in line
    assert "\n" not in line
    assert ";" in line


def test_every_case_says_what_it_expects():
    assert {case.item for case in CASES} | {45} == set(range(41, 54))
    assert all((case.notes is None) == bool(case.error) for case in CASES)


def test_format_2_holds_a_tune_a_track():
    """Item 45: each track of format 2 is a tune with its own meter; one that fails does not take the others."""
    waltz = made.track([made.named("Waltz"), (0, made.meta(0x58, b"\x03\x02\x18\x08")), *made.line()])
    broken = made.track([(0, made.on(60)), (0x0FFFFFFF, made.on(62))])
    march = made.track([made.named("March"), made.FOUR_FOUR, *made.line([(0, 2, 50)])])
    melodies = read(made.smf(waltz, broken, march, kind=2), ReadOptions())
    assert [str(m.meters[0]) for m in melodies] == ["3/4", "4/4"]
    assert [m.part for m in melodies] == ["Waltz", "March"]
    assert notes_of(melodies[0]) == exact(made.SCALE)
    assert any(remark.startswith("tune 2 left out: its last note") for remark in melodies[0].remarks)

    assert [m.part for m in read(made.smf(waltz, broken, march, kind=2), ReadOptions(part="march"))] == ["March"]
    with pytest.raises(UsageError, match="no part 'polka'; there is: 1 Waltz, 2 track 2, 3 March"):
        read(made.smf(waltz, broken, march, kind=2), ReadOptions(part="polka"))


def test_bass_is_passed_over():
    """A walking bass has more notes than the melody and is still not it."""
    bass = made.track([made.named("Fretless Bass"), *made.line([(i, 1, 36 + i) for i in range(8)])])
    contrabass = made.track([(0, b"\xc1\x20"), *made.line([(i, 1, 36 + i) for i in range(8)], 1)])
    solo = made.track([made.named("Solo"), *made.line()])
    assert one(made.smf(bass, contrabass, solo)).part == "Solo"
    assert one(made.smf(bass)).part == "Fretless Bass"


def test_format_0_parts_by_channel():
    events = sorted((480 * i, 0, made.on(p, c)) for i in range(3) for p, c in ((60, 0), (40, 1)))
    data = made.smf(made.track([made.named("Band"), *made.delta(events)]), kind=0)
    assert one(data, part="Band, channel 2").pitch.tolist() == [40.0] * 3
    assert "several parts: read 1 Band, channel 1" in one(data).remarks[0]


def test_bends_of_a_string_guitar():
    """Item 50: one part of six channels; the bent note at its target, marked; a vibrato is no bend."""
    melody = one(made.string_guitar())
    assert melody.part == "Lead"
    assert melody.technique is not None
    marks = [Technique(int(bits)) for bits in melody.technique]
    assert marks == [Technique(0), Technique(0), Technique.BEND, Technique(0), Technique(0)]
    assert melody.pitch[2] == pytest.approx(71, abs=0.01)


def test_bend_range_is_followed():
    """MIDI 1.0, registered parameter 0: twelve semitones, the wheel a sixth of the way up: two semitones."""
    reach = [(0, b"\xb0\x65\x00"), (0, b"\xb0\x64\x00"), (0, b"\xb0\x06\x0c")]
    wheel = 0x2000 + 0x2000 // 6
    bent = [(0, bytes((0xE0, wheel & 0x7F, wheel >> 7))), (0, made.on(60)), (480, made.off(60))]
    melody = one(made.smf(made.track([*reach, *bent])))
    assert melody.pitch.tolist() == [pytest.approx(62, abs=0.01)]
    assert melody.technique is not None


def test_channels_that_are_no_guitar_stay_apart():
    choir = made.string_guitar(channels=4, programs=(52,), bends=False)
    assert "several parts" in one(choir).remarks[0]
    mixed = made.string_guitar(channels=4, programs=(29, 33), bends=False)
    assert "several parts" in one(mixed).remarks[0]


def test_tracks_of_one_guitar_are_one_part():
    strings = [
        made.track([made.named(f"GTR {c + 1}"), (0, bytes((0xC0 | c, 25))), *made.line([(c, 1, 60 + c)], c)])
        for c in range(6)
    ]
    melody = one(made.smf(*strings))
    assert melody.part == "GTR"
    assert notes_of(melody) == exact([(c, 1, 60 + c) for c in range(6)])


def test_bars_are_laid_from_tick_0():
    """A tune that begins on the last beat of a leading empty bar's neighbour: bars count from 1 at tick 0."""
    melody = one(made.smf(made.track([made.FOUR_FOUR, *made.line([(7, 1, 60), (8, 4, 62)])])))
    assert melody.bar.tolist() == [2, 3]
    assert melody.beat.tolist() == [4.0, 1.0]
    assert melody.weight.tolist() == [-2, 0]


def test_change_of_meter_in_mid_bar_starts_a_bar():
    meters = [(0, 0, made.FOUR_FOUR[1]), (6 * 480, 0, made.meta(0x58, b"\x03\x02\x18\x08"))]
    notes = [(q * 480, 1, made.on(60 + q)) for q in range(9)] + [((q + 1) * 480, 0, made.off(60 + q)) for q in range(9)]
    melody = one(made.smf(made.track(made.delta(sorted(meters + notes)))))
    assert melody.bar.tolist() == [1, 1, 1, 1, 2, 2, 3, 3, 3]
    assert melody.beat.tolist() == [1, 2, 3, 4, 1, 2, 1, 2, 3]
    assert [(m.onset // TICKS, str(m)) for m in melody.meters] == [(0, "4/4"), (6, "3/4")]


def test_key_tempo_title():
    signs = [
        made.named("Evening walk"),
        made.TEMPO_120,
        (0, made.meta(0x59, b"\xfd\x01")),
        (480, made.meta(0x59, b"\x00\x00")),
    ]
    melody = one(made.smf(made.track(signs), made.track([made.named("Solo"), *made.line()])))
    assert melody.key is not None
    assert (melody.key.name, melody.key.source) == ("C minor", "declared")
    assert (melody.title, melody.part, melody.tempo) == ("Evening walk", "Solo", 120.0)
    assert "the file declares 2 keys: the first, C minor, is taken" in melody.remarks
    assert melody.onset_seconds is not None
    assert melody.onset_seconds.tolist() == [0.0, 0.5, 1.0, 1.5]


def test_no_key_is_estimated():
    assert one(made.PLAIN).key.source == "estimated"
    assert one(made.PLAIN).tempo is None


def test_names_are_safe_text():
    melody = one(made.smf(made.track([(0, made.meta(3, "Gitárre\x1b[2J\0".encode())), *made.line()])))
    assert melody.part == "Gitárre [2J"


def test_chord_text():
    words = [(0, "chord D:min7"), (480, "chord D:min7"), (960, "chord G7"), (1440, "chord ???"), (1440, "other")]
    events = sorted((tick, 2, made.meta(1, text.encode())) for tick, text in words)
    melody = one(made.smf(made.track(made.delta(events)), made.track(made.line())), chord_text="chord ")
    assert melody.chords is not None
    assert [(c.onset // TICKS, c.root, c.kind) for c in melody.chords] == [(0, 2, "m7"), (2, 7, "7"), (3, None, "N")]
    assert any("1 chord not understood: no chord taken there (in bar 1)" in remark for remark in melody.remarks)
    assert one(made.PLAIN, chord_text="chord ").chords is None


@pytest.mark.parametrize("division", [24, 96, 100, 120, 220, 256, 384, 480, 960, 1024, 15360])
def test_written_time_is_exact_at_any_division(division):
    """Triplets, dotted notes and 32nds come out exact, also where the file has no whole tick for them."""
    values = [
        Fraction(1, 3),
        Fraction(1, 3),
        Fraction(1, 3),
        Fraction(3, 4),
        Fraction(1, 4),
        1,
        Fraction(2, 3),
        Fraction(1, 3),
    ]
    onsets = [sum(values[:i], Fraction(0)) for i in range(len(values))]
    timed = []
    for onset, value in zip(onsets, values, strict=True):
        timed.append((round(onset * division), 1, made.on(60)))
        timed.append((round((onset + value) * division), 0, made.off(60)))
    melody = one(made.smf(made.track(made.delta(sorted(timed))), division=division))
    assert [(o, d) for o, d, _ in notes_of(melody)] == list(zip(onsets, map(Fraction, values), strict=True))
    assert melody.guessed_share == 0


def test_held_keys_are_closed_in_a_written_file():
    """Exact onsets with ends at 90 % of each value, as notation programs export: values written in full."""
    notes = [(i / 2, 0.5, 60 + i) for i in range(8)] + [(5, 1, 70)]
    melody = one(made.smf(made.track([made.FOUR_FOUR, *made.line(notes, gate=0.9)])))
    assert [d for _, d, _ in notes_of(melody)] == [Fraction(1, 2)] * 7 + [Fraction(1, 2), 1]
    assert notes_of(melody)[-2][0] == Fraction(7, 2)
    assert any("7 gaps shorter than an eighth" in remark for remark in melody.remarks)


def test_onsets_off_the_grid_of_a_written_file_are_kept_and_counted():
    notes = [(i, 0.5, 60) for i in range(8)] + [(Fraction(8 * 480 + 7, 480), 0.5, 61)]
    melody = one(made.smf(made.track(made.line(notes))))
    assert notes_of(melody)[-1][0] == Fraction(8 * 480 + 7, 480)
    assert "1 onset on no simple part of a beat, kept exactly (in bar 3)" in melody.remarks


def performed(bpm=120, seed=1, sd=0.015, late=0.0, count=200):
    """A take played in at an even tempo, in milliseconds of 480 ticks to a quarter; and what was meant."""
    dice = random.Random(seed)
    onset, meant = 0.0, []
    for _ in range(count):
        meant.append((Fraction(onset).limit_denominator(12), 55 + dice.randint(0, 20)))
        onset += dice.choice((0.5, 0.5, 0.5, 1.0, 0.25, 0.75))
    timed = []
    for start, pitch in meant:
        tick = max(0, round((float(start) * 60 / bpm + dice.gauss(late, sd)) * 480 * bpm / 60))
        timed += [(tick, 1, made.on(pitch)), (tick + 100, 0, made.off(pitch))]
    return made.smf(made.track([made.FOUR_FOUR, made.TEMPO_120, *made.delta(sorted(timed))])), meant


def test_played_in_file_is_quantised():
    data, meant = performed()
    melody = one(data)
    right = np.mean([o == m for (o, _, _), (m, _) in zip(notes_of(melody), meant, strict=True)])
    assert right >= 0.95
    assert 0 < melody.guessed_share < 0.1
    told = " / ".join(melody.remarks)
    assert "played in, not written" in told
    assert "onsets moved to the nearest place in their beats (root mean square" in told
    assert melody.onset_seconds is not None


def test_played_in_on_beats_the_user_says():
    """A take at 90 a minute recorded against a clock of 120: the beats come from the options; a pickup stays one."""
    dice = random.Random(3)
    meant = [-0.5, *np.arange(0, 40, 0.5)]
    timed = []
    for quarter in meant:
        tick = round((1.0 + quarter * 60 / 90 + dice.gauss(0, 0.01)) * 960)
        timed += [(tick, 1, made.on(60)), (tick + 200, 0, made.off(60))]
    data = made.smf(made.track([made.FOUR_FOUR, *made.delta(sorted(timed))]))
    melody = one(data, tempo=90.0, first_beat=1.0)
    assert melody.bar[:3].tolist() == [0, 1, 1]
    assert melody.beat[:3].tolist() == [4.5, 1.0, 1.5]
    assert np.diff(melody.onset).tolist() == [TICKS // 2] * 80
    assert melody.tempo == 90.0
    # On the file's own beats the same take would be triplets.
    assert set(np.diff(one(data).onset).tolist()) == {TICKS * 2 // 3}


def test_played_in_without_a_grid_is_doubted():
    dice = random.Random(5)
    timed, now = [], 0.0
    for _ in range(150):
        now += dice.uniform(0.1, 0.8)
        timed += [(round(now * 960), 1, made.on(60)), (round(now * 960) + 50, 0, made.off(60))]
    melody = one(made.smf(made.track(made.delta(sorted(timed)))))
    assert melody.guessed_share > 0.1
    assert any("the notes fit these beats badly: say the beats with --tempo" in remark for remark in melody.remarks)
    assert any("no tempo in the file" in remark for remark in melody.remarks)


def mutated(data, seed):
    """A file with some bytes changed, taken out, doubled, or its end cut off."""
    dice = random.Random(seed)
    out = bytearray(data)
    for _ in range(dice.randint(1, 6)):
        at = dice.randrange(len(out))
        match dice.randrange(4):
            case 0:
                out[at] = dice.randrange(256)
            case 1:
                del out[at : at + dice.randint(1, 8)]
            case 2:
                out[at:at] = out[at : at + dice.randint(1, 16)]
            case _:
                out[at] = dice.choice((0, 0x7F, 0x80, 0xFF, 0xF0, 0x2F))
        if len(out) < 4:
            break
    return bytes(out[: dice.randint(1, len(out))] if dice.random() < 0.2 else out)


def survives(data, **options):
    """Whether bytes give melodies or one InputError, and nothing else."""
    try:
        melodies = read(data, ReadOptions(chord_text="chord ", **options))
    except InputError:
        return False
    assert melodies
    for melody in melodies:
        assert len(melody) > 0
        assert melody.duration is not None
        assert melody.duration.min() > 0
        assert melody.pitch.min() >= 0
        assert melody.pitch.max() <= 127
    return True


@pytest.mark.parametrize("name", ["plain", "guitar", "performed", "tunes"])
def test_changed_bytes_are_read_or_refused(name):
    source = {
        "plain": made.PLAIN,
        "guitar": made.string_guitar(),
        "performed": performed(count=40)[0],
        "tunes": made.smf(*(made.track([made.FOUR_FOUR, *made.line()]) for _ in range(3)), kind=2),
    }[name]
    read_ones = sum(survives(mutated(source, seed)) for seed in range(40))
    assert read_ones > 10


def test_random_bytes_are_refused_or_read():
    dice = random.Random(11)
    head = made.smf(promised=1)
    for _ in range(200):
        body = dice.randbytes(dice.randint(0, 300))
        survives(head + made.chunk(b"MTrk", body))
        survives(body)


def test_a_first_meter_that_comes_late_starts_a_bar():
    """SMF 1.0: without a time signature 4/4 is assumed; here it holds until the first event, after a pickup."""
    events = made.line([(i, 1, 60 + i) for i in range(7)])
    events.insert(2, (0, made.meta(0x58, b"\x03\x02\x18\x08")))
    melody = one(made.smf(made.track(events)))
    assert list(zip(melody.bar.tolist(), melody.beat.tolist(), strict=True)) == [
        (0, 4), (1, 1), (1, 2), (1, 3), (2, 1), (2, 2), (2, 3)
    ]  # fmt: skip
    assert any("4/4 taken till there" in remark for remark in melody.remarks)


def test_a_track_damaged_before_its_first_note_says_so():
    with pytest.raises(InputError, match=r"no notes in it: track 1 is damaged \(at byte 0"):
        read(
            made.smf(made.chunk(b"MTrk", b"\x81\x80\x80\x80\x00\x90\x3c\x50\x83\x60\x3c\x00\x00\xff\x2f\x00")),
            ReadOptions(),
        )


# what sequencers and samplers put in ----------------------------------------------------------------------------------


def test_strummed_double_stops_have_one_onset():
    """A third under each note, struck 11 to 12 ms later (11 ticks of 480 at 120 a minute)."""
    timed = [(onset, 1, pitch) for onset, _, pitch in made.SCALE]
    under = [
        (Fraction(11 + i % 2, 480) + onset, Fraction(9, 10), pitch - 4) for i, (onset, _, pitch) in enumerate(timed)
    ]
    steady = [(4 + Fraction(i, 2), Fraction(1, 2), 67) for i in range(16)]
    melody = one(made.smf(made.track([made.FOUR_FOUR, made.TEMPO_120, *made.line([*timed, *under, *steady])])))
    assert melody.onset.tolist() == [TICKS * i for i in range(4)] + [4 * TICKS + i * TICKS // 2 for i in range(16)]
    assert melody.pitch[:4].tolist() == [60, 62, 64, 65]
    assert any("4 notes strummed within 30 ms of another put at its onset" in r for r in melody.remarks)


def test_key_switches_are_no_notes():
    """Samplers change their sound on keys far below what they play (common practice, no source)."""
    played = [(Fraction(i), 1, 52 + p) for i, p in enumerate((0, 3, 5, 7, 10, 12))]
    switches = [(Fraction(0), 1, 24), (Fraction(5, 2), 1, 25)]
    melody = one(made.smf(made.track([made.FOUR_FOUR, *made.line([*played, *switches])])))
    assert melody.pitch.tolist() == [52, 55, 57, 59, 62, 64]
    assert any("2 notes far below all others taken for a switch of sound and left out" in r for r in melody.remarks)
    bass = [(Fraction(i), 1, 28 + p) for i, p in enumerate((0, 3, 5, 7, 10, 12))]
    assert len(one(made.smf(made.track([made.FOUR_FOUR, *made.line(bass)])))) == 6


def test_a_track_that_claims_four_gigabytes_is_told():
    data = made.smf(made.track([made.FOUR_FOUR, *made.line()], size=0xFFFFFFFF))
    melody = one(data)
    assert melody.pitch.tolist() == [60, 62, 64, 65]
    assert "track 1 claims to be longer than the file: read to its end mark" in melody.remarks


@pytest.mark.parametrize("downward", [False, True])
def test_channels_of_a_guitar_say_string_and_fret(downward):
    """A channel a string, from either side; the open strings are 64 59 55 50 45 40."""
    opened = (64, 59, 55, 50, 45, 40)[:: -1 if downward else 1]
    tracks = [
        made.track([made.named(f"Guitar {i + 1}"), *made.line([(i, 1, pitch + 2)], channel=i)])
        for i, pitch in enumerate(opened)
    ]
    melody = one(made.smf(*tracks))
    wanted = [1, 2, 3, 4, 5, 6]
    assert melody.strings.tolist() == (wanted[::-1] if downward else wanted)
    assert melody.frets.tolist() == [2] * 6
    assert melody.tuning == (40, 45, 50, 55, 59, 64)
