"""Reading Humdrum ``**kern``: the spine that is likeliest to be the melody, one melody a piece.

Conventions: read as written (repeats and expansion lists not played out); spines count from the left, from 1.

References
----------
.. [1] D. Huron, The Humdrum Toolkit: Reference Manual, 1994.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from stylemeter.errors import InputError, LimitError, StylemeterError, UnknownNameError
from stylemeter.music.chords.symbols import parse_label, parse_symbol
from stylemeter.music.melody import Chord, Melody
from stylemeter.music.meter import Meter, lay_bars
from stylemeter.reading.draft.build import Draft, build, count_words
from stylemeter.reading.draft.parts import Candidate, choose
from stylemeter.reading.draft.printed_bars import bar_name, cut_spans, tell_bars
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.kern.spines import read_rows, split_pieces
from stylemeter.reading.kern.walk import Spine, walk
from stylemeter.reading.musicxml.chords import KINDS
from stylemeter.support.decoding import decode
from stylemeter.support.printable import show

__all__ = ["read"]

#: Pieces left out that are told one by one, and parts offered where none fits.
TOLD_MAX = 8
_TITLE = re.compile(r"!!!OTL[^:]{0,10}:\s*(.*)")
_MXHM = re.compile(r"([A-G])([#-]{0,2})\s+([a-z0-9-]+)(?:/([A-G])([#-]{0,2}))?")


def read(data: bytes, options: ReadOptions) -> list[Melody]:
    """Read the pieces of a Humdrum file.

    Parameters
    ----------
    data : bytes
    options : ReadOptions
        `part` is a kern spine's number from the left, from 1, or its instrument.

    Returns
    -------
    list of Melody
        At least one. A piece that can't be read is told of in the first one's remarks.

    Raises
    ------
    InputError
        If no piece can be read.
    UnknownNameError
        If no spine is called as asked for.
    """
    melodies: list[Melody] = []
    failures: list[StylemeterError] = []
    unknown: UnknownNameError | None = None
    pieces = split_pieces(decode(data))
    if len(pieces) > limits.TUNES_MAX:
        raise LimitError(f"more than {limits.TUNES_MAX} pieces", mend="split the file")
    for first, lines in pieces:
        try:
            melodies.append(_piece(first, lines, options))
        except InputError as error:
            failures.append(error.at(f"piece at line {first}") if len(pieces) > 1 else error)
        except UnknownNameError as error:
            unknown = unknown or error
    if not melodies and unknown:
        raise unknown
    if not melodies:
        raise failures[0]
    told = [f"left out: {error}" for error in failures[:TOLD_MAX]]
    if len(failures) > TOLD_MAX:
        told.append(f"{count_words(len(failures) - TOLD_MAX, 'more piece')} left out")
    return [melodies[0].with_remarks(*told), *melodies[1:]] if told else melodies


def _piece(first: int, lines: Sequence[str], options: ReadOptions) -> Melody:
    """One piece."""
    remarks: list[str] = []
    spines, names, unplaced = walk(read_rows(first, lines, remarks))
    spine, number = _choose(spines, options.part, remarks)
    if unplaced:
        remarks.append(f"{count_words(unplaced, 'chord')} where no note starts left out")
    chords = _chords(names, spine)
    titles = [found[1] for line in lines if (found := _TITLE.match(line))]
    return build(_draft(spine, remarks, chords, title=titles[0] if titles else "", part=spine.name or str(number)))


def _choose(spines: Sequence[Spine], wanted: str | None, remarks: list[str]) -> tuple[Spine, int]:
    """The spine asked for, or the one likeliest to be the melody, and its number."""
    if not any(len(spine.notes) for spine in spines):
        raise InputError("no notes in its **kern spines", mend="check the file in a notation editor")
    place, told = choose([_candidate(spine) for spine in spines], wanted if wanted and wanted.strip() else None)
    remarks += told
    if not len(spines[place].notes):
        raise InputError(f"no notes in part {place + 1}", mend="choose another part")
    return spines[place], place + 1


def _candidate(spine: Spine) -> Candidate:
    """A spine as the choice of parts sees it."""
    tops: dict[float, float] = {}
    for onset, _, pitch in spine.notes.notes:
        tops[onset] = max(tops.get(onset, 0.0), pitch)
    middle = sorted(tops.values())[len(tops) // 2] if tops else 0.0
    chordal = len(spine.notes) > 2 * len(tops)
    return Candidate(show(spine.name, 80), len(tops), middle, chordal, percussion=spine.drums)


def _draft(spine: Spine, remarks: list[str], chords: list[Chord] | None, *, title: str, part: str) -> Draft:
    """What `build` needs of one spine."""
    meters = spine.meters
    spans = cut_spans(spine.lines, spine.end)
    if len(spans) > limits.BARS_MAX:
        raise LimitError(f"more than {limits.BARS_MAX} bars", mend="split the file")
    bars = lay_bars(spans, meters or (Meter(0, 4, 4),))
    notes = spine.notes.raw()
    first = notes[0].onset
    before = [key for at, key in spine.keys if at <= first]
    for at, key in spine.keys:
        if before and at > first and (key.tonic, key.mode) != (before[-1].tonic, before[-1].mode):
            spine.found.add("key change", "followed; the first key is the one declared", at)
    remarks += spine.found.lines(lambda tick: bar_name(bars, tick))
    remarks += spine.said
    counted = tell_bars(spans, meters, spine.sections, bars, remarks)
    return Draft(
        notes=notes,
        meters=meters,
        spans=counted,
        key=before[-1] if before else None,
        signature=spine.signature,
        chords=chords,
        phrase_ends=spine.phrase_ends,
        tempo=spine.tempo,
        title=" ".join(show(title).split()),
        part=show(part, 80),
        source="kern",
        remarks=remarks,
    )


def _chords(names: Sequence[tuple[int, str, str]], spine: Spine) -> list[Chord] | None:
    """Chords of the chord spines; a chord that can't be read is counted."""
    chords = []
    for onset, kind, text in names[: limits.CHORDS_MAX]:
        try:
            chords.append(parse_label(text, onset) if kind == "**harte" else _mxhm(text, onset))
        except InputError:
            spine.found.add("chord symbol", "not understood and left out", onset)
    return chords or None


def _mxhm(text: str, onset: int) -> Chord:
    """Chord of an ``**mxhm`` cell: root, MusicXML kind, bass ("B- minor-seventh/D-").

    Examples
    --------
    >>> _mxhm("B- minor-seventh/D-", 0)
    Chord(onset=0, root=10, kind='m7', pitch_classes=(10, 1, 5, 8))
    """
    if text.split(maxsplit=1)[0] in ("none", "N.C.", "N"):
        return Chord(onset, None, "N", ())
    found = _MXHM.fullmatch(text)
    if not found:
        return parse_symbol(text.replace("-", "b", 1) if re.match(r"[A-G]-", text) else text, onset)
    root = found[1] + found[2].replace("-", "b")
    if found[3] not in KINDS:
        raise InputError(f"chord kind {show(found[3], 30)!r} is not known")
    bass = f"/{found[4]}{found[5].replace('-', 'b')}" if found[4] else ""
    return parse_label(f"{root}:({KINDS[found[3]]}){bass}", onset)
