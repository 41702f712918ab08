"""Inputs 1 to 16: what surrounds a score: encodings, the dangers of XML and zip archives."""

from __future__ import annotations

import io
import zipfile

from inputs.musicxml.case import FIRST, SCALE, SECOND, Case
from inputs.sixty.xml import HEAD, attributes, bars, notes, part, plain

EXPORT = "export it again as MusicXML from a notation editor"
BOMB = b"<score-partwise>" + b" " * 4_000_000
ENTITIES = "the XML declares entities of its own; a score needs none: remove the <!ENTITY> lines if you trust the file"
DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)
LATIN = plain().replace(b"</part-name>", "ë</part-name>".encode("latin-1"))
PART_OF_TWO = "several parts: read 1 {} (8 notes), not 2 {}; choose with --part"
PART = "Violin"


def packed(*members: tuple[str, bytes], rootfile: str | None = "score.xml") -> bytes:
    """A compressed score; no container where `rootfile` is None."""
    raw = io.BytesIO()
    with zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as archive:
        if rootfile is not None:
            root = f"<container><rootfiles><rootfile full-path='{rootfile}'/></rootfiles></container>"
            archive.writestr("META-INF/container.xml", HEAD + root)
        for name, data in members:
            archive.writestr(name, data)
    return raw.getvalue()


def encrypted() -> bytes:
    """A compressed score with the encryption bit set on its members."""
    raw = bytearray(packed(("score.xml", plain())))
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = raw.find(signature)
        while at >= 0:
            raw[at + offset] |= 1
            at = raw.find(signature, at + 4)
    return bytes(raw)


def many_members(count: int) -> bytes:
    """An archive of so many empty files."""
    return packed(*((f"{n}.txt", b"") for n in range(count)), rootfile=None)


def timewise() -> bytes:
    """The scale and a bass, bars holding parts."""
    listed = "".join(
        f"<score-part id='{i}'><part-name>{n}</part-name></score-part>" for i, n in (("P1", "Lead"), ("P2", "Low"))
    )
    first = (
        f"<measure number='1'>{part(attributes() + notes(FIRST))}{part(attributes() + notes('C2', 16), 'P2')}</measure>"
    )
    second = f"<measure number='2'>{part(notes(SECOND))}{part(notes('G2', 16), 'P2')}</measure>"
    return f"{HEAD}<score-timewise><part-list>{listed}</part-list>{first}{second}</score-timewise>".encode()


FILES = (
    Case(1, "empty", b"", error=f"the file is empty; {EXPORT}"),
    Case(1, "blank", b" \n\t", error=f"the file is empty; {EXPORT}"),
    Case(
        2,
        "truncated in a tag",
        plain()[:300],
        error="line 2, column ",
    ),
    Case(3, "UTF-8 mark", b"\xef\xbb\xbf" + plain(), SCALE),
    Case(3, "blanks before the declaration", b"\n  " + plain(), SCALE),
    Case(3, "UTF-16 as said", plain(HEAD.replace("UTF-8", "UTF-16")).decode().encode("utf-16"), SCALE),
    Case(
        3,
        "UTF-16 that says UTF-8",
        plain().decode().encode("utf-16"),
        SCALE,
        remarks=("the text is not in the encoding the file declares: read as utf-16",),
    ),
    Case(
        3,
        "Latin-1 that says UTF-8",
        LATIN,
        SCALE,
        remarks=("the text is not in the encoding the file declares: read as cp1252",),
        more={"part": f"{PART}ë"},
    ),
    Case(3, "Latin-1 as said", LATIN.replace(b"UTF-8", b"ISO-8859-1"), SCALE, more={"part": f"{PART}ë"}),
    Case(4, "another document", b"<catalogue/>", error=f"<catalogue> is not a MusicXML score; {EXPORT}"),
    Case(4, "no parts", b"<score-partwise/>", error="no parts in the score; export it again as MusicXML"),
    Case(4, "in a namespace", plain().replace(b"<score-partwise", b"<score-partwise xmlns='urn:x'"), SCALE),
    Case(5, "timewise", timewise(), SCALE, remarks=(PART_OF_TWO.format("Lead", "Low"),)),
    Case(6, "entity bomb", plain(HEAD + "<!DOCTYPE x [<!ENTITY a 'b'><!ENTITY c '&a;&a;'>]>"), error=ENTITIES),
    Case(
        7, "external entity", plain(HEAD + "<!DOCTYPE x [<!ENTITY a SYSTEM 'file:///etc/hostname'>]>"), error=ENTITIES
    ),
    Case(8, "document type only", plain(HEAD + DOCTYPE), SCALE),
    Case(
        9,
        "zip bomb",
        packed(("score.xml", BOMB)),
        error="the archive would unpack to 4000016 bytes, ",
    ),
    Case(9, "too many members", many_members(1001), error=f"more than 1000 files in the archive; {EXPORT}"),
    Case(9, "too deep", b"<a>" * 101, error="too many XML elements; the limits are 1500000, 100 deep"),
    Case(
        10,
        "rootfile above",
        packed(("score.xml", plain()), rootfile="../score.xml"),
        error=f"META-INF/container.xml: the archive names a place outside itself; {EXPORT}",
    ),
    Case(
        10,
        "member above",
        packed(("../x", b"")),
        error=f"member '../x': the archive names a place outside itself; {EXPORT}",
    ),
    Case(
        10,
        "member on a drive",
        packed(("C:\\x", b"")),
        error=f"member 'C:\\\\x': the archive names a place outside itself; {EXPORT}",
    ),
    Case(11, "decoy first", packed(("decoy.xml", bars(notes("C2"))), ("score.xml", plain())), SCALE),
    Case(
        12,
        "no container",
        packed(("one.xml", plain()), rootfile=None),
        SCALE,
        remarks=("the archive has no container: its only score 'one.xml' is read",),
    ),
    Case(
        12,
        "no container and two scores",
        packed(("a.xml", plain()), ("b.xml", plain()), rootfile=None),
        error=f"the archive has no container and holds 2 XML files, not one; {EXPORT}",
    ),
    Case(
        12,
        "container not XML",
        packed(("Mary's.xml", plain()), rootfile="Mary's.xml"),
        SCALE,
        remarks=("""the archive has a container that isn't well-formed XML: its only score "Mary's.xml" is read""",),
    ),
    Case(
        12,
        "score not there",
        packed(("a.xml", plain()), rootfile="b.xml"),
        error=f"META-INF/container.xml: the archive lacks 'b.xml', which its container names; {EXPORT}",
    ),
    Case(13, "not a zip", b"just words", error=f"line 1, column 1: not well-formed XML (syntax error); {EXPORT}"),
    Case(13, "broken zip", packed(("score.xml", plain()))[:-30], error=f"the zip archive is damaged; {EXPORT}"),
    Case(
        14,
        "nested by name",
        packed(("inner.mxl", packed(("score.xml", plain())))),
        error="member 'inner.mxl': an archive inside an archive; unpack it first",
    ),
    Case(
        14,
        "nested by content",
        packed(("score.xml", packed(("score.xml", plain())))),
        error="an archive inside an archive; unpack it first",
    ),
    Case(
        14,
        "encrypted",
        encrypted(),
        error="member 'META-INF/container.xml': the archive is encrypted; save it without a password",
    ),
    Case(16, "member with a UTF-8 name", packed(("Étude ♭.xml", plain()), rootfile="Étude ♭.xml"), SCALE),
)
