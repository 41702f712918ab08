"""The guard: what is opened at all, what kind it is taken for, and names that can't steer a terminal."""

import gzip
import io
import os
import pickle
import pickletools
import socket
import sys
import time
import unicodedata
import zipfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stylemeter.errors import InputError, LimitError, UsageError
from stylemeter.music.meter import TICKS
from stylemeter.reading import find
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.guard import load, load_stream, sniff
from stylemeter.reading.kinds import KINDS, kind_of_suffix
from stylemeter.support.printable import show

ABC = b"X:1\nT:A tune\nM:4/4\nL:1/8\nK:D\nDEFG ABcd|\n"


# ------------------------------------------------------------------------------------------------ load


def test_a_regular_file_is_read_also_behind_a_link(tmp_path):
    file = tmp_path / "tune.abc"
    file.write_bytes(ABC)
    link = tmp_path / "link.abc"
    link.symlink_to(file)
    assert load(file) == load(str(link)) == load(os.fsencode(link)) == ABC


def _make_folder(path):
    path.mkdir()


def _make_socket(path):
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(path))


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (_make_folder, "is a folder"),
        (os.mkfifo, "is a pipe"),
        (_make_socket, "is a socket"),
        (lambda path: path.symlink_to("/dev/zero"), "is a device"),
        (lambda path: path.symlink_to("/dev/stdin"), "is a "),
        (lambda path: path.symlink_to(path), "leads back to itself"),
        (lambda path: path.symlink_to("nowhere"), "no such file"),
        (lambda path: path.touch(), "is empty"),
        (lambda path: None, "no such file"),
    ],
)
def test_anything_else_is_refused_at_once(tmp_path, make, words):
    path = tmp_path / "take.mid"
    make(path)
    with pytest.raises(InputError, match=words):
        load(path)


def test_a_pipe_is_not_waited_for_behind_a_link(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "take.mid").symlink_to(tmp_path / "pipe")
    with pytest.raises(InputError, match="is a pipe"):
        load(tmp_path / "take.mid")


@pytest.mark.parametrize("name", ["a\0b", "x" * 300, "tune.abc/more"])
def test_impossible_names_are_refused_in_words(tmp_path, name):
    (tmp_path / "tune.abc").write_bytes(ABC)
    with pytest.raises(InputError, match=r"not a file name|name too long|no such file"):
        load(f"{tmp_path}/{name}")


def test_a_file_one_may_not_read_is_refused_in_words(tmp_path, monkeypatch):
    (tmp_path / "tune.abc").write_bytes(ABC)

    def refuse(path, flags):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(InputError, match="not permitted"):
        load(tmp_path / "tune.abc")


def test_size_is_looked_at_before_reading(tmp_path, monkeypatch):
    huge = tmp_path / "huge.mid"
    with huge.open("wb") as file:
        file.truncate(100 * 2**20)  # a hundred million bytes that take no room
    with pytest.raises(LimitError, match="larger than 32 MiB"):
        load(huge)
    monkeypatch.setenv("STYLEMETER_MAX_BYTES", str(len(ABC)))
    (tmp_path / "tune.abc").write_bytes(ABC)
    assert load(tmp_path / "tune.abc") == ABC
    (tmp_path / "tune.abc").write_bytes(ABC + b"\n")
    with pytest.raises(LimitError):
        load(tmp_path / "tune.abc")


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="/proc is Linux's")
def test_a_file_that_hides_its_size_is_bounded_too(monkeypatch):
    assert Path("/proc/self/maps").stat().st_size == 0
    monkeypatch.setenv("STYLEMETER_MAX_BYTES", "100")
    with pytest.raises(LimitError):
        load("/proc/self/maps")


def test_a_stream_is_bounded(monkeypatch):
    assert load_stream(io.BytesIO(ABC)) == ABC
    with pytest.raises(InputError, match="is empty"):
        load_stream(io.BytesIO())
    monkeypatch.setenv("STYLEMETER_MAX_BYTES", "10")
    with pytest.raises(LimitError):
        load_stream(io.BytesIO(ABC))


# ------------------------------------------------------------------------------------------------ limits


def test_the_limit_on_ticks_is_said_in_the_meters_ticks():
    assert limits.TICKS_MAX % TICKS == 0
    assert limits.TICKS_MAX // TICKS == 4 * 20_000


