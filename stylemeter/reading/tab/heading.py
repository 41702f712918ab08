"""What the words of a tablature say: title, key, tempo, meter, and which instrument a system is for.

Conventions: words count as a heading where they stand over the first system; a field with its name and a colon
("Key: Am") counts anywhere. How people write these is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from stylemeter.errors import InputError, StylemeterError
from stylemeter.music.keys import parse_key
from stylemeter.music.melody import Key
from stylemeter.music.meter import Meter
from stylemeter.reading.draft.user_options import parse_meter
from stylemeter.reading.intake.limits import TEXT_MAX

__all__ = ["Heading", "Player", "heading_of", "players_of"]

_FIELD = re.compile(r"\W*(title|tempo|key|time|meter|metre|time signature|bpm)\s*[:=]\s*(.+)", re.IGNORECASE)
_METER = re.compile(r"(?<![\d/.])(\d{1,2})\s?/\s?(2|4|8|16)(?![\d/])")
_TEMPO = re.compile(
    r"\b(?:tempo|bpm|[♩qQ])\s*(?:is|[:=@-])?\s*(?:c(?:a|irca)?\.?|about|approx\w*\.?|~|=|at|\()?\s*(\d{2,3})(?:\.\d+)?\b"
    r"|(?<![\d.])(\d{2,3})(?:\.\d+)?\s*(?:bpm\b|b\.p\.m|beats (?:per|a) min)"
    r"|♩\s*=\s*(\d{2,3})",
    re.IGNORECASE,
)
_TONIC = r"[A-G](?:[#b♯♭]|[\s-]?(?:flat|sharp)\b)?"
_MODE = r"(?:m(?![a-z])|min(?:or)?|maj(?:or)?|dorian|phrygian|lydian|mixolydian|aeolian|locrian|ionian|blues)"
#: "key of A minor", "in Em"; a tonic alone counts after "key" only.
_KEY = re.compile(
    rf"\b[Kk](?:ey|EY)(?:\s+(?:of|is))?\s*[:=-]?\s*({_TONIC}(?:[\s-]*{_MODE})?)(?![\w#])"
    rf"|\b[Ii]n ({_TONIC}[\s-]*{_MODE})(?![\w#])"
)
#: An item of a list in brackets, or of a line that is nothing but such items: "C#m", "A minor", "Eb major".
_KEY_ITEM = re.compile(rf"{_TONIC}[\s-]*{_MODE}?")
_LISTED = re.compile(r"[(\[{]([^()\[\]{}]{1,80})[)\]}]")
#: Words that may follow a key in such an item and don't change it.
_SCALE_WORDS = re.compile(r"\s+(?:pentatonic|penta|scale|natural)\b.*", re.IGNORECASE)

_INSTRUMENT = r"(?P<instrument>gtrs?|guitars?|guit|git|bass|ukulele|uke|banjo|mandolin)"
_ROLE = r"lead|rhythm|acoustic|electric|clean|harmony|melody|solo|backing|main|second|first"
_PLAYER = re.compile(
    rf"\W*(?:(?P<before>{_ROLE})\W+)?{_INSTRUMENT}\b\.?\s*#?"
    rf"(?P<numbers>(?:\d|I{{1,3}}V?|IV|[A-D])(?:\s*(?:&|and|\+|,|/)\s*(?:\d|I{{1,3}}|IV))*\b)?"
    rf"[\s:(\[,–-]*(?P<after>{_ROLE})?[\w\s,.+]{{0,24}}[\s:)\]]*",
    re.IGNORECASE,
)
_ALONE = re.compile(r"\W*(?P<role>lead|rhythm)\W*", re.IGNORECASE)
_NUMERALS = {"I": 1, "II": 2, "III": 3, "IV": 4, "A": 1, "B": 2, "C": 3, "D": 4}
_INSTRUMENTS = {"gtr": "guitar", "guit": "guitar", "git": "guitar", "uke": "ukulele"}
#: Lines over a system in which its player is looked for.
_ABOVE = 6


@dataclass(frozen=True, slots=True)
class Heading:
    """What the words say; None or empty where they don't."""

    title: str = ""
    key: Key | None = None
    tempo: float | None = None
    meter: Meter | None = None
    remarks: tuple[str, ...] = ()


def heading_of(over: Sequence[str], others: Sequence[str]) -> Heading:
    """What the lines over the first system say, and the fields among the other lines.

    Raises
    ------
    InputError
        If the meter named is none.

    Examples
    --------
    >>> said = heading_of(["Slow take (C#m, 132bpm)", "12/8 slow blues"], [])
    >>> said.key.name, said.tempo, str(said.meter)
    ('C# minor', 132.0, '12/8')
    """
    fields = {m[1].lower(): m[2].strip() for line in (*over, *others) if (m := _FIELD.fullmatch(line.rstrip()))}
    key, remarks = _key(fields, over)
    return Heading(fields.get("title", "")[:TEXT_MAX], key, _tempo(fields, over), _meter(fields, over), remarks)


