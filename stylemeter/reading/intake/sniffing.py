"""What kind of file some bytes are: by content, the name breaking a tie only.

Conventions: at most the first `HEAD` bytes are looked at (a few whole-file searches for a fixed word aside);
nothing is unpacked, parsed or run.
"""

from __future__ import annotations

import re
from itertools import islice, pairwise

from stylemeter.errors import InputError
from stylemeter.reading.kinds import KINDS, kind_of_suffix

__all__ = ["HEAD", "is_sound", "sniff"]

#: Bytes looked at.
HEAD = 2**16
#: Names of members looked at in a zip archive.
_MEMBERS = 64
#: Share of control characters above which a file is no text.
_CONTROL_SHARE = 0.02

_SOUND = ("sound of a kind that can't be read here (M4A, AAC, WebM, ...)", "convert it to WAV, FLAC, OGG or MP3 first")
_PICTURE = ("a picture", "stylemeter reads notes, not pictures: enter it in a notation editor and export MusicXML")
_PAGE = ("a page for print", "export MusicXML or MIDI from where it was made")
_PACKED = ("a packed archive", "unpack it and give the file inside")
_PICKLE = ("a pickled program object", "it could run anything and is never opened: export MusicXML or MIDI")
_TAB_EDITOR = ("a tab editor's own binary format", "open it there and export MusicXML or MIDI")
_PROGRAM = ("a program or a database", "give a file of notes")
_TABLE = ("a binary table", "export it as CSV with the columns onset, duration, pitch")

#: (offset, first bytes) -> (what it is, what to do). Signatures as in the formats' own specifications.
_SIGNATURES: tuple[tuple[int, bytes, tuple[str, str]], ...] = (
    (0, b"\x89PNG", _PICTURE),
    (0, b"\xff\xd8\xff", _PICTURE),
    (0, b"GIF8", _PICTURE),
    (0, b"II*\x00", _PICTURE),
    (0, b"MM\x00*", _PICTURE),
    (8, b"WEBP", _PICTURE),
    (0, b"%PDF", _PAGE),
    (0, b"%!PS", _PAGE),
    (4, b"ftyp", _SOUND),
    (0, b"\x1a\x45\xdf\xa3", _SOUND),
    (0, b"\x1f\x8b", _PACKED),
    (0, b"BZh", _PACKED),
    (0, b"\xfd7zXZ", _PACKED),
    (0, b"7z\xbc\xaf", _PACKED),
    (0, b"Rar!", _PACKED),
    (0, b"\x28\xb5\x2f\xfd", _PACKED),
    (257, b"ustar", _PACKED),
    (1, b"FICHIER ", _TAB_EDITOR),
    (0, b"BCFZ", _TAB_EDITOR),
    (0, b"BCFS", _TAB_EDITOR),
    (0, b"ptab", _TAB_EDITOR),
    (0, b"\xd0\xcf\x11\xe0", _PROGRAM),
    (0, b"\x7fELF", _PROGRAM),
    (0, b"MZ\x90", _PROGRAM),
    (0, b"SQLite format 3", _PROGRAM),
    (0, b"\x93NUMPY", _TABLE),
    (0, b"PAR1", _TABLE),
    (0, b"\x89HDF", _TABLE),
)

#: (offset, first bytes) of the recordings that can be read: WAV, AIFF, OGG, FLAC, MP3 (with tags, or a frame's head).
_RECORDINGS = (
    *((8, word) for word in (b"WAVE", b"AIFF", b"AIFC")),
    *((0, word) for word in (b"OggS", b"fLaC", b"ID3", b"\xff\xfb", b"\xff\xfa", b"\xff\xf3", b"\xff\xf2")),
)

#: Binary pickles name their protocol first; those of the oldest one are text that begins with a global's name.
_BINARY_PICKLE = re.compile(rb"\x80[\x02-\x05][\x95\x8c}\](cX\x94)KMGN.q\x88\x89C]")
_TEXT_PICKLE = re.compile(rb"\(?[ci][A-Za-z_][\w.]*\n[A-Za-z_]\w*\n")

