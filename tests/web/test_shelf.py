"""The shelf: plain files that the commands read too, whole or not at all."""

import io
import json
import threading
import zipfile

import pytest
from helpers.written import written

from stylemeter.errors import InputError, UsageError
from stylemeter.reading import find, read
from stylemeter.web.shelf import Shelf
from stylemeter.writing.table import to_json


@pytest.fixture
def shelf(tmp_path):
    return Shelf(tmp_path / "shelf")


@pytest.fixture(scope="module")
def table():
    return to_json(written("C4:1/2 D4:1/2 E4:1/2 F4:1/2 " * 8)).encode()


def with_original(shelf, take, name, data):
    """The take once the file it came in lies beside it."""
    shelf.put_original(take, name, data)
    return shelf.find(take.player, take.name)


def test_a_take_is_kept_as_a_table_the_commands_read(shelf, table):
    take = with_original(shelf, shelf.put("K.V.", "Lamp Oil Lane", table, day="2026-03-02"), "take.mid", b"MThd")
    assert (take.player, take.name, take.date) == ("K V", "2026-03-02 Lamp Oil Lane", "2026-03-02")
    files = find([shelf.folder])
    assert files == [shelf.path(take)]  # the take as it came and the record are passed over
    [melody] = read(files[0])
    assert len(melody) == 32
    assert shelf.table(take) == table
    assert shelf.original(take) == ("take.mid", b"MThd")
    assert Shelf(shelf.folder).takes() == [take]


def test_names_never_become_paths(shelf, table, tmp_path):
    for name in ("../../etc/passwd", "/etc/passwd", "a/b\\c", "con", "..", "\x00\x1b[2J", "x" * 500, "𝄞" * 200, ""):
        shelf.put(name, name, table)
    made = [p for p in tmp_path.rglob("*") if p.is_file()]
    assert all(shelf.folder in p.parents for p in made)
    assert all(p.name.isprintable() and len(p.name.encode()) < 255 for p in made)
    assert len(shelf.takes()) == 9


@pytest.mark.parametrize("player", ["..", ".", ".kept", "../shelf/K V", "", "nobody"])
def test_only_what_is_there_can_be_asked_for(shelf, table, player):
    take = shelf.put("K V", "a", table, day="2026-03-02")
    with pytest.raises(InputError, match="no such take"):
        shelf.find(player, take.name)
    with pytest.raises(InputError, match="no such take"):
        shelf.find("K V", f"../K V/{take.name}")


def test_links_are_passed_over(shelf, table, tmp_path):
    take = shelf.put("K V", "a", table)
    (tmp_path / "secret.json").write_text("{}")
    (shelf.folder / "K V" / "link.json").symlink_to(tmp_path / "secret.json")
    (shelf.folder / "elsewhere").symlink_to(tmp_path)
    assert shelf.takes() == [take]


def test_the_same_title_twice(shelf, table):
    names = [shelf.put("K V", "Blues", table, day="2026-03-02").name for _ in range(3)]
    assert names == ["2026-03-02 Blues", "2026-03-02 Blues (2)", "2026-03-02 Blues (3)"]
    assert shelf.put("k v", "blues", table, day="2026-03-02").name == "2026-03-02 blues (4)"


def test_a_date_that_is_none(shelf, table):
    with pytest.raises(UsageError, match="no date"):
        shelf.put("K V", "a", table, day="2026-02-30")


def test_two_windows_lose_nothing(shelf, table):
    def keep(i):
        for _ in range(10):
            mine = Shelf(shelf.folder)
            with_original(mine, mine.put("K V", "same", table, day="2026-03-02"), f"{i}.mid", str(i).encode())

    threads = [threading.Thread(target=keep, args=(i,)) for i in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    takes = shelf.takes()
    assert len(takes) == 40
    assert all(shelf.original(t) == (f"{t.record['original'][0]}.mid", t.record["original"][0].encode()) for t in takes)


def test_what_is_deleted_is_gone_and_nothing_else(shelf, table):
    one = with_original(shelf, shelf.put("K V", "one", table), "a.mid", b"x")
    two = shelf.put("K V", "two", table)
    shelf.remove(one)
    assert shelf.takes() == [two]
    shelf.remove(two)
    assert shelf.takes() == []
    assert [p.name for p in shelf.folder.iterdir()] == [".lock"]
    kept = shelf.put("K V", "three", table)
    (shelf.folder / "K V" / "my own notes.txt").write_text("mine")
    shelf.remove(kept)
    assert (shelf.folder / "K V" / "my own notes.txt").read_text() == "mine"


def test_a_damaged_record_costs_what_it_said_and_no_more(shelf, table):
    take = shelf.put("K V", "a", table, day="2026-03-02")
    record = shelf.folder / "K V" / ".kept" / f"{take.name}.record.json"
    for damage in (b"{", b"[]", b"[" * 100_000, b'{"schema": "other"}'):
        record.write_bytes(damage)
        [left] = shelf.takes()
        assert (left.record, left.date) == ({}, "2026-03-02")
        assert shelf.table(left) == table


def test_the_export_holds_everything_and_is_the_same_again(shelf, table):
    with_original(shelf, shelf.put("K V", "a", table, day="2026-03-02"), "a.mid", b"MThd")
    shelf.put("L M", "b", table, day="2026-03-03")
    packed = shelf.packed()
    assert packed == shelf.packed()
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        assert sorted(archive.namelist()) == [
            "K V/2026-03-02 a.json",
            "K V/2026-03-02 a.record.json",
            "K V/as it came/2026-03-02 a.mid",
            "L M/2026-03-03 b.json",
            "L M/2026-03-03 b.record.json",
        ]
        assert json.loads(archive.read("K V/2026-03-02 a.record.json"))["date"] == "2026-03-02"
    with zipfile.ZipFile(io.BytesIO(shelf.packed("L M"))) as archive:
        assert len(archive.namelist()) == 2


def test_a_folder_that_can_not_be_written(tmp_path, table):
    (tmp_path / "file").write_text("")
    with pytest.raises(UsageError, match="can't be written"):
        Shelf(tmp_path / "file").put("K V", "a", table)
