"""The front door: dispatch by kind, batches in order, one bad file never in the way of the rest."""

import io
import os
import signal
import subprocess
import sys
import time
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from helpers.places import TESTS

import stylemeter.reading.process.session as session_module
from stylemeter.errors import InputError, LimitError, UnknownNameError, UsageError
from stylemeter.reading import KINDS, Read, Reader, ReadOptions, Session, find, read, read_bytes
from stylemeter.reading.kinds import known_suffixes

MISBEHAVING = TESTS / "reading" / "process" / "readers_that_misbehave"


def abc(title, notes="DEFG ABcd|"):
    return f"X:1\nT:{title}\nM:4/4\nL:1/8\nK:D\n{notes}\n".encode()


@pytest.fixture
def misbehaving(monkeypatch):
    """A kind whose reader does as the file says."""
    monkeypatch.syspath_prepend(str(MISBEHAVING))
    monkeypatch.setitem(KINDS, "test", Reader("misbehaving", (".test",), "test"))
    return "test"


# ------------------------------------------------------------------------------------------------ one file


def test_one_file(tmp_path):
    (tmp_path / "tune.abc").write_bytes(abc("A tune"))
    [melody] = read(tmp_path / "tune.abc")
    assert melody.pitch.tolist() == [62, 64, 66, 67, 69, 71, 73, 74]
    assert melody.path == str(tmp_path / "tune.abc")
    assert (melody.title, melody.source, melody.key.name) == ("A tune", "abc", "D major")


def test_bytes_and_a_kind():
    [melody] = read_bytes(abc("A tune"), where="from the clipboard")
    assert melody.path == "from the clipboard"
    [same] = read_bytes(abc("A tune"), "abc")
    assert same.path == "-"
    with pytest.raises(InputError, match=r"^-: is empty"):
        read_bytes(b"")
    with pytest.raises(UnknownNameError, match="no format 'wav'; there is: abc, "):
        read_bytes(b"x", "wav")


def test_standard_input(monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(abc("Piped"))))
    [melody] = read("-")
    assert (melody.title, melody.path) == ("Piped", "-")


def test_an_error_names_the_file_and_is_one_line(tmp_path):
    name = tmp_path / "bad\x1b[2J\u202e.abc"
    name.write_bytes(b"X:1\nK:D\n")
    with pytest.raises(InputError) as caught:
        read(name)
    said = str(caught.value)
    assert said.startswith(f"{tmp_path}/bad\\x1b[2J\\u202e.abc: ")
    assert "\n" not in said
    assert said.isprintable()


def test_a_name_that_is_not_utf8(tmp_path):
    name = os.fsencode(tmp_path) + b"/t\xfcne.abc"
    Path(os.fsdecode(name)).write_bytes(abc("A tune"))
    [melody] = read(os.fsdecode(name))
    assert melody.path == f"{tmp_path}/t\\xfcne.abc"
    melody.path.encode("utf-8")
    [found] = find([tmp_path])
    assert os.fsencode(found) == name
    with Session() as session:
        [result] = session.read_all([found])
    assert result.error is None


@pytest.mark.parametrize("guarded", [False, True])
def test_words_from_a_file_can_not_steer_a_terminal(misbehaving, guarded):
    with Session(guarded=guarded) as session:
        [melody] = session.read_bytes(b"number a\x1b[2Jb\xe2\x80\xae", misbehaving)
        assert melody.title == r"a\x1b[2Jb\u202e"
        with pytest.raises(UnknownNameError) as caught:
            session.read_bytes(b"refuse", misbehaving, where="x.test")
        assert str(caught.value).isprintable()
        assert caught.value.where == "x.test: bar 3"


@pytest.mark.parametrize("guarded", [False, True])
def test_options_reach_the_reader_but_for_those_applied_afterwards(misbehaving, guarded):
    options = ReadOptions(part="2", key="G", meter="3/4", chords="G", tempo=90.0, columns=("pitch",))
    with Session(guarded=guarded) as session:
        [melody] = session.read_bytes(b"part", misbehaving, options=options)
    assert "part='2', key=None, meter='3/4', tempo=90.0" in melody.title
    assert "chords=None" in melody.title
    assert "columns=('pitch',)" in melody.title
    assert (melody.key.name, str(melody.meters[0]), len(melody.chords), melody.tempo) == ("G major", "3/4", 1, 90.0)


# ------------------------------------------------------------------------------------------------ batches