def _meter(fields: dict[str, str], over: Sequence[str]) -> Meter | None:
    """The meter of a field, else the first one over the strings."""
    text = next((fields[name] for name in ("time", "meter", "metre", "time signature") if name in fields), "")
    named = re.match(r"\d{1,2}\s*/\s*\d{1,2}", text)
    if named:
        try:
            return parse_meter(named[0])
        except StylemeterError as error:
            raise InputError(error.what, where="Time:", mend=error.mend) from None
    # "1/2 step down" and "down 1/2" name no meter
    found = next((m for line in over if (m := _METER.search(line)) and int(m[1]) > 1), None)
    try:
        return parse_meter(f"{found[1]}/{found[2]}") if found else None
    except StylemeterError:
        return None


def _tempo(fields: dict[str, str], over: Sequence[str]) -> float | None:
    """Quarter notes a minute."""
    found = re.search(r"\d{2,3}", fields.get("tempo", fields.get("bpm", "")))
    if found:
        return float(found[0])
    said = next((m for line in over if (m := _TEMPO.search(line))), None)
    return float(next(group for group in said.groups() if group)) if said else None


def _key(fields: dict[str, str], over: Sequence[str]) -> tuple[Key | None, tuple[str, ...]]:
    """The key named, or a remark on the one that isn't understood."""
    if "key" in fields:
        try:
            return parse_key(_plain_key(fields["key"]), "declared"), ()
        except StylemeterError:
            return None, (f"key {fields['key'][:40]!r} not understood; give it with --key",)
    for line in over:
        said = _KEY.search(line)
        items = [item.strip() for part in _LISTED.findall(line) for item in re.split(r"[,;/|]", part)]
        whole = re.split(r"[,;|]", line.strip(" ()[]"))
        if len(whole) > 1 and (_TEMPO.search(line) or _METER.search(line)):
            items += [item.strip() for item in whole]
        for text in [next(filter(None, said.groups()))] if said else items:
            if _KEY_ITEM.fullmatch(_plain_key(text)):
                try:
                    return parse_key(_plain_key(text), "declared"), ()
                except StylemeterError:
                    continue
    return None, ()


def _plain_key(text: str) -> str:
    """A key without words that don't change it, its accidental as a sign."""
    text = _SCALE_WORDS.sub("", text.strip())
    return re.sub(r"^([A-Ga-g])[\s-]?(flat|sharp)\b", lambda m: m[1] + {"flat": "b", "sharp": "#"}[m[2].lower()], text)


def _name(text: str) -> str:
    """A player's name without what is put around it."""
    name = text.strip(" :[]*-")
    return name.strip("() ") if name.count("(") != name.count(")") or name[:1] == "(" else name


@dataclass(frozen=True, slots=True)
class Player:
    """Whom a system is for: what tells players apart, and the name as written."""

    identity: tuple[str, int]
    name: str


def players_of(lines: Sequence[str]) -> tuple[Player, ...]:
    """Whom the lines over a system name; none where they name nobody.

    Parameters
    ----------
    lines : sequence of str
        Between the system before and this one.

    Examples
    --------
    >>> [p.identity for p in players_of(["[Solo]", "Gtr. 1 (lead)"])], players_of(["Guitar solo"])
    ([('guitar', 1)], ())
    """
    for line in reversed(lines[-_ABOVE:]):
        text = line.strip()
        alone, found = _ALONE.fullmatch(text), _PLAYER.fullmatch(text)
        if alone:
            return (Player((alone["role"].lower(), 0), _name(text)),)
        if not found or re.search(r"\btun(?:ing|ed)\b|\bcapo\b", text, re.IGNORECASE):
            continue
        word = found["instrument"].lower()
        instrument = _INSTRUMENTS.get(word.rstrip("s"), word.rstrip("s") if word != "bass" else word)
        name = _name(text)
        numbers = re.findall(r"\d|I{1,3}V?|IV|[A-D]", found["numbers"] or "", re.IGNORECASE)
        if numbers:
            return tuple(
                Player((instrument, int(n) if n.isdigit() else _NUMERALS.get(n.upper(), 0)), name) for n in numbers
            )
        role = (found["before"] or "").lower()
        if role in ("", "solo") and found["after"]:
            # "guitar solo" names a section, "guitar (lead)" a player
            role = "" if found["after"].lower() == "solo" else found["after"].lower()
            if not role:
                continue
        return (Player((f"{role} {instrument}".strip(), 0), name),)
    return ()
