"""Every limit on what a reader accepts, in one place.

Conventions: the constants are what a reader checks; the four functions at the end are what a user can change
through the environment, read when they are called. All sizes are in bytes unless the name says otherwise.
"""

from __future__ import annotations

import os

from stylemeter.errors import UsageError

__all__ = [
    "ANSWER_BYTES_MAX",
    "BARS_MAX",
    "BYTES_MAX",
    "CACHE_BYTES_MAX",
    "CHORDS_MAX",
    "FILES_MAX",
    "MEMORY_MB",
    "NOTES_MAX",
    "OWN_BYTES_MAX",
    "PITCH_MAX",
    "PITCH_MIN",
    "REMARKS_MAX",
    "SECONDS",
    "START_SECONDS",
    "TEXT_MAX",
    "TICKS_MAX",
    "TUNES_MAX",
    "XML_DEPTH_MAX",
    "XML_ELEMENTS_MAX",
    "ZIP_BYTES_MAX",
    "ZIP_MEMBERS_MAX",
    "ZIP_RATIO_MAX",
    "max_bytes",
    "memory_bytes",
    "seconds",
]

#: Size of a file as it lies on the disk. The largest score seen in open collections is a tenth of it.
BYTES_MAX = 32 * 2**20

#: Size up to which a note table is read without a process of its own: some five hundred notes, read in no time.
OWN_BYTES_MAX = 64 * 2**10

#: Members of a zip archive. A compressed score has two or three, with pictures some dozens.
ZIP_MEMBERS_MAX = 1000
#: Unpacked size over packed size of the member read. MusicXML packs 10 to 40 times, a bomb 1000 times.
ZIP_RATIO_MAX = 200
#: Unpacked size of the member read.
ZIP_BYTES_MAX = 64 * 2**20

#: Elements inside one another. MusicXML and MEI scores stay under 30.
XML_DEPTH_MAX = 100
#: Elements of one document: 20 000 notes have about 300 000.
XML_ELEMENTS_MAX = 1_500_000

#: Notes of one melody. An evening of improvisation has fewer.
NOTES_MAX = 20_000
#: Printed bars of one melody.
BARS_MAX = 5_000
#: Last tick of one melody: 20 000 bars of 4/4 (`meter.TICKS` a quarter; said here so that no numpy is imported).
TICKS_MAX = 10_080 * 4 * 20_000
#: Chord symbols of one melody.
CHORDS_MAX = 20_000
#: Tunes of one collection file.
TUNES_MAX = 10_000
#: Sounding pitch, as MIDI note numbers.
PITCH_MIN = 0
PITCH_MAX = 127
#: Characters of a title, a part's name or a word quoted from a file.
TEXT_MAX = 200
#: Remarks of one melody.
REMARKS_MAX = 100

#: Wall-clock seconds for reading one file (the libraries' own start-up not counted).
SECONDS = 10.0
#: Wall-clock seconds for the reading process to start and load its libraries on a slow machine.
START_SECONDS = 120.0
#: Memory of the reading process in MiB (address space, so a little over what it uses).
MEMORY_MB = 1024
#: What the reading process may answer for one file: the note tables of the largest collection, with room.
ANSWER_BYTES_MAX = 256 * 2**20

#: Files of one batch: beyond it a folder was named by mistake.
FILES_MAX = 200_000
#: Size of the note-table cache; the oldest entries make room.
CACHE_BYTES_MAX = 256 * 2**20


def seconds() -> float:
    """Wall-clock seconds for reading one file: `SECONDS`, or ``STYLEMETER_SECONDS`` where it is set.

    Raises
    ------
    UsageError
        If the variable isn't a number over 0.
    """
    return _positive("STYLEMETER_SECONDS", SECONDS)


def memory_bytes() -> int:
    """Memory of the reading process in bytes: `MEMORY_MB`, or ``STYLEMETER_MEMORY_MB`` where it is set.

    Raises
    ------
    UsageError
        If the variable isn't a number over 0.
    """
    return int(_positive("STYLEMETER_MEMORY_MB", MEMORY_MB) * 2**20)


def max_bytes() -> int:
    """Size of the largest file read: `BYTES_MAX`, or ``STYLEMETER_MAX_BYTES`` where it is set.

    Raises
    ------
    UsageError
        If the variable isn't a number over 0.
    """
    return int(_positive("STYLEMETER_MAX_BYTES", BYTES_MAX))


def _positive(variable: str, default: float) -> float:
    """A number over 0 from the environment, or the default where the variable is not set or blank."""
    text = os.environ.get(variable, "").strip()
    if not text:
        return default
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0 < value < 1e15:
        raise UsageError(f"{variable}={text!r} is not a number over 0", mend=f"say {variable}={default:g} or unset it")
    return value
