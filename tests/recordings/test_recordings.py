"""Scores of takes recorded and annotated by people, where there are any (README.md says how to add one)."""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path

import mir_eval
import numpy as np
import pytest

from stylemeter.reading.audio.listen import listen
from stylemeter.reading.audio.sound import decode_sound

HERE = Path(__file__).parent
TAKES = sorted(HERE.glob("*.csv"))
SOUNDS = (".wav", ".flac", ".ogg", ".mp3")
#: F1 a take is asked for, by the way it was recorded.
WANTED = {"plugged in": 0.9, "microphone": 0.85, "phone": 0.75}


def annotated(table: Path) -> tuple[np.ndarray, np.ndarray]:
    """Onsets and ends, and pitches in Hz."""
    with table.open(encoding="utf-8", newline="") as file:
        rows = [(float(r["onset_seconds"]), float(r["end_seconds"]), float(r["pitch"])) for r in csv.DictReader(file)]
    table_ = np.array(sorted(rows)).reshape(-1, 3)
    return table_[:, :2], 440 * 2 ** ((table_[:, 2] - 69) / 12)


def score(table: Path) -> float:
    """F1 of a take: onset within 50 ms, pitch within 50 cents."""
    sound = next(f for s in SOUNDS if (f := table.with_suffix(s)).is_file())
    spans, pitch = annotated(table)
    notes = listen(decode_sound(sound.read_bytes()).samples).notes
    heard = np.array([[n.time, max(n.end, n.time + 0.02)] for n in notes]).reshape(-1, 2)
    hertz = 440 * 2 ** ((np.array([n.pitch for n in notes], float) - 69) / 12)
    return float(mir_eval.transcription.precision_recall_f1_overlap(spans, pitch, heard, hertz, offset_ratio=None)[2])


@pytest.mark.skipif(not TAKES, reason="no take recorded and annotated by people has been put here yet")
@pytest.mark.parametrize("table", TAKES, ids=lambda path: path.stem)
def test_a_recorded_take(table):
    facts = tomllib.loads(table.with_suffix(".toml").read_text("utf-8"))
    assert facts["licence"]
    assert score(table) >= WANTED[facts["way"]]


def test_the_scorer_scores(tmp_path):
    """The form of the README, on a take made here."""
    from reading.audio.takes import as_file, take

    sound, times, pitches, *_ = take(31)
    (tmp_path / "made.flac").write_bytes(as_file(sound, form="FLAC"))
    rows = [f"{t:.4f},{t + 0.3:.4f},{p}" for t, p in zip(times, pitches, strict=True)]
    (tmp_path / "made.csv").write_text("onset_seconds,end_seconds,pitch\n" + "\n".join(rows) + "\n")
    assert score(tmp_path / "made.csv") >= 0.95
    wrong = [f"{t:.4f},{t + 0.3:.4f},{p + 1}" for t, p in zip(times, pitches, strict=True)]
    (tmp_path / "made.csv").write_text("onset_seconds,end_seconds,pitch\n" + "\n".join(wrong) + "\n")
    assert score(tmp_path / "made.csv") <= 0.1
