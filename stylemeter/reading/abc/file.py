"""An ABC file as text: its encoding, its tunes, their header and body.

Conventions: nothing is interpreted here beyond what parts one tune from the next. A tune starts at its ``X:``
line and ends at the next one, at an empty line, or at the end; the ``K:`` line ends its header.

References
----------
.. [1] The ABC music standard 2.1 (December 2011), sections 2.2 (tunebooks), 3 (fields), 8.2 (text strings).
"""

from __future__ import annotations

import html
import re
import unicodedata
from dataclasses import dataclass
from itertools import islice

from stylemeter.errors import LimitError
from stylemeter.reading.intake import limits

__all__ = ["FIELD", "AbcTune", "field_value", "plain_text", "split_tunes"]

#: Characters looked at: of a field, before the first tune, of a file that has no X: line.
FIELD_MAX, PREAMBLE_MAX, LONE_MAX = 4_000, 100_000, 1_000_000

#: A line that is an information field; ``A:|`` is music.
FIELD = re.compile(r"[ \t]*([A-Za-z+]):(?![|:])\s*(.*)", re.DOTALL)
_START = re.compile(r"^[ \t]*X:(?![|:])", re.MULTILINE)
_KEY = re.compile(r"^[ \t]*K:(?![|:])", re.MULTILINE)
_FIRST = re.compile(r"^(?:%|[ \t]*[A-Za-z+]:(?![|:]))", re.MULTILINE)
_EMPTY = re.compile(r"^[ \t]*(?:\n|\Z)", re.MULTILINE)
_ESCAPED_LETTER = re.compile(r"\\([`'^~\"cuv=;])([A-Za-z])")
_ESCAPED_CODE = re.compile(r"\\u([0-9A-Fa-f]{4})")
#: The standard's backslash mnemonics -> Unicode combining mark.
_MARKS = {
    "`": "\u0300",
    "'": "\u0301",
    "^": "\u0302",
    "~": "\u0303",
    '"': "\u0308",
    "c": "\u0327",
    "u": "\u0306",
    "v": "\u030c",
    "=": "\u0304",
    ";": "\u0328",
}
_MUSIC_SIGNS = frozenset("ABCDEFGabcdefgz|:[]()<>^_=,'/-~0123456789")
_LETTERS = {
    r"\ss": "ß",
    r"\ae": "æ",
    r"\AE": "Æ",
    r"\oe": "œ",
    r"\OE": "Œ",
    r"\/o": "ø",
    r"\/O": "Ø",
    r"\aa": "å",
    r"\AA": "Å",
}


@dataclass(frozen=True, slots=True)
class AbcTune:
    """One tune of an ABC file.

    Attributes
    ----------
    number : str
        Reference number as written after ``X:``; empty where there is none.
    title : str
        First ``T:`` line, its escapes resolved; empty where there is none.
    header : tuple of str
        Lines up to and with the ``K:`` line, comments included (transcriber, source, copying conditions).
    body : tuple of str
        Lines after it.
    position : int
        Place in the file, from 1.
    line : int
        Line of the file the tune starts on, from 1.
    preamble : tuple of str
        Lines that stand before the first tune and hold for every tune (the file header).
    left_out : bool
        Whether an empty line ended the tune and what looks like more of its music follows.
    """

    number: str
    title: str
    header: tuple[str, ...]
    body: tuple[str, ...]
    position: int
    line: int
    preamble: tuple[str, ...] = ()
    left_out: bool = False

    @property
    def text(self) -> str:
        """The tune as it stands in the file."""
        return "\n".join((*self.header, *self.body)) + "\n"

    @property
    def label(self) -> str:
        """What to select the tune by."""
        return f"X:{self.number}" if self.number else str(self.position)


