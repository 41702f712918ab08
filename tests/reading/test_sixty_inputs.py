"""The sixty inputs through the front door: the right notes, or one clear line; never a traceback, never long.

The list with its reasons is in tests/inputs/README.md; the cases are made in tests/inputs/sixty/.
"""

import io
import pickle
import re
import sys
import time

import pytest
from helpers.places import INPUTS
from inputs.sixty import CASES, listing

from stylemeter.errors import InputError
from stylemeter.reading import KINDS, Session

#: Processor seconds a file may take here, whatever is in it.
SECONDS = 10


@pytest.fixture(scope="module", params=[False, True], ids=["here", "guarded"])
def session(request):
    with Session(guarded=request.param) as session:
        yield session


def test_all_sixty_are_there():
    assert sorted({case.number for case in CASES}) == list(range(1, 61))
    assert len({str(case) for case in CASES}) == len(CASES)
    assert all(case.pitches is not None or case.error is not None for case in CASES)


def test_the_list_is_up_to_date():
    told = (INPUTS / "README.md").read_text().splitlines()
    assert [line for line in told if line.startswith("| ") and line[2].isdigit()] == listing()


@pytest.mark.parametrize("case", CASES, ids=str)
def test_right_notes_or_one_clear_line(case, tmp_path, session):
    path = case.lay(tmp_path)
    start = time.process_time()
    [result] = session.read_all([path], case.options)
    assert time.process_time() - start < SECONDS
    if result.error is not None:
        told = str(result.error)
        assert case.error is not None, told
        assert "\n" not in told
        assert told.isprintable()
        assert told.startswith(str(tmp_path))
        assert "broke the reader" not in told
        assert _matches(case.error, told.removeprefix(str(path))), told
        return
    assert case.pitches is not None, f"read as {[m.pitch.tolist() for m in result.melodies]}"
    melody = result.melodies[0]
    assert melody.pitch.tolist() == pytest.approx(case.pitches), melody.remarks
    if case.onsets is not None:
        onsets = (melody.onset - melody.onset[0]) / 10080
        assert onsets.tolist() == pytest.approx(case.onsets, abs=1e-4), melody.remarks
    if case.remark is not None:
        assert any(_matches(case.remark, remark) for remark in melody.remarks), melody.remarks
    if case.check is not None:
        case.check(result.melodies)


def _matches(pattern, text):
    return re.search(pattern, text) is not None


def test_standard_input_is_the_sixtieth_too(monkeypatch, session):
    [tune] = [case for case in CASES if case.title == "a mode"]
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(tune.data)))
    [melody] = session.read("-")
    assert melody.pitch.tolist() == list(tune.pitches)


class Canary:
    """Unpickled, it makes a file."""

    def __init__(self, path):
        self.path = path

    def __reduce__(self):
        return (open, (str(self.path), "w"))


@pytest.mark.parametrize("protocol", range(pickle.HIGHEST_PROTOCOL + 1))
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_pickle_is_never_opened_even_where_its_kind_is_forced(kind, protocol, tmp_path, session):
    canary = tmp_path / "canary"
    path = tmp_path / f"case{KINDS[kind].suffixes[0]}"
    path.write_bytes(pickle.dumps(Canary(canary), protocol))
    with pytest.raises(InputError, match="pickled program object"):
        session.read(path)
    with pytest.raises(InputError) as caught:
        session.read(path, kind=kind)
    assert "broke the reader" not in str(caught.value)
    assert not canary.exists()


def test_the_canary_sings_where_it_is_opened(tmp_path):
    pickle.loads(pickle.dumps(Canary(tmp_path / "canary"))).close()
    assert (tmp_path / "canary").exists()