#: What opens a text of each kind. The order decides where two fit.
_ABC = re.compile(r"^(?:%abc\b|X:[ \t]*\d*[ \t]*(?:%.*)?$)", re.MULTILINE)
_ABC_KEY = re.compile(r"^K:[ \t]*(?:[A-G][#b]?\b|[A-G][#b]?[ \t]*[A-Za-z]|none|HP|Hp)", re.MULTILINE)
_KERN = re.compile(r"(?:[ \t]*\n|![^\n]*\n)*\*\*[a-zA-Z]")
_STRING_LINE = re.compile(
    r"[ \t]*(?:(?:[A-Ha-h][#b]?\d?[ \t]*)?[|:\-][^\n]*-{2,}|[A-Ha-h][#b]?[ \t]+\d{1,2}[^\n]*-{2,})[^\n]*"
)
_NAMED_STRING = re.compile(r"[ \t]*[A-Ha-h][#b]?[ \t]*\|")
#: What mail puts before a line, and what stands for hyphens and bar lines in texts of phones and word processors.
_QUOTE = re.compile(r"^ {0,2}(?:> ?)+")
_DRAWN = str.maketrans(
    dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212\u2500\u2501\u2550\uff0d", "-")
    | dict.fromkeys("\u2502\u2503\u2551\uff5c\u251c\u2524\u253c", "|")
)
_JAMS = re.compile(rb'"annotations"\s*:')
_JAMS_MORE = re.compile(rb'"(?:file_metadata|sandbox|namespace)"\s*:')
_MARKUP = re.compile(r"<\?[^>]*>|<!--.*?-->|\s+", re.DOTALL)
_ROOT = re.compile(r"<(?:!DOCTYPE\s+)?(?:[\w.-]{1,80}:)?([\w.-]{1,80})", re.IGNORECASE)
_COLUMN_WORDS = frozenset(
    {"onset", "duration", "pitch", "midi", "note", "start", "end", "time", "offset", "bar", "beat"}
)

_ROOTS = {"score-partwise": "musicxml", "score-timewise": "musicxml", "mei": "mei", "music": "mei", "meihead": "mei"}
_XML_REFUSED = {
    "html": ("a web page", "save the file it links to, not the page"),
    "svg": _PICTURE,
    "opus": ("a list of other scores", "give the scores themselves"),
    "container": ("the table of contents of a compressed score", "give the compressed score (.mxl) itself"),
    "gpif": _TAB_EDITOR,
}


def sniff(data: bytes, name: str) -> str:
    r"""Kind of a file, a key of `kinds.KINDS`.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name or path; may be empty.

    Raises
    ------
    InputError
        If it is none of them: says what it is, where that can be told.

    Examples
    --------
    >>> sniff(b"MThd\x00\x00\x00\x06", "tune.abc"), sniff(b"X:1\nK:D\nabc|", "")
    ('midi', 'abc')
    """
    named = kind_of_suffix(name)
    kind = _binary(data) or _by_text(data, named)
    if kind is not None:
        return kind
    if named in ("abc", "kern", "tab", "csv"):
        return named
    if named is not None:
        raise InputError(
            f"is named like {KINDS[named].words} but doesn't hold any", mend="export it again, or mend its name"
        )
    known = ", ".join(reader.words for reader in KINDS.values())
    raise InputError(
        "is no kind of file known here", mend=f"give one of: {known}; or say which it is (--help names the option)"
    )


def is_sound(head: bytes) -> bool:
    """Whether a file that begins so is a recording of a kind that can be read."""
    return any(head.startswith(word, offset) for offset, word in _RECORDINGS)


def _binary(data: bytes) -> str | None:
    """Kind by signature; raises for what is known to be something else."""
    if is_sound(data):
        return "audio"
    if data.startswith(b"MThd") or (data.startswith(b"RIFF") and data[8:12] == b"RMID"):
        return "midi"
    if data.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        return _zip_kind(data)
    for offset, signature, refusal in _SIGNATURES:
        if data.startswith(signature, offset):
            raise _refusal(refusal)
    if _BINARY_PICKLE.match(data) or (_TEXT_PICKLE.match(data) and data.rstrip().endswith(b".")):
        raise _refusal(_PICKLE)
    return None


def _refusal(words: tuple[str, str]) -> InputError:
    """The error that says what a file is instead of notes."""
    return InputError(f"is {words[0]}, not a file of notes", mend=words[1])


def _zip_kind(data: bytes) -> str:
    """Compressed MusicXML, or an error that says what else the archive is, by the names of its first members."""
    names = [name.lower() for name in islice(_member_names(data), _MEMBERS)]
    if any(name.endswith(".gpif") for name in names):
        raise _refusal(_TAB_EDITOR)
    if "[content_types].xml" in names:
        raise _refusal(("an office document", "export the notes from where they were written"))
    if any(name == "meta-inf/container.xml" or name.endswith((".xml", ".musicxml")) for name in names):
        return "musicxml"
    raise _refusal(("a zip archive without a score", "unpack it and give the files inside"))


