"""MusicXML inputs 1 to 40 of the sixty, read directly, each with the exact notes or the exact error.

All are invented and written by hand. 15 (a file too large) is made in the tests; 26, 27, 32 and 33 are in the
tests of guitar notation.
"""

from inputs.musicxml.case import Case
from inputs.musicxml.files import FILES
from inputs.musicxml.music import MUSIC
from inputs.musicxml.numbers import NUMBERS

__all__ = ["CASES", "Case"]

CASES: tuple[Case, ...] = (*FILES, *NUMBERS, *MUSIC)
