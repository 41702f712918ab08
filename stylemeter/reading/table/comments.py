"""What the comment lines of our CSV layout say, as the record our JSON layout would hold."""

from __future__ import annotations

import re
from collections.abc import Sequence
from urllib.parse import unquote

from stylemeter.errors import InputError
from stylemeter.music.chords.symbols import parse_symbol
from stylemeter.music.keys import pitch_class
from stylemeter.reading.draft.fields import shown, ticks_of
from stylemeter.reading.intake.limits import BARS_MAX
from stylemeter.writing.table import quarters_text, root_name, unescape

__all__ = ["meter_rows", "record_of"]

_KEY = re.compile(r"([A-G][b#]?) (.+?) \((declared|given|estimated)(?: \| next best ([^|]*?))?(?: \| margin (\S+))?\)")
_METER = re.compile(r"\s*(?:(\S+)\s+)?(\d{1,3})\s*/\s*(\d{1,3})\s*")
_RUN = re.compile(r"\s*(\S+) (\S+) (-?\d{1,6})(?: x(\d{1,5}))?\s*")
_CHORD = re.compile(r"(N|[A-G][b#]?):(\S*)(?: ([\d.]*))?")
#: Tonics of key names as well, which are spelled as their signature asks.
_ROOTS = {
    **{f"{letter}#": pitch_class(f"{letter}#") or 0 for letter in "CDFGA"},
    **{root_name(i): i for i in range(12)},
}


def record_of(comments: Sequence[tuple[str, str]]) -> dict[str, object]:
    """The record that the comment lines hold, the notes left out.

    Parameters
    ----------
    comments : sequence of (name, text)

    Returns
    -------
    dict
        As `writing.table.to_record` makes it.

    Raises
    ------
    InputError
        With the comment that can't be understood.
    """
    said = dict(comments)
    solo: dict[str, object] = {name: unescape(said[name]) for name in ("title", "part", "source") if name in said}
    solo |= {name: said[name] for name in ("tempo", "guessed_share") if name in said}
    if said.get("rhythm_known", "yes") != "yes":
        solo["rhythm_known"] = False
    if "tuning" in said:
        solo["tuning"] = said["tuning"].split()
    solo["key"] = _key_record(said["key"]) if "key" in said else None
    solo["meter"] = meter_rows(said.get("meter", ""))
    return {
        "solo": solo,
        "bars": _bar_rows(said["bars"]) if "bars" in said else None,
        "chords": _chord_records(said["chords"]) if "chords" in said else None,
        "remarks": [unescape(text) for name, text in comments if name == "remark"],
    }


def _key_record(text: str) -> dict[str, object] | str:
    """A key with all that is known of it; the text itself where it was written by hand."""
    found = _KEY.fullmatch(text.strip())
    if not found or found[1] not in _ROOTS:
        return text
    return {
        "tonic": _ROOTS[found[1]],
        "mode": None if found[2] == "(mode not known)" else found[2],
        "source": found[3],
        "runner_up": None if found[4] is None else unescape(found[4]),
        "margin": found[5],
    }


def meter_rows(text: str) -> list[list[str]]:
    """Rows [onset, numerator, denominator] from "3/4" or "0 4/4 | 16 3/4".

    Raises
    ------
    InputError
        If it is neither.

    Examples
    --------
    >>> meter_rows("0 4/4 | 16 3/4")
    [['0', '4', '4'], ['16', '3', '4']]
    """
    rows = []
    for part in text.split("|"):
        found = _METER.fullmatch(part)
        if not found:
            raise InputError(f"{shown(text)} is not a meter", where="meter", mend='write it like "3/4"')
        rows.append([found[1] or "0", found[2], found[3]])
    return rows


def _bar_rows(text: str) -> list[list[object]]:
    """Rows of a bars comment, the counted ones written out."""
    rows: list[list[object]] = []
    for run in text.split("|"):
        found = _RUN.fullmatch(run)
        if not found:
            raise InputError(f"{shown(run)} is not a bar", where="bars", mend='write "line end number", or "... x8"')
        line, end = ticks_of(found[1], "line", "bars"), ticks_of(found[2], "end", "bars")
        count = int(found[4] or 1)
        if len(rows) + count > BARS_MAX:
            raise InputError(f"more than {BARS_MAX} bars", where="bars", mend="cut the file")
        lines = [line + i * (end - line) for i in range(count + 1)]
        rows += [[quarters_text(lines[i]), quarters_text(lines[i + 1]), int(found[3]) + i] for i in range(count)]
    return rows


def _chord_records(text: str) -> list[dict[str, object]]:
    """Records of a chords comment."""
    records = []
    for place, part in enumerate(text.split("|") if text.strip() else [], 1):
        onset, _, symbol = part.strip().partition(" ")
        try:
            records.append({"onset": onset} | _chord_record(symbol))
        except InputError as error:
            raise error.at(f"chords, place {place}") from None
    return records


def _chord_record(text: str) -> dict[str, object]:
    """A chord symbol, or root:kind with its pitch classes."""
    spelled = _CHORD.fullmatch(text)
    if not spelled or (spelled[1] != "N" and spelled[1] not in _ROOTS):
        chord = parse_symbol(text, 0)
        return {"root": chord.root, "kind": chord.kind, "pitch_classes": list(chord.pitch_classes)}
    try:
        kind = unquote(spelled[2], errors="surrogatepass")
    except UnicodeDecodeError:
        raise InputError(f"{shown(text)} is not a chord", mend="write it as the note table does") from None
    return {
        "root": _ROOTS.get(spelled[1]),
        "kind": kind,
        "pitch_classes": [c for c in (spelled[3] or "").split(".") if c],
    }