def _member_names(data: bytes) -> list[str]:
    """Names in the local headers of a zip archive, in order of place (nothing is unpacked)."""
    names: list[str] = []
    at = data.find(b"PK\x03\x04")
    while at >= 0 and len(names) < _MEMBERS:
        length = int.from_bytes(data[at + 26 : at + 28], "little")
        names.append(data[at + 30 : at + 30 + length].decode("utf-8", "replace"))
        at = data.find(b"PK\x03\x04", at + 30)
    return names


def _text(data: bytes) -> str | None:
    """The first characters as text, line ends made one; None where it is none."""
    head = data[:HEAD]
    if head.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        text = head.decode("utf-32", "replace")
    elif head.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = head.decode("utf-16", "replace")
    elif head[:2] == b"<\x00" or head[:2] == b"\x00<":
        text = head.decode("utf-16-le" if head[0] else "utf-16-be", "replace")
    else:
        text = head.decode("utf-8", "replace")
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    controls = sum(text.count(chr(code)) for code in range(32) if chr(code) not in "\t\n\x0b\x0c\x1a\x1b")
    return None if controls > _CONTROL_SHARE * len(text) else text


def _by_text(data: bytes, named: str | None) -> str | None:
    """Kind of a text, None where several or none fit."""
    text = _text(data)
    if text is None:
        raise InputError("is no kind of file known here (binary data)", mend="export MusicXML or MIDI")
    start = text.lstrip()
    if not start:
        raise InputError("holds nothing but blanks", mend="export it again")
    if start.startswith("<"):
        return _xml_kind(start, data, named)
    if re.match(r'\{\s*(?:"|\})|\[\s*(?:[\[{"\]]|-?\d)', start):
        return "jams" if _JAMS.search(data) and _JAMS_MORE.search(data) else "json"
    return _plain_kind(text)


def _plain_kind(text: str) -> str | None:
    """Kind of a text without markup."""
    if _KERN.match(text):
        return "kern"
    if _ABC.search(text):
        return "abc"
    if _has_strings(text):
        return "tab"
    if _ABC_KEY.search(text):
        return "abc"
    return "csv" if _has_columns(text) else None


def _xml_kind(start: str, data: bytes, named: str | None) -> str | None:
    """Kind of a document by its root element (or the one its DOCTYPE names)."""
    at = 0
    while found := _MARKUP.match(start, at):
        at = found.end()
    root = _ROOT.match(start, at)
    name = root[1].lower() if root else ""
    if name in _ROOTS:
        return _ROOTS[name]
    if name in _XML_REFUSED:
        raise _refusal(_XML_REFUSED[name])
    for word, kind in ((b"<score-partwise", "musicxml"), (b"<score-timewise", "musicxml"), (b"<mei", "mei")):
        if word in data:
            return kind
    if not name and named in ("musicxml", "mei"):
        return named
    raise InputError(
        "is XML, but not a score" + (f" (its outermost element is <{name}>)" if name else ""),
        mend="export MusicXML or MEI",
    )


def _has_strings(text: str) -> bool:
    """Whether three lines one after the other look like strings of a tablature, or two that are named."""
    lines = [_QUOTE.sub("", line[:400]).translate(_DRAWN) for line in text.split("\n") if line.strip()]
    marks = [bool(_STRING_LINE.fullmatch(line)) and line.count("-") * 3 > len(line.strip()) for line in lines]
    named = [mark and bool(_NAMED_STRING.match(line)) for mark, line in zip(marks, lines, strict=True)]
    three = any(a and b for a, b in pairwise(a and b for a, b in pairwise(marks)))
    return three or any(a and b for a, b in pairwise(named))


def _has_columns(text: str) -> bool:
    """Whether the first line that counts is a row of a table: numbers, or known column names."""
    rows = (line.strip() for line in text.split("\n"))
    first = next((row for row in rows if row and not row.startswith(("#", '"#'))), "")[:1000]
    if re.fullmatch(r"sep=[,;\t|]?", first):  # a spreadsheet's own first line
        return True
    cells = [cell.strip().strip('"').lower() for cell in re.split(r"[,;\t]", first)]
    if len(cells) < 2:
        return False
    numbers = sum(bool(re.fullmatch(r"-?\d+(?:[./]\d+)?(?:e-?\d+)?", cell)) for cell in cells)
    known = sum(any(word in _COLUMN_WORDS for word in re.split(r"\W+|_", cell)) for cell in cells)
    return numbers >= 2 or known >= 2
