"""The cache of note tables: saves parsing, never changes an answer, never fails a read."""

import os
import sys
from dataclasses import replace

import numpy as np
import pytest

import stylemeter.reading.process.cache as cache_module
from stylemeter.music.melody import Chord, Key, Melody, Technique
from stylemeter.music.meter import Meter
from stylemeter.reading import Session
from stylemeter.reading.draft.build import Draft, RawNote, build
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.process.cache import NoteCache, entry_name, folder, stamp_of
from stylemeter.reading.process.codec import pack, unpack

ABC = b"X:1\nT:A tune\nM:6/8\nL:1/8\nK:Ddor\nDEF GAB|d6|\n\nX:2\nT:Another\nM:4/4\nL:1/4\nK:C\nCDEF|\n"


def full_melody():
    notes = [
        RawNote(0, 3360, 60.25, Technique.BEND, 0.125, string=3, fret=5),
        RawNote(6720, 10080, 71.0, Technique.SLIDE, 1 / 3),
    ]
    return replace(
        build(
            Draft(
                notes,
                meters=(Meter(0, 6, 8), Meter(30240, 4, 4)),
                key=Key(2, "dorian", "estimated", "A minor", 1 / 3),
                chords=(Chord(0, 2, "m7", (2, 5, 9, 0)), Chord(5, None, "N", ())),
                tuning=(40, 45, 50, 55, 59, 64),
                phrase_ends=[0],
                tempo=117.3,
                title="Tüne – 1",
                part="Lead",
                source="test",
                guessed_share=0.1,
                remarks=["one", "two"],
            )
        )
    )


def same(one, other):
    """Every field alike, arrays with their type."""
    for name in Melody.__dataclass_fields__:
        a, b = getattr(one, name), getattr(other, name)
        if name == "bars":
            assert all(np.array_equal(getattr(a, column), getattr(b, column)) for column in ("line", "end", "number"))
        elif isinstance(a, np.ndarray):
            assert a.dtype == b.dtype, name
            assert np.array_equal(a, b), name
        else:
            assert a == b, name
    return True


def test_the_plain_form_loses_nothing():
    melody = full_melody()
    bare = build(Draft([RawNote(0, None, 60.0)], source="test"))
    one, other = unpack(pack([melody, bare]))
    assert same(melody, one)
    assert same(bare, other)
    assert other.duration is None
    assert not one.onset.flags.writeable


def test_words_come_back_safe_to_print_and_in_bounds():
    melody = replace(full_melody(), title="a\x1b[2J", part="b\u202e" + "x" * 1000, remarks=("c\udcff",) * 1000)
    [shown] = unpack(pack([melody]), path="take.mid")
    assert shown.title == r"a\x1b[2J"
    assert shown.part.startswith(r"b\u202e")
    assert len(shown.part) == limits.TEXT_MAX
    assert shown.remarks == (r"c\xff",) * limits.REMARKS_MAX
    assert shown.path == "take.mid"


@pytest.mark.parametrize(
    "text",
    ["", "{", "[1]", "[{}]", "null", "[" * 100_000, '[{"onset":[1]}]', "1", '"x"', b"\xff\xfe", '[{"onset":[1e400]}]'],
)
def test_a_damaged_document_is_one_kind_of_error(text):
    with pytest.raises(ValueError, match=r"."):
        unpack(text)


def test_every_field_damaged_in_turn_is_refused_or_read():
    import json

    [row] = json.loads(pack([full_melody()]))
    for name in row:
        for value in ("x", {"a": 1}, [[1, 2]], [None], 10**30, True):
            try:
                unpack(json.dumps([row | {name: value}]))
            except ValueError:
                continue


