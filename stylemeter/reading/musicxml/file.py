"""MusicXML bytes -> element tree: the zip archive, the XML and its traps, time-wise scores turned part-wise.

Conventions: nothing is written to disk; tag names come without a namespace; every limit is in `limits`.

References
----------
.. [1] W3C Music Notation Community Group, MusicXML 4.0: "Compressed .MXL files" (META-INF/container.xml names
   the root file) and the score-timewise document type.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from pathlib import PurePosixPath
from typing import Any
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from stylemeter.errors import InputError, LimitError
from stylemeter.reading.intake import limits
from stylemeter.support.printable import show

__all__ = ["open_score", "unpack"]

_CONTAINER = "META-INF/container.xml"
_SCORE_TYPES = ("", "application/vnd.recordare.musicxml+xml", "application/vnd.recordare.musicxml")
_EXPORT = "export it again as MusicXML from a notation editor"
#: First bytes of every member's entry in a zip archive's directory.
_ZIP_ENTRY = b"PK\x01\x02"
_ZIP_ERRORS = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    OSError,
    RuntimeError,
    ValueError,
    OverflowError,
    struct.error,
)


def open_score(data: bytes, remarks: list[str]) -> Element:
    """Read a MusicXML file, packed or not, as a part-wise score.

    Parameters
    ----------
    data : bytes
        The file: XML, or a zip archive whose container names the score.
    remarks : list of str
        Repairs are added to it.

    Returns
    -------
    Element
        A ``score-partwise`` element.

    Raises
    ------
    InputError
        If it is no MusicXML score; `LimitError` if it is larger than the limits.
    """
    if not data.strip():
        raise InputError("the file is empty", mend=_EXPORT)
    if data.startswith(b"PK"):
        data = unpack(data, remarks)
    root = _parse(data, remarks)
    if root.tag == "score-timewise":
        return _partwise(root)
    if root.tag != "score-partwise":
        raise InputError(f"<{show(root.tag, 40)}> is not a MusicXML score", mend=_EXPORT)
    return root


def unpack(data: bytes, remarks: list[str]) -> bytes:
    """Read the score out of a zip archive, in memory.

    Raises
    ------
    InputError
        If the archive is damaged, encrypted, nested, or names a place outside itself; `LimitError` if it is
        larger than the limits.
    """
    if data.count(_ZIP_ENTRY) > limits.ZIP_MEMBERS_MAX:
        raise LimitError(f"more than {limits.ZIP_MEMBERS_MAX} files in the archive", mend=_EXPORT)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = {_plain_name(i): i for i in archive.infolist() if i.filename and not i.filename.endswith("/")}
            for name, info in members.items():
                _check_member(name, info)
            return _member(archive, members[_root_name(archive, members, remarks)])
    except _ZIP_ERRORS as error:
        raise InputError("the zip archive is damaged", mend=_EXPORT) from error


def _plain_name(info: zipfile.ZipInfo) -> str:
    """Name of a member, also where it is UTF-8 without saying so."""
    if info.flag_bits & 0x800:
        return info.filename
    try:
        return info.filename.encode("cp437").decode("utf-8")
    except UnicodeError:
        return info.filename


def _check_member(name: str, info: zipfile.ZipInfo) -> None:
    """Refuse a member that points outside, is encrypted or is an archive itself."""
    where = f"member {name[:60]!r}"
    if _leads_outside(name):
        raise InputError("the archive names a place outside itself", where=where, mend=_EXPORT)
    if info.flag_bits & 0x1:
        raise InputError("the archive is encrypted", where=where, mend="save it without a password")
    if PurePosixPath(name).suffix.lower() in (".zip", ".mxl"):
        raise InputError("an archive inside an archive", where=where, mend="unpack it first")


def _leads_outside(name: str) -> bool:
    """Whether a name is absolute or climbs up."""
    parts = re.split(r"[/\\]", name)
    return parts[0] == "" or parts[0].endswith(":") or ".." in parts


def _root_name(archive: zipfile.ZipFile, members: dict[str, zipfile.ZipInfo], remarks: list[str]) -> str:
    """Name of the member that holds the score."""
    if _CONTAINER not in members:
        return _only_score(members, remarks, "has no container")
    try:
        container = _parse(_member(archive, members[_CONTAINER]), [])
    except LimitError:
        raise
    except InputError:
        return _only_score(members, remarks, "has a container that isn't well-formed XML")
    files = [e for e in container.findall("rootfiles/rootfile") if e.get("media-type", "") in _SCORE_TYPES]
    if not files:
        raise InputError("the archive's container names no score", where=_CONTAINER, mend=_EXPORT)
    name = files[0].get("full-path", "")
    if _leads_outside(name):
        raise InputError("the archive names a place outside itself", where=_CONTAINER, mend=_EXPORT)
    if name not in members:
        raise InputError(f"the archive lacks {name[:60]!r}, which its container names", where=_CONTAINER, mend=_EXPORT)
    return name


def _only_score(members: dict[str, zipfile.ZipInfo], remarks: list[str], why: str) -> str:
    """The one score of an archive whose container doesn't tell."""
    names = [n for n in members if n.lower().endswith((".xml", ".musicxml")) and not n.startswith("META-INF/")]
    if len(names) != 1:
        raise InputError(f"the archive {why} and holds {len(names)} XML files, not one", mend=_EXPORT)
    remarks.append(f"the archive {why}: its only score {show(names[0], 60)!r} is read")
    return names[0]