@pytest.mark.parametrize(
    ("variable", "read", "value", "expected"),
    [
        ("STYLEMETER_SECONDS", limits.seconds, "2.5", 2.5),
        ("STYLEMETER_MEMORY_MB", limits.memory_bytes, "512", 512 * 2**20),
        ("STYLEMETER_MAX_BYTES", limits.max_bytes, "1e6", 1_000_000),
    ],
)
def test_limits_come_from_the_environment_when_asked(monkeypatch, variable, read, value, expected):
    default = read()
    monkeypatch.setenv(variable, value)
    assert read() == expected
    monkeypatch.setenv(variable, "  ")
    assert read() == default
    for bad in ("ten", "0", "-1", "nan", "inf"):
        monkeypatch.setenv(variable, bad)
        with pytest.raises(UsageError, match=variable):
            read()


# ------------------------------------------------------------------------------------------------ sniff

XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/x.dtd">\n'
)
MXL = io.BytesIO()
with zipfile.ZipFile(MXL, "w") as _archive:
    _archive.writestr("META-INF/container.xml", "<container/>")
    _archive.writestr("score.xml", "<score-partwise/>")

KNOWN = [
    ("musicxml", (XML + DOCTYPE + '<score-partwise version="4.0">').encode()),
    ("musicxml", (XML + "<!-- <html> --><score-partwise>").encode()),
    ("musicxml", (XML + '<!DOCTYPE score-partwise [<!ENTITY a "b">]><score-partwise>').encode()),
    ("musicxml", b"<score-timewise>"),
    ("musicxml", b"\xef\xbb\xbf" + XML.encode() + b"<score-partwise>"),
    ("musicxml", (XML + "<score-partwise>").encode("utf-16")),
    ("musicxml", (XML + "<score-partwise>").encode("utf-16-be")),
    ("musicxml", b"\r\n  <?xml version='1.0'?><score-partwise>"),
    ("musicxml", MXL.getvalue()),
    ("musicxml", MXL.getvalue()[:60]),  # cut off: its reader says so
    ("mei", b'<?xml version="1.0"?><?xml-model href="x"?><mei xmlns="http://www.music-encoding.org/ns/mei">'),
    ("mei", b'<mei:mei xmlns:mei="http://www.music-encoding.org/ns/mei">'),
    ("midi", b"MThd\x00\x00\x00\x06\x00\x01"),
    ("midi", b"RIFF\x20\x00\x00\x00RMIDdata"),
    ("abc", ABC),
    ("abc", ABC.replace(b"\n", b"\r\n")),
    ("abc", ABC.replace(b"\n", b"\r")),
    ("abc", b"\xef\xbb\xbf" + ABC),
    ("abc", b"%abc-2.1\n" + ABC),
    ("abc", b"some words before\n\nX: 12\nK:G\nabc"),
    ("abc", "X:1\nT:Für\nK:D\nabc|".encode("latin-1")),
    ("abc", b"T:no number\nM:4/4\nL:1/8\nK:D\nabc|"),
    ("kern", b"**kern\n4c\n*-\n"),
    ("kern", b"!!!COM: Nobody\n!!!OTL: A tune\n**kern\t**text\n4c\ta\n"),
    ("kern", b"**kern    **dynam\n"),
    ("kern", b"**text\t**kern\n"),
    ("jams", b'{"annotations": [{"namespace": "note_midi"}], "file_metadata": {}, "sandbox": {}}'),
    ("jams", b'{\n "file_metadata": {},\n "annotations": []}'),
    ("json", b'{"schema": "stylemeter/notes/1", "notes": []}'),
    ("json", b'[{"onset": 0, "duration": 1, "pitch": 60}]'),
    ("json", b"[[0, 1, 60]]"),
    ("csv", b"onset,duration,pitch\n0,1,60\n"),
    ("csv", b"# stylemeter/notes/1\n# key: D dorian (declared)\nonset,duration,pitch\n0,1,60\n"),
    ("csv", b"Onset;Pitch\n0;60\n"),
    ("csv", b"start_time\tend_time\tmidi_note\n0\t1\t60\n"),
    ("csv", b"0.5,1,60\n1.5,1,62\n"),
    ("tab", b"e|-----------|\nB|-----------|\nG|---2-4-5--|\nD|-2---------|\nA|-----------|\nE|-----------|\n"),
    ("tab", b"A song\n\n|-----------|\n|-----------|\n|---2-4-5--|\n|-2---------|\n|-----------|\n|-----------|\n"),
    ("tab", b"G|---2h4-5b7--|---|\r\nD|-2-----------|---|\r\nA|-------------|---|\r\nE|-------------|---|\r\n"),
]


@pytest.mark.parametrize(("kind", "data"), KNOWN)
@pytest.mark.parametrize("name", ["", "take.mid", "take.musicxml", "take.krn", "take.csv", "take.txt"])
def test_content_decides_and_not_the_name(kind, data, name):
    assert sniff(data, name) == kind


