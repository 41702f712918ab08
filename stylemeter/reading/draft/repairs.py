"""What a reader mended or guessed, counted by kind."""

from __future__ import annotations

from collections.abc import Callable

from stylemeter.reading.draft.build import count_words

__all__ = ["Findings"]


class Findings:
    """Repairs and guesses by kind: how many there were, and the first bar they happened in."""

    def __init__(self) -> None:
        self._found: dict[tuple[str, str, str], tuple[int, int]] = {}

    def add(self, noun: str, rest: str, bar: int, count: int = 1, *, plural: str = "") -> None:
        """Count one more of a kind: "note" "left out" in the bar with that index; without a noun only said once."""
        number_so_far, first = self._found.get((noun, plural, rest), (0, bar))
        self._found[noun, plural, rest] = (number_so_far + count, min(first, bar))

    def lines(self, name: Callable[[int], str]) -> list[str]:
        """One remark a kind; `name` names a bar by its index.

        Examples
        --------
        >>> found = Findings()
        >>> found.add("grace note", "left out", 2)
        >>> found.add("grace note", "left out", 1)
        >>> found.lines(lambda index: f"bar {index + 1}")
        ['2 grace notes left out (first in bar 2)']
        """
        return [
            f"{count_words(count, noun, plural) + ' ' if noun else ''}{rest} "
            f"({'first ' if count > 1 else ''}in {name(bar)})"
            for (noun, plural, rest), (count, bar) in self._found.items()
        ]
