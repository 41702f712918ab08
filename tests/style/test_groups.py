"""Metadata tables: how rows find their files, and groups."""

from pathlib import Path

import pytest

from stylemeter.errors import InputError, UsageError
from stylemeter.style.groups import UNKNOWN, Metadata, grouped, load_metadata


def table(tmp_path, text):
    path = tmp_path / "meta.csv"
    path.write_bytes(text.encode("utf-8"))
    return load_metadata(path)


def test_a_row_finds_its_file_by_name_stem_or_number(tmp_path):
    found = table(tmp_path, "style,solo,year\ncool,001,1955\nbop,take-2.mid,1948\nswing,anna,1940\n")
    assert found.columns == ("style", "year")
    assert found.of("x/001.csv")["style"] == "cool"
    assert found.of("x/1.csv")["style"] == "cool"
    assert found.of("take-2.mid")["style"] == "bop"
    assert found.of("ANNA.musicxml")["year"] == "1940"
    assert found.of(tmp_path / "other.mid") == {"style": "", "year": "", "folder": tmp_path.name}
    assert found.names("001.csv")
    assert not found.names("other.mid")


@pytest.mark.parametrize(
    "text", ["\ufefffile;style\na.mid;cool\n", "file\tstyle\na.mid\tcool\n", "file,style\r\na.mid,cool\r\n"]
)
def test_tables_as_they_are_saved_elsewhere(tmp_path, text):
    assert table(tmp_path, text).of("a.mid")["style"] == "cool"


@pytest.mark.parametrize("text", ["file\na\n", "file,style\n", "file,style,style\na,b,c\n", "a\0b"])
def test_what_is_no_table_is_refused_in_one_line(tmp_path, text):
    with pytest.raises(InputError) as error:
        table(tmp_path, text)
    assert "\n" not in str(error.value)


def test_an_unknown_column_names_those_there_are(tmp_path):
    with pytest.raises(UsageError, match="style, folder"):
        table(tmp_path, "file,style\na,b\n").check("player")
    with pytest.raises(UsageError, match="--metadata"):
        Metadata().check("player")


def test_groups_are_sorted_numbers_by_value(tmp_path):
    found = table(tmp_path, "file,decade\na,1960\nb,940\nc,1960\n")
    groups = grouped([Path(n) for n in ("a.mid", "b.mid", "c.mid", "d.mid")], found, "decade")
    assert list(groups) == ["940", "1960", UNKNOWN]
    assert [p.name for p in groups["1960"]] == ["a.mid", "c.mid"]
    assert list(grouped([tmp_path / "x" / "a.mid", tmp_path / "y" / "a.mid"], Metadata(), "folder")) == ["x", "y"]
