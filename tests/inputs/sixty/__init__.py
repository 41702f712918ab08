"""The sixty inputs every reader must survive: each gives the right notes or one clear error.

The list is tests/inputs/README.md; every case is made here, by hand or by a generator, never by the code under test.
"""

from .archives import ARCHIVES
from .case import Case
from .midi_files import MIDI_FILES
from .scores import SCORES
from .strange_scores import STRANGE_SCORES
from .texts import TEXTS

__all__ = ["CASES", "Case", "listing"]

CASES: tuple[Case, ...] = (*ARCHIVES, *STRANGE_SCORES, *SCORES, *MIDI_FILES, *TEXTS)


def listing() -> list[str]:
    """The rows of the list in README.md."""
    words = {(True, False): "notes", (False, True): "error", (True, True): "either"}
    return [
        f"| {case.number} | {case.title} | {words[case.pitches is not None, case.error is not None]} |"
        for case in sorted(CASES, key=lambda case: case.number)
    ]