def test_a_batch_comes_in_order_and_one_bad_file_stops_nothing(tmp_path, misbehaving, monkeypatch):
    monkeypatch.setenv("STYLEMETER_SECONDS", "0.3")
    monkeypatch.setattr(session_module, "sniff", lambda data, name: "test" if name.endswith(".test") else "abc")
    deeds = {"a.test": b"pid", "c.test": b"hang_in_c", "e.test": b"crash", "f.test": b"eat_memory", "i.test": b"pid"}
    for name, deed in deeds.items():
        (tmp_path / name).write_bytes(deed)
    for name in ("b.abc", "g.abc", "h.abc"):
        (tmp_path / name).write_bytes(abc(name))
    monkeypatch.setenv("STYLEMETER_MEMORY_MB", "400")
    names = ["a.test", "b.abc", "c.test", "missing.abc", "e.test", "f.test", "g.abc", "h.abc", "i.test"]
    with Session(guarded=True) as session:
        results = list(session.read_all(tmp_path / name for name in names))
    assert [result.path.name for result in results] == names
    failed = {result.path.name: result.error for result in results if result.error}
    assert sorted(failed) == ["c.test", "e.test", "f.test", "missing.abc"]
    assert all(str(error).startswith(f"{tmp_path}/{name}: ") for name, error in failed.items())
    assert isinstance(failed["c.test"], LimitError)
    assert isinstance(failed["f.test"], LimitError)
    assert all(bool(result.melodies) != bool(result.error) for result in results)
    assert results[0].melodies[0].title != results[-1].melodies[0].title  # another process by then


@pytest.mark.parametrize("guarded", [False, True])
def test_the_guard_changes_nothing_but_the_time(tmp_path, guarded):
    for number in range(12):
        (tmp_path / f"{number:02}.abc").write_bytes(abc(f"Tune {number}") if number != 5 else b"")
    with Session(guarded=guarded) as session:
        results = list(session.read_all(find([tmp_path])))
    titles = [result.melodies[0].title if result.melodies else str(result.error.what) for result in results]
    assert titles == [f"Tune {number}" if number != 5 else "is empty" for number in range(12)]


@pytest.mark.parametrize("deed", ["unforeseen", "bare", "recurse"])
def test_a_readers_fault_here_is_one_line_too(misbehaving, deed):
    with Session() as session:
        with pytest.raises(InputError, match=r"a\.test: (broke the reader|is nested too deeply)"):
            session.read_bytes(deed.encode(), misbehaving, "a.test")
        assert len(session.read_bytes(b"pid", misbehaving)) == 1


def test_a_batch_left_early_leaves_a_session_that_serves_on(misbehaving, tmp_path):
    (tmp_path / "a.test").write_bytes(b"pid")
    with Session(guarded=True) as session:
        results = session.read_all([tmp_path / "a.test"] * 5, kind=misbehaving)
        assert next(results).error is None
        results.close()
        assert len(session.read(tmp_path / "a.test", kind=misbehaving)) == 1


def test_several_threads_may_share_a_session(misbehaving):
    from concurrent.futures import ThreadPoolExecutor

    with Session(guarded=True) as session, ThreadPoolExecutor(4) as pool:
        titles = list(pool.map(lambda n: session.read_bytes(b"number %d" % n, misbehaving)[0].title, range(20)))
    assert titles == [str(n) for n in range(20)]


def test_options_that_make_no_sense_stop_a_batch_before_its_first_file(tmp_path):
    with Session() as session:
        with pytest.raises(UsageError, match="is not a key"):
            session.read_all(["x.abc"], ReadOptions(key="H"))
        with pytest.raises(UnknownNameError, match="no format"):
            session.read_all(["x.abc"], kind="gif")


def test_a_bad_variable_is_told_once(monkeypatch):
    monkeypatch.setenv("STYLEMETER_SECONDS", "soon")
    with Session() as session, pytest.raises(UsageError, match="STYLEMETER_SECONDS='soon'"):
        session.read_all(["x.abc", "y.abc"])


def test_a_result_says_what_it_is():
    assert Read(Path("x")).melodies == []
    assert Read(Path("x")).error is None


def test_a_small_file_is_read_here_and_a_large_one_in_the_child(monkeypatch):
    table = b"onset,duration,pitch\n" + b"".join(b"%d,1,%d\n" % (i, 60 + i % 12) for i in range(8000))
    monkeypatch.setitem(KINDS, "csv", replace(KINDS["csv"], here_bytes=2000))
    with Session() as session:
        [melody] = session.read_bytes(table[: table.index(b"\n100,") + 1])
        assert (len(melody), melody.source) == (100, "csv")
        assert not session._process.started
        [melody] = session.read_bytes(table)
        assert (len(melody), melody.source) == (8000, "csv")
        assert session._process.started


def test_a_packed_file_counts_as_what_it_unpacks_to(monkeypatch):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("score.xml", b"<score-partwise>" + b" " * 2**21 + b"</score-partwise>")
    assert len(packed.getvalue()) < 10_000
    with Session() as session:
        with pytest.raises(InputError):
            session.read_bytes(packed.getvalue())
        assert session._process.started


def test_every_kind_has_its_own_limits(monkeypatch, tmp_path):
    monkeypatch.setitem(KINDS, "csv", replace(KINDS["csv"], bytes_max=50))
    (tmp_path / "large.csv").write_bytes(b"onset,duration,pitch\n" + b"0,1,60\n" * 10)
    (tmp_path / "large.abc").write_bytes(abc("As large") * 2)
    with Session() as session:
        with pytest.raises(LimitError, match="is larger than"):
            session.read(tmp_path / "large.csv")
        assert len(session.read(tmp_path / "large.abc")) == 2
        monkeypatch.setenv("STYLEMETER_MAX_BYTES", "1000")
        assert len(session.read(tmp_path / "large.csv")) == 1  # the user's own limit goes first