@pytest.mark.parametrize(
    ("data", "name", "kind"),
    [
        (b"abc def | gab c4 |", "tune.abc", "abc"),
        (b"a line of something", "tune.krn", "kern"),
        (b"5 7 8", "lick.tab", "tab"),
        (b"60 1 2", "lick.csv", "csv"),
        (b"<?xml version='1.0'?>", "cut.musicxml", "musicxml"),
    ],
)
def test_the_name_breaks_a_tie(data, name, kind):
    assert sniff(data, name) == kind


def archive(*names):
    raw = io.BytesIO()
    with zipfile.ZipFile(raw, "w") as file:
        for name in names:
            file.writestr(name, "x")
    return raw.getvalue()


class Harmless:
    def __reduce__(self):
        return (str.upper, ("x",))


REFUSED = [
    (b"\x89PNG\r\n\x1a\n", "a picture"),
    (b"\xff\xd8\xff\xe0\x00\x10JFIF", "a picture"),
    (b"<svg xmlns='x'/>", "a picture"),
    (b"%PDF-1.7", "a page for print"),
    (b"\x00\x00\x00\x20ftypM4A ", "sound"),
    (b"<!DOCTYPE html><html>", "a web page"),
    (b"\n<HTML><body>X:1</body>", "a web page"),
    (gzip.compress(ABC, mtime=0), "a packed archive"),
    (archive("a.mid", "b.mid"), "a zip archive without a score"),
    (archive("[Content_Types].xml", "word/document.xml"), "an office document"),
    (archive("Content/score.gpif"), "a tab editor's own binary format"),
    (b"\x18FICHIER SOMETHING v3.00", "a tab editor's own binary format"),
    (b"\x93NUMPY\x01\x00", "a binary table"),
    (b"\x7fELF\x02", "a program"),
    *[(pickle.dumps(value, protocol), "a pickled program object") for value in ({"a": 1}, [1, 2], Harmless(), b"x", 7.5)
      for protocol in (2, 3, 4, 5)],
    (pickle.dumps(Harmless(), 0), "a pickled program object"),
    (b"cos\nsystem\n(S'true'\ntR.", "a pickled program object"),
    (b"(cos\nsystem\nS'true'\no.", "a pickled program object"),
    (b"<note/>", "XML, but not a score .its outermost element is <note>"),
    (b"<container><rootfiles/></container>", "the table of contents"),
    (b"\x00\x01\x02\x03" * 50, "binary data"),
    (b" \n\t \n", "nothing but blanks"),
    (b"\xef\xbb\xbf", "nothing but blanks"),
    (b"just words", "no kind of file known here"),
]  # fmt: skip


@pytest.mark.parametrize(("data", "words"), REFUSED)
@pytest.mark.parametrize("name", ["", "notes.txt"])
def test_what_is_no_melody_is_named(data, words, name):
    with pytest.raises(InputError, match=words) as caught:
        sniff(data, name)
    assert caught.value.mend


@pytest.mark.parametrize(
    "head", [b"RIFF\x00\x00\x00\x00WAVEfmt ", b"FORM\x00\x00\x00\x00AIFF", b"ID3\x03\x00", b"OggS\x00", b"fLaC"]
)
def test_recordings_are_known_by_their_first_bytes(head):
    assert sniff(head, "") == sniff(head, "notes.txt") == "audio"


@pytest.mark.parametrize("name", ["solo.abc", "solo.mid", "solo.krn", "solo.json", "solo.musicxml", "solo.mxl"])
@pytest.mark.parametrize("protocol", [0, 2, 3, 4, 5])
def test_a_pickle_in_disguise_is_refused_by_any_name(name, protocol):
    with pytest.raises(InputError, match="a pickled program object"):
        sniff(pickle.dumps(Harmless(), protocol), name)


def test_the_oldest_binary_pickle_is_no_known_kind():
    data = pickle.dumps(Harmless(), 1)
    assert next(op.name for op, _, _ in pickletools.genops(data)) == "GLOBAL"
    with pytest.raises(InputError, match="a pickled program object"):
        sniff(data, "solo.abc")


@pytest.mark.parametrize(
    ("data", "name"), [(b"X", "take.mid"), (b"not a zip", "take.mxl"), (b"words", "take.json"), (b"words", "take.mei")]
)
def test_a_name_that_promises_what_is_not_there_is_told(data, name):
    with pytest.raises(InputError, match="is named like"):
        sniff(data, name)


@given(st.binary(max_size=400), st.sampled_from(["", "a.abc", "a.mid", "a.xml", "a.tab", "a.csv"]))
def test_any_bytes_have_a_kind_or_one_line(data, name):
    try:
        outcome = sniff(data, name)
    except InputError as error:
        outcome = str(error)
    assert outcome in KINDS or (outcome and "\n" not in outcome)


