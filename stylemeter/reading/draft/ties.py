"""A line of notes as it is read: ties joined between equal pitches, what lies under a held note left out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from stylemeter.reading.draft.build import RawNote

__all__ = ["TiedLine"]


@dataclass(slots=True)
class TiedLine:
    """Notes so far, as [onset, ticks, pitch], and the ties open at the end.

    Examples
    --------
    >>> line = TiedLine()
    >>> line.sound(0, 4, (60.0, 64.0), (64.0,)), line.sound(4, 4, (60.0, 64.0), ()), line.sound(8, 4, (60.0,), ())
    ((0, 0), (0, 1), (0, 0))
    >>> [(note.onset, note.duration, note.pitch) for note in line.raw()]
    [(0, 4, 60.0), (0, 8, 64.0), (8, 4, 60.0)]
    """

    notes: list[list[float]] = field(default_factory=list)
    _open: dict[float, int] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.notes)

    def sound(self, onset: int, ticks: int, pitches: Sequence[float], tied: Collection[float]) -> tuple[int, int]:
        """Add a note or chord.

        Parameters
        ----------
        onset, ticks : int
        pitches : sequence of float
        tied : collection of float
            Those of its pitches that are tied to what follows.

        Returns
        -------
        lost : int
            Ties from before that meet no equal pitch.
        hidden : int
            Notes struck under a held higher one, which are left out.
        """
        joined = {p: i for p in pitches if (i := self._open.get(p)) is not None and self._end(i) == onset}
        lost = len(self._open) - len(joined)
        held = max(joined, default=float("-inf"))
        hidden = 0
        still: dict[float, int] = {}
        for pitch in pitches:
            if pitch in joined:
                index = joined[pitch]
                self.notes[index][1] = onset + ticks - self.notes[index][0]
            elif pitch < held:
                hidden += 1
                continue
            else:
                index = len(self.notes)
                self.notes.append([onset, ticks, pitch])
            if pitch in tied:
                still[pitch] = index
        self._open = still
        return lost, hidden

    def silence(self) -> int:
        """A rest: ties end; returns how many were open."""
        lost = len(self._open)
        self._open = {}
        return lost

    def _end(self, index: int) -> float:
        """Tick at which a note ends."""
        return self.notes[index][0] + self.notes[index][1]

    def raw(self) -> list[RawNote]:
        """Notes as `build` takes them."""
        return [RawNote(int(onset), int(ticks), pitch) for onset, ticks, pitch in self.notes]