INTERRUPTED = """
import sys, threading, time
sys.path.insert(0, {path!r})
from stylemeter.reading import KINDS, Reader, Session
KINDS["test"] = Reader("misbehaving", (), "")
with Session(guarded=True) as session:
    session.read_bytes(b"pid", "test")
    print(session._process.pid, flush=True)
    threading.Timer(0.3, lambda: print("ready", flush=True)).start()
    for result in session.read_all([{file!r}] * 4, kind="test"):
        print("read on", flush=True)
"""


def test_an_interrupt_at_the_terminal_ends_everything_soon(tmp_path):
    (tmp_path / "a.test").write_bytes(b"hang_in_c")
    code = INTERRUPTED.format(path=str(MISBEHAVING), file=str(tmp_path / "a.test"))
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as program:
        pid = int(program.stdout.readline())
        assert program.stdout.readline() == "ready\n"
        start = time.monotonic()
        os.killpg(program.pid, signal.SIGINT)  # as a terminal does: to the whole group
        told, complaint = program.communicate(timeout=20)
        assert time.monotonic() - start < 5
    assert told == ""
    assert complaint.rstrip().endswith("KeyboardInterrupt")
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


# ------------------------------------------------------------------------------------------------ finding


def test_folders_are_walked_sorted_and_known_files_taken(tmp_path):
    for name in ("b.abc", "a.MID", "c/d.krn", "c/a.musicxml", ".hidden.abc", ".hidden/x.abc", "notes.txt", "B.abc"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "c" / "loop").symlink_to(tmp_path)
    names = [str(path.relative_to(tmp_path)) for path in find([tmp_path])]
    assert names == ["B.abc", "a.MID", "b.abc", "c/a.musicxml", "c/d.krn"]


def test_files_named_are_taken_whatever_they_are_called_and_once(tmp_path):
    for name in ("notes.txt", ".hidden.abc", "b.abc", "a.abc"):
        (tmp_path / name).write_bytes(b"x")
    paths = [tmp_path / "notes.txt", tmp_path / "b.abc", tmp_path, tmp_path / ".hidden.abc", tmp_path / "missing"]
    assert [path.name for path in find(paths)] == ["notes.txt", "b.abc", "a.abc", ".hidden.abc", "missing"]
    assert find(["-"]) == [Path("-")]


def test_an_empty_folder_is_told_of_when_it_is_read(tmp_path):
    (tmp_path / "readme.txt").write_bytes(b"x")
    assert find([tmp_path]) == [tmp_path]
    with pytest.raises(InputError, match="is a folder"):
        read(tmp_path)


def test_too_many_files_are_a_mistake(tmp_path, monkeypatch):
    from stylemeter.reading.intake import limits

    for number in range(5):
        (tmp_path / f"{number}.abc").write_bytes(b"x")
    monkeypatch.setattr(limits, "FILES_MAX", 4)
    with pytest.raises(LimitError, match="more than 4 files"):
        find([tmp_path])


# ------------------------------------------------------------------------------------------------ the table


def test_the_table_of_kinds_is_sound():
    suffixes = [suffix for reader in KINDS.values() for suffix in reader.suffixes]
    assert len(set(suffixes)) == len(suffixes)
    assert sorted(suffixes) == list(known_suffixes())
    assert all(suffix.startswith(".") and suffix == suffix.lower() for suffix in suffixes)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_has_its_reader(kind):
    import importlib
    import inspect

    module = importlib.import_module(KINDS[kind].module)
    assert list(inspect.signature(module.read).parameters) == ["data", "options"]


# ------------------------------------------------------------------------------------------------ what is loaded


def loaded(code, cwd):
    """Which heavy modules a fresh interpreter holds after some code."""
    probe = "\nimport sys\nprint([m for m in ('music21', 'mido', 'verovio', 'numpy', 'pandas') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code + probe], capture_output=True, text=True, check=True, cwd=cwd)
    return done.stdout.strip()


def test_importing_the_package_loads_nothing_heavy(tmp_path):
    assert loaded("from stylemeter.reading import Session; Session()", tmp_path) == "[]"


def test_reading_loads_nothing_but_numpy(tmp_path, music21_corpus):
    score = next(music21_corpus.glob("leadSheet/*.xml"), None) or next(music21_corpus.rglob("*.mxl"))
    (tmp_path / "tune.abc").write_bytes(abc("A tune"))
    paths = [str(score), "tune.abc"]
    code = f"from stylemeter.reading import Session\nwith Session() as s: print(len(list(s.read_all({paths!r}))))"
    assert loaded(code, tmp_path).splitlines() == ["2", "['numpy']"]