@pytest.mark.parametrize(
    "data",
    [
        b"<" * 2**20,
        b"<!--" * 2**18,
        b"<?" * 2**19,
        b"-" * 2**20,
        b"|-" * 2**19,
        b"X:" * 2**19,
        b"c" + b"a." * 2**19,
        b"," * 2**20,
        b"PK\x03\x04" * 2**18,
        b"**" * 2**19,
        b"!\n" * 2**19,
        b"\n" * 2**20,
        b'"annotations"' * 80_000,
        b"K:" * 2**19,
        b"1," * 2**19,
        b"\xff\xfe" * 2**19,
    ],
    ids=lambda data: repr(data[:12]),
)
def test_sniffing_a_hostile_megabyte_is_quick(data):
    start = time.process_time()
    for name in ("", "x.abc"):
        try:
            sniff(data, name)
        except InputError:
            continue
    assert time.process_time() - start < 2


TAB = "e|--5---7---8---7--|\nB|-----------------|\nG|-----------------|\n"


@pytest.mark.parametrize(
    "text",
    [
        TAB,
        TAB.replace("-", "\u2014").replace("|", "\u2502"),
        "".join(f"> {line}\n" for line in TAB.splitlines()),
        "Gtr 1 (C#m, 132bpm)\n\n" + TAB,
        "\n\n".join(TAB.splitlines()),
        "B|--5---7--|\nG|---------|\n",
        "e ------------\nB 19b21--17---\nG ------------\n",
    ],
    ids=["plain", "drawn", "mail", "heading", "apart", "two strings", "frets without a line"],
)
def test_tablature_is_known_without_a_suffix(text):
    assert sniff(text.encode(), "") == sniff(text.encode(), "take.txt") == "tab"


def test_texts_of_a_folder_are_looked_into_and_the_others_named(tmp_path):
    for name, text in {
        "a.txt": TAB,
        "b": TAB,
        "c.txt": "A shopping list: strings - picks - milk.\n",
        "d.abc": ABC.decode(),
        "e.pdf": "%PDF",
        ".hidden.txt": TAB,
        "notes/f.txt": ABC.decode(),
    }.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text)
    passed = []
    assert [str(f.relative_to(tmp_path)) for f in find([tmp_path], passed)] == ["a.txt", "b", "d.abc", "notes/f.txt"]
    assert [str(f.relative_to(tmp_path)) for f in passed] == ["c.txt", "e.pdf"]


def _told_apart(folder):
    """Files whose content is taken for another kind than their name says, and how many were looked at."""
    files = [file for file in find([folder]) if kind_of_suffix(file.name)]
    found = [(str(file), _kind_by_content(file)) for file in files]
    return [(name, kind) for name, kind in found if kind != kind_of_suffix(name)], len(files)


def _kind_by_content(file):
    try:
        return sniff(file.read_bytes(), "")
    except InputError as error:
        return str(error)


def test_every_file_of_music21s_collections_is_known_by_its_content(music21_corpus):
    wrong, count = _told_apart(music21_corpus)
    assert count > 3000
    assert not wrong


@pytest.mark.data
def test_every_file_of_the_open_collections_is_known_by_its_content(open_data):
    wrong, count = _told_apart(open_data)
    assert count > 1000
    assert not wrong


# ------------------------------------------------------------------------------------------------ show


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("tune.abc", "tune.abc"),
        ("Für Elise – ♯1.abc", "Für Elise – ♯1.abc"),
        ("a\nb\tc", r"a\x0ab\x09c"),
        ("\x1b]0;title\x07", r"\x1b]0;title\x07"),
        ("gpj.\u202eexe", r"gpj.\u202eexe"),
        ("a\u200bb\u2028c\ufeff", r"a\u200bb\u2028c\ufeff"),
        (os.fsdecode(b"t\xfcne.abc"), r"t\xfcne.abc"),
        ("\ud800", r"\ud800"),
        ("\x9b31m", r"\x9b31m"),
        ("\U000e0041", r"\U000e0041"),
    ],
)
def test_names_are_shown_safely(name, shown):
    assert show(name) == shown


@given(st.text(st.characters(codec=None), max_size=300), st.integers(3, 120))
def test_what_is_shown_is_short_and_harmless(text, limit):
    shown = show(text, limit)
    assert len(shown) <= limit
    assert not {unicodedata.category(sign) for sign in shown} & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    shown.encode("utf-8")


def test_a_long_name_keeps_both_its_ends():
    shown = show("/a/" + "b" * 5000 + "/tune.abc", 40)
    assert len(shown) == 40
    assert shown.startswith("/a/bb")
    assert shown.endswith("bb/tune.abc")
