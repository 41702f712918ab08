"""Scores of notes against what was played (mir_eval: onset within 50 or 30 ms, pitch within 50 cents, no lag removed)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import mir_eval
import numpy as np

from stylemeter.reading.audio.decoder import Note
from training.takes import Played

__all__ = ["Score", "score"]


@dataclass
class Score:
    """Counts of a take, or of many added up."""

    wanted: int = 0
    found: int = 0
    right: int = 0
    right30: int = 0
    octaves: int = 0
    repeats: int = 0
    repeats_found: int = 0
    ends: int = 0
    seconds: float = 0.0
    worst: float = 1.0

    @property
    def f1(self) -> float:
        return 2 * self.right / max(1, self.wanted + self.found)

    @property
    def f30(self) -> float:
        return 2 * self.right30 / max(1, self.wanted + self.found)

    @property
    def extra(self) -> float:
        return 60 * (self.found - self.right) / max(1e-9, self.seconds)

    def __add__(self, other: Score) -> Score:
        names = ("wanted", "found", "right", "right30", "octaves", "repeats", "repeats_found", "ends", "seconds")
        sums = {n: getattr(self, n) + getattr(other, n) for n in names}
        return Score(**sums, worst=min(self.worst, other.worst))

    def row(self) -> str:
        parts = (
            f"{self.f1:.3f}", f"{self.f30:.3f}", f"{self.extra:.1f}", f"{self.worst:.3f}",
            f"{100 * self.octaves / max(1, self.found):.2f}",
            f"{self.repeats_found / self.repeats:.3f}" if self.repeats > 20 else "-",
            f"{self.ends / max(1, self.right):.2f}",
        )  # fmt: skip
        return " | ".join(parts)


def score(
    played: Sequence[Played], found: Sequence[Note], seconds: float, lag: float = 0.0
) -> tuple[Score, list[tuple[int, int]]]:
    """Compare; the second part pairs indices of played (upper voice only) and found notes."""
    top = [n for n in played if not n.lower]
    pitch = np.array([n.pitch + n.bend for n in top])
    one, other = (
        _arrays([(n.time, n.time + n.length) for n in top]),
        _arrays([(n.time - lag, n.end - lag) for n in found]),
    )
    hertz = lambda a: 440 * 2 ** ((np.asarray(a, float) - 69) / 12)  # noqa: E731
    told = hertz([n.pitch for n in found])
    if not len(found) or not len(top):
        return Score(
            wanted=len(top), found=len(found), seconds=seconds, worst=0.0 if len(top) or len(found) else 1.0
        ), []
    match = mir_eval.transcription.match_notes
    pairs = match(one, hertz(pitch), other, told, onset_tolerance=0.05, pitch_tolerance=50.0, offset_ratio=None)
    pairs30 = match(one, hertz(pitch), other, told, onset_tolerance=0.03, pitch_tolerance=50.0, offset_ratio=None)
    ends = match(
        one,
        hertz(pitch),
        other,
        told,
        onset_tolerance=0.05,
        pitch_tolerance=50.0,
        offset_ratio=0.2,
        offset_min_tolerance=0.05,
    )
    hit = {a for a, _ in pairs}
    taken = {b for _, b in pairs}
    octaves = 0
    for b, note in enumerate(found):
        if b not in taken:
            near = [p for p, n in zip(pitch, top, strict=True) if abs(n.time - (note.time - lag)) < 0.05]
            octaves += any(abs(abs(note.pitch - p) - 12) < 0.5 for p in near)
    again = [i for i in range(1, len(top)) if top[i].pitch == top[i - 1].pitch]
    out = Score(
        len(top),
        len(found),
        len(pairs),
        len(pairs30),
        octaves,
        len(again),
        sum(i in hit for i in again),
        len(ends),
        seconds,
    )
    out.worst = out.f1
    return out, pairs


def _arrays(spans: list[tuple[float, float]]) -> np.ndarray:
    """Spans as mir_eval wants them, none empty or negative."""
    return np.array([(max(0.0, a), max(a, 0.0) + max(b - a, 0.01)) for a, b in spans]).reshape(-1, 2)