def _member(archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> bytes:
    """Unpack one member within the limits."""
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise InputError("the archive is packed in an unusual way", mend=_EXPORT)
    ratio = info.file_size / max(1, info.compress_size)
    if info.file_size > limits.ZIP_BYTES_MAX or ratio > limits.ZIP_RATIO_MAX:
        raise LimitError(
            f"the archive would unpack to {info.file_size} bytes, {ratio:.0f} times its size",
            mend=f"the limits are {limits.ZIP_BYTES_MAX} bytes and {limits.ZIP_RATIO_MAX} times",
        )
    with archive.open(info) as stream:
        content = stream.read(info.file_size + 1)
    if content.startswith(b"PK\x03\x04"):
        raise InputError("an archive inside an archive", mend="unpack it first")
    return content


class _Builder:
    """Builds the tree within the limits, names without namespaces."""

    def __init__(self) -> None:
        self._tree = TreeBuilder()
        self._depth = 0
        self._count = 0

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Open an element."""
        self._depth += 1
        self._count += 1
        if self._depth > limits.XML_DEPTH_MAX or self._count > limits.XML_ELEMENTS_MAX:
            raise LimitError(
                "too many XML elements",
                mend=f"the limits are {limits.XML_ELEMENTS_MAX}, {limits.XML_DEPTH_MAX} deep",
            )
        self._tree.start(tag.rpartition("}")[2], attributes)

    def end(self, tag: str) -> None:
        """Close an element."""
        self._depth -= 1
        self._tree.end(tag.rpartition("}")[2])

    def data(self, text: str) -> None:
        """Add text."""
        self._tree.data(text)

    def close(self) -> Element:
        """Return the root."""
        return self._tree.close()


def _parse(data: bytes, remarks: list[str]) -> Element:
    """Parse XML; where its encoding is not the one it declares, try the likely ones."""
    if len(data) > limits.ZIP_BYTES_MAX:
        raise LimitError(f"{len(data)} bytes of XML", mend=f"the limit is {limits.ZIP_BYTES_MAX} bytes")
    data = data.lstrip(b" \t\r\n")
    try:
        return _parse_as(data, None)
    except (ParseError, ValueError, LookupError) as error:
        first = error
    if _refused(first):
        raise InputError(
            "the XML declares entities of its own",
            mend="a score needs none: remove the <!ENTITY> lines if you trust the file",
        ) from first
    for encoding in _other_encodings(data, first):
        try:
            root = _parse_as(data.decode(encoding).lstrip().encode(), "utf-8")
        except (ParseError, ValueError, LookupError):
            continue
        remarks.append(f"the text is not in the encoding the file declares: read as {encoding}")
        return root
    raise _not_xml(first) from first


def _parse_as(data: bytes, encoding: str | None) -> Element:
    """Parse with a given or the declared encoding, entities and outside references refused."""
    from defusedxml.ElementTree import DefusedXMLParser

    parser: Any = DefusedXMLParser(target=_Builder(), encoding=encoding, forbid_dtd=False)
    parser.feed(data)
    root: Element = parser.close()
    return root


def _refused(error: Exception) -> bool:
    """Whether the XML was refused as unsafe, not as broken."""
    from defusedxml.common import DefusedXmlException

    return isinstance(error, DefusedXmlException)


def _other_encodings(data: bytes, error: Exception) -> list[str]:
    """Encodings worth a second try: only where the first try failed on the encoding or on a character."""
    if data.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        return ["utf-32"]
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return ["utf-16"]
    if b"\x00" in data[:4]:
        return ["utf-16-le" if data[:1] == b"<" else "utf-16-be"]
    text = str(error)
    if not isinstance(error, ParseError) or "encoding" in text:
        return ["utf-8-sig", "cp1252", "latin-1"]
    return ["cp1252", "latin-1"] if "invalid token" in text and not data.isascii() else []


def _not_xml(error: Exception) -> InputError:
    """One line for a parser's complaint."""
    line, column = getattr(error, "position", (0, 0))
    where = f"line {line}, column {column + 1}" if line else ""
    what = "not well-formed XML (" + str(error).partition(":")[0][:80] + ")"
    return InputError(what, where=where, mend=_EXPORT)


def _partwise(root: Element) -> Element:
    """Turn a time-wise score (bars holding parts) into a part-wise one (parts holding bars)."""
    score = Element("score-partwise", root.attrib)
    parts: dict[str, Element] = {}
    for child in root:
        if child.tag != "measure":
            score.append(child)
            continue
        for piece in child.findall("part"):
            name = piece.get("id", "")
            if name not in parts:
                parts[name] = Element("part", {"id": name})
            bar = Element("measure", child.attrib)
            bar.extend(piece)
            parts[name].append(bar)
    score.extend(parts.values())
    return score
