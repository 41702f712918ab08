"""MEI bytes -> element tree, its scores and their titles.

Conventions: XML goes through defusedxml (a DOCTYPE is allowed, entities and outside references are not); tag and
attribute names come without a namespace; every limit is in `limits`.

References
----------
.. [1] Music Encoding Initiative, MEI Guidelines 5.0 (and the names of 3.0 and 4.0 where they differ).
"""

from __future__ import annotations

from typing import Any
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from stylemeter.errors import InputError, LimitError
from stylemeter.reading.intake import limits
from stylemeter.support.printable import show

__all__ = ["find_scores", "open_mei", "text_of"]

_EXPORT = "export it again as MEI"
_ROOTS = frozenset({"mei", "meiCorpus", "music"})


class _Builder:
    """Builds the tree within the limits."""

    def __init__(self) -> None:
        self._tree = TreeBuilder()
        self._depth = self._count = 0

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Open an element."""
        self._depth += 1
        self._count += 1
        if self._depth > limits.XML_DEPTH_MAX or self._count > limits.XML_ELEMENTS_MAX:
            raise LimitError("too many XML elements, or too deep in one another", mend="give the melody alone")
        self._tree.start(_local(tag), {_local(name): value for name, value in attributes.items()})

    def end(self, tag: str) -> None:
        """Close an element."""
        self._depth -= 1
        self._tree.end(_local(tag))

    def data(self, text: str) -> None:
        """Add text."""
        self._tree.data(text)

    def close(self) -> Element:
        """Return the root."""
        return self._tree.close()


def _local(name: str) -> str:
    """A name without its namespace."""
    return name.rpartition("}")[2]


def open_mei(data: bytes, remarks: list[str]) -> Element:
    """Root of an MEI document.

    Raises
    ------
    InputError
        If it is no MEI, not well-formed, or declares entities; LimitError if it is too large.
    """
    if len(data) > limits.ZIP_BYTES_MAX:
        raise LimitError(f"{len(data)} bytes of XML", mend=f"the limit is {limits.ZIP_BYTES_MAX} bytes")
    data = data.lstrip(b" \t\r\n")
    try:
        root = _parse(data)
    except (ParseError, ValueError, LookupError) as error:
        root = _parse_otherwise(data, error, remarks)
    if root.tag not in _ROOTS:
        raise InputError(f"<{show(root.tag, 40)}> is not MEI", mend=_EXPORT)
    return root


def _parse(data: bytes) -> Element:
    """Parse, entities and outside references refused."""
    from defusedxml.ElementTree import DefusedXMLParser

    parser: Any = DefusedXMLParser(target=_Builder(), forbid_dtd=False)
    parser.feed(data)
    root: Element = parser.close()
    return root


def _parse_otherwise(data: bytes, error: Exception, remarks: list[str]) -> Element:
    """Second try for a text in another encoding than it declares; the first one's error where that fails too."""
    from defusedxml.common import DefusedXmlException

    if isinstance(error, DefusedXmlException):
        mend = "a score needs none: remove the <!ENTITY> lines if you trust the file"
        raise InputError("the XML declares entities of its own", mend=mend) from error
    if not data.isascii() and b"\x00" not in data:
        head, _, body = data.partition(b"?>") if data.startswith(b"<?xml") else (b"", b"", data)
        try:
            root = _parse(body.decode("cp1252" if head else "utf-8-sig").lstrip().encode())
        except (ParseError, ValueError, LookupError):
            pass
        else:
            remarks.append("the text is not in the encoding the file declares: read as cp1252")
            return root
    line, column = getattr(error, "position", (0, 0))
    what = "not well-formed XML (" + str(error).partition(":")[0][:80] + ")"
    raise InputError(what, where=f"line {line}, column {column + 1}" if line else "", mend=_EXPORT) from error


def find_scores(root: Element) -> list[tuple[Element, str]]:
    """Scores of a document with their titles: one a movement (``mdiv``), the parts of one score apart.

    Returns
    -------
    list of (element, title)
        Elements ``score``, or ``part`` where the document only has parts.

    Raises
    ------
    LimitError
        If there are more than `limits.TUNES_MAX`.
    """
    title = _title(root)
    found: list[tuple[Element, str]] = []
    divisions = [d for d in root.iter("mdiv") if d.find("mdiv") is None] or [root]
    for number, division in enumerate(divisions, start=1):
        scores = list(division.iter("score")) or list(division.iter("part"))
        label = division.get("label") or (str(number) if len(divisions) > 1 else "")
        whole = " ".join(f"{title} {label}".split()) if len(divisions) > 1 else title
        found += [(score, whole) for score in scores]
        if len(found) > limits.TUNES_MAX:
            raise LimitError(f"more than {limits.TUNES_MAX} scores", mend="split the file")
    return found


def _title(root: Element) -> str:
    """Main title of a document."""
    for path in (".//titleStmt/title", ".//workList/work/title", ".//work/titleStmt/title"):
        for element in root.iterfind(path):
            if text := text_of(element):
                return text
    return ""


def text_of(element: Element) -> str:
    """Text of an element and what is in it, blanks made one, safe to print."""
    return show(" ".join("".join(element.itertext()).split()))