# ------------------------------------------------------------------------------------------------ the folder


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.setenv("STYLEMETER_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache" / "notes"


def test_where_it_lies(monkeypatch, tmp_path):
    monkeypatch.delenv("STYLEMETER_CACHE", raising=False)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    if sys.platform.startswith("linux"):
        assert folder() == tmp_path / "stylemeter" / "notes"
    assert folder().name == "notes"
    for word in ("off", "OFF", "no", "0"):
        monkeypatch.setenv("STYLEMETER_CACHE", word)
        assert folder() is None


def test_the_name_holds_everything_that_decides(monkeypatch):
    plain = entry_name(ABC, "abc", ReadOptions())
    assert plain == entry_name(bytes(bytearray(ABC)), "abc", ReadOptions())
    others = [
        entry_name(ABC + b" ", "abc", ReadOptions()),
        entry_name(ABC, "kern", ReadOptions()),
        *(
            entry_name(ABC, "abc", ReadOptions(**{name: value}))
            for name, value in (
                ("part", "1"),
                ("meter", "4/4"),
                ("tempo", 120.0),
                ("first_beat", 0.5),
                ("chord_text", "harmony "),
            )
        ),
        entry_name(ABC, "abc", ReadOptions(columns=("onset",))),
    ]
    monkeypatch.setattr(cache_module, "READER_VERSION", 99)
    others.append(entry_name(ABC, "abc", ReadOptions()))
    monkeypatch.undo()
    monkeypatch.setattr(cache_module, "__version__", "99")
    others.append(entry_name(ABC, "abc", ReadOptions()))
    monkeypatch.undo()
    monkeypatch.setattr(cache_module, "_code_stamp", lambda: "another")
    others.append(entry_name(ABC, "abc", ReadOptions()))
    assert len({plain, *others}) == 1 + len(others)


def test_a_change_of_our_code_changes_the_stamp(tmp_path):
    (tmp_path / "reader.py").write_text("one")
    (tmp_path / "notes.txt").write_text("no code")
    os.utime(tmp_path / "reader.py", (1000, 1000))
    first = stamp_of([tmp_path])
    (tmp_path / "notes.txt").write_text("still no code")
    assert stamp_of([tmp_path]) == first
    os.utime(tmp_path / "reader.py", (1001, 1001))
    assert stamp_of([tmp_path]) != first
    os.utime(tmp_path / "reader.py", (1000, 1000))
    assert stamp_of([tmp_path]) == first
    (tmp_path / "helper.py").write_text("")
    assert stamp_of([tmp_path]) != first
    assert cache_module._code_stamp() != stamp_of([tmp_path])


def test_a_librarys_version_is_part_of_the_name():
    from importlib.metadata import version

    assert cache_module._library_version("mido") == f"mido-{version('mido')}"
    assert cache_module._library_version("no_such_library") == "no_such_library"


def test_a_second_read_starts_no_process_and_gives_the_same(place, tmp_path):
    file = tmp_path / "tunes.abc"
    file.write_bytes(ABC)
    with Session() as session:
        first = session.read(file)
        assert any(process.started for process in session._processes)
    with Session() as session:
        session.start([file])
        again = session.read(file)
        assert not any(process.started for process in session._processes)
    assert len(first) == len(again) == 2
    assert all(same(a, b) for a, b in zip(first, again, strict=True))


def test_options_applied_afterwards_share_one_entry(place):
    with Session() as session:
        session.read_bytes(ABC, where="a.abc")
    with Session() as session:
        melodies = session.read_bytes(ABC, where="b.abc", options=ReadOptions(key="G", chords="Dm7 | G7"))
        assert not any(process.started for process in session._processes)
    assert [(m.path, m.key.name, m.chords[0].kind) for m in melodies] == [("b.abc", "G major", "m7")] * 2


def entries(place):
    return sorted(path for path in place.rglob("*") if path.is_file())


@pytest.mark.parametrize(
    "damage",
    [
        lambda raw: b"",
        lambda raw: raw[: len(raw) // 2],
        lambda raw: raw.replace(b"AAAA", b"AAAB", 1),
        lambda raw: raw[:65] + b"[]",
        lambda raw: b"\x80\x04cposix\nsystem\n",
    ],
)
def test_a_damaged_entry_is_read_over(place, damage):
    with Session() as session:
        good = session.read_bytes(ABC)
    [entry] = entries(place)
    whole = entry.read_bytes()
    damaged = damage(whole)
    assert damaged != whole
    entry.write_bytes(damaged)
    with Session() as session:
        assert all(same(a, b) for a, b in zip(good, session.read_bytes(ABC), strict=True))
    assert entries(place) == [entry]
    assert entry.read_bytes() == whole


def test_switched_off_nothing_is_kept(monkeypatch, tmp_path):
    monkeypatch.setenv("STYLEMETER_CACHE", "off")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    with Session() as session:
        assert len(session.read_bytes(ABC)) == 2
    assert not list(tmp_path.iterdir())


def _a_file(path):
    path.write_text("in the way")


def _a_loop(path):
    path.symlink_to(path)


def _full(path):
    path.symlink_to("/dev/full")


@pytest.mark.parametrize("make", [_a_file, _a_loop, _full])
def test_a_folder_that_can_not_be_used_fails_nothing(monkeypatch, tmp_path, make):
    make(tmp_path / "cache")
    monkeypatch.setenv("STYLEMETER_CACHE", str(tmp_path / "cache"))
    with Session() as session:
        assert len(session.read_bytes(ABC)) == 2
        assert len(session.read_bytes(ABC)) == 2


@pytest.mark.parametrize("call", ["mkdir", "write_bytes", "replace", "read_bytes"])
def test_a_system_that_refuses_fails_nothing(place, monkeypatch, call):
    def refuse(self, *args, **kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(cache_module.Path, call, refuse)
    with Session() as session:
        assert len(session.read_bytes(ABC)) == 2
    monkeypatch.undo()
    assert not [path for path in (entries(place) if place.exists() else []) if path.name.startswith(".")]


def test_an_entry_planted_as_a_folder_fails_nothing(place):
    name = entry_name(ABC, "abc", ReadOptions())
    (place / name[:2] / f"{name}.json").mkdir(parents=True)
    with Session() as session:
        assert len(session.read_bytes(ABC)) == 2


def test_the_oldest_make_room(tmp_path):
    cache = NoteCache(tmp_path, most=10_000)
    for number in range(20):
        name = f"{number:064x}"
        cache.put(name, b"[" + b" " * 900 + b"]")
        path = tmp_path / name[:2] / f"{name}.json"
        os.utime(path, (1000 + number, 1000 + number))
    assert cache.get(f"{0:064x}") == []  # used: now the youngest
    (tmp_path / "00" / ".left-by-a-killed-process").write_bytes(b"x" * 500)
    os.utime(tmp_path / "00" / ".left-by-a-killed-process", (1, 1))
    (tmp_path / "00" / "not-ours.txt").write_bytes(b"x" * 50)
    cache.close()
    left = [path.name for path in entries(tmp_path)]
    assert sum(path.stat().st_size for path in entries(tmp_path)) <= 10_000
    assert "not-ours.txt" in left
    assert ".left-by-a-killed-process" not in left
    assert f"{0:064x}.json" in left
    assert f"{19:064x}.json" in left
    assert f"{1:064x}.json" not in left


def test_an_entry_too_large_for_the_cache_is_not_kept(tmp_path):
    cache = NoteCache(tmp_path, most=1000)
    cache.put("a" * 64, b"[" + b" " * 900 + b"]")
    assert cache.get("a" * 64) is None
    assert not cache.has("a" * 64)