def split_tunes(text: str) -> list[AbcTune]:
    r"""Tunes of an ABC file.

    Parameters
    ----------
    text : str
        The whole file. Where it has no ``X:`` line but a ``K:`` line, it is one tune.

    Returns
    -------
    list of AbcTune
        In the order of the file; empty where there is none.

    Raises
    ------
    LimitError
        If there are more than `limits.TUNES_MAX`.

    Examples
    --------
    >>> tunes = split_tunes("X:1\nT:One\nK:G\nGAB|\n\nsome words\n\nX:2\nK:D\nd|\n")
    >>> [(tune.label, tune.title, tune.body) for tune in tunes]
    [('X:1', 'One', ('GAB|',)), ('X:2', '', ('d|',))]
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    starts = [found.start() for found in islice(_START.finditer(text), limits.TUNES_MAX + 1)]
    if len(starts) > limits.TUNES_MAX:
        raise LimitError(f"more than {limits.TUNES_MAX} tunes", mend="split the file")
    if not starts:
        return _lone_tune(text)
    preamble = tuple(line for line in text[: min(starts[0], PREAMBLE_MAX)].split("\n") if _is_field(line))
    tunes = []
    line, before = 1, 0
    for position, (start, end) in enumerate(zip(starts, [*starts[1:], len(text)], strict=True), start=1):
        line += text.count("\n", before, start)
        before = start
        tunes.append(_tune(text[start:end], position, line, preamble))
    return tunes


def _lone_tune(text: str) -> list[AbcTune]:
    """A file without ``X:`` lines: from its first field on, where it has a key."""
    text = text[:LONE_MAX]
    if not _KEY.search(text):
        return []
    start = _FIRST.search(text)
    at = start.start() if start else 0
    return [_tune(text[at:], 1, 1 + text.count("\n", 0, at), ())]


def _tune(text: str, position: int, line: int, preamble: tuple[str, ...]) -> AbcTune:
    """One tune out of the text from its first line to the next tune's.

    What follows an empty line is no music; empty lines before the key are passed over.
    """
    key = _KEY.search(text)
    head = [x for x in text[: key.end() if key else 0].split("\n") if x.strip()]
    rest = text[key.end() :] if key else text
    after, _, rest = rest.partition("\n") if key else ("", "", rest)
    empty = _EMPTY.search(rest)
    body = [x for x in rest[: empty.start() if empty else len(rest)].split("\n") if x.strip()]
    if key:
        head[-1] += after
    else:  # the music starts at the first line that is no field
        music = next((i for i, x in enumerate(body) if not _is_field(x)), len(body))
        head, body = body[:music], body[music:]
    number = (field_value(head[0], "X") if head else None) or ""
    titles = [value for x in head if (value := field_value(x, "T"))]
    return AbcTune(
        number=(number.lstrip("0") or number)[: limits.TEXT_MAX],
        title=plain_text(titles[0]) if titles else "",
        header=tuple(head),
        body=tuple(body),
        position=position,
        line=line,
        preamble=preamble,
        left_out=empty is not None and any(_is_music(x) for x in rest[empty.end() :][:LONE_MAX].split("\n")),
    )


def _is_music(line: str) -> bool:
    """Whether a line looks like music and not like words: a bar line, and little else than signs of music."""
    if "|" not in line or _is_field(line):
        return False
    signs = re.sub(r'"[^"]{0,200}"|\s', "", line[:FIELD_MAX])
    return 4 * sum(sign in _MUSIC_SIGNS for sign in signs) >= 3 * len(signs)


def _is_field(line: str) -> bool:
    """Whether a line is a field or a comment."""
    return line.startswith("%") or FIELD.match(line) is not None


def field_value(line: str, letter: str) -> str | None:
    """What a field line says, its comment left out, or None where the line is not that field.

    Examples
    --------
    >>> field_value("K: Dmix % one sharp in the book", "K"), field_value("K:D", "M"), field_value("C:|", "C")
    ('Dmix', None, None)
    """
    found = FIELD.match(line[:FIELD_MAX])
    if not found or found[1] != letter:
        return None
    return re.split(r"(?<!\\)%", found[2], maxsplit=1)[0].strip()


def plain_text(text: str) -> str:
    r"""A text string with its escapes resolved.

    Examples
    --------
    >>> plain_text(r"Caf\'e del \u00c1rbol &amp; \cCa \/Oy")
    'Café del Árbol & Ça Øy'
    """
    text = text[: 2 * limits.TEXT_MAX]
    for escape, letter in _LETTERS.items():
        text = text.replace(escape, letter)
    text = _ESCAPED_CODE.sub(lambda m: f"&#x{m[1]};", text)
    text = _ESCAPED_LETTER.sub(lambda m: unicodedata.normalize("NFC", m[2] + _MARKS[m[1]]), text)
    words = " ".join(html.unescape(text).split())
    return "".join(sign for sign in words if sign.isprintable())[: limits.TEXT_MAX]
