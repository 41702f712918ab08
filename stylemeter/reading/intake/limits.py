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
    "CHORDS_MAX",
    "FILES_MAX",
    "HERE_BYTES_MAX",
    "MEMORY_MB",
    "NOTES_MAX",
    "PATIENCE",
    "PITCH_MAX",
    "PITCH_MIN",
    "REMARKS_MAX",
    "SECONDS",
    "START_SECONDS",
    "TEMPO_MAX",
    "TEMPO_MIN",
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

#: Size, unpacked, up to which a file is read in this process and beyond which in a guarded child. Of a mebibyte, the
#: slowest of all hostile files at hand takes under a second and 35 MiB; a collection of thousands of tunes takes three
#: seconds and 110 MiB. Most files are a tenth of it, and a child takes longer to start than they to be read.
HERE_BYTES_MAX = 2**20

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
#: Quarter notes a minute that can be meant.
TEMPO_MIN, TEMPO_MAX = 5.0, 1000.0
#: Characters of a title, a part's name or a word quoted from a file.
TEXT_MAX = 200
#: Remarks of one melody.
REMARKS_MAX = 100

#: Processor seconds for reading one file (the libraries' own start-up not counted): a busy machine loses no file.
SECONDS = 10.0
#: Seconds on the clock for each of them, after which a file that uses none is given up too.
PATIENCE = 12
#: Wall-clock seconds for the reading process to start and load its libraries on a slow machine.
START_SECONDS = 120.0
#: Memory of the reading process in MiB (address space, so a little over what it uses).
MEMORY_MB = 1024
#: What the reading process may answer for one file: the note tables of the largest collection, with room.
ANSWER_BYTES_MAX = 256 * 2**20

#: Files of one batch: beyond it a folder was named by mistake.
FILES_MAX = 200_000


def seconds(default: float = SECONDS) -> float:
    """Processor seconds for reading one file: its kind's own, or ``STYLEMETER_SECONDS`` where it is set.

    Raises
    ------
    UsageError
        If the variable isn't a number over 0.
    """
    return _positive("STYLEMETER_SECONDS", default)


def memory_bytes(default_mb: float = MEMORY_MB) -> int:
    """Memory of the reading process in bytes: its kind's own, or ``STYLEMETER_MEMORY_MB`` where it is set.

    Raises
    ------
    UsageError
        If the variable isn't a number over 0.
    """
    return int(_positive("STYLEMETER_MEMORY_MB", default_mb) * 2**20)


def max_bytes(default: int = BYTES_MAX) -> int:
    """Size of the largest file read: its kind's own, or ``STYLEMETER_MAX_BYTES`` where it is set.

    Raises
    ------
    UsageError
        If the variable isn't a number over 0.
    """
    return int(_positive("STYLEMETER_MAX_BYTES", default))


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
