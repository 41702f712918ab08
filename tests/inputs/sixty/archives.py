"""Cases 1 to 16: what surrounds a score: emptiness, encodings, XML's own dangers, zip archives, sizes, names."""

from __future__ import annotations

import io
import os
import re
import zipfile
from pathlib import Path

from .case import Case
from .xml import HEAD, SCALE_PITCHES, STEADY, attributes, measure, notes, part, plain, whole

DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
SCALE = {"pitches": SCALE_PITCHES, "onsets": STEADY}
#: Any one line will do where more than one part of the reader may be the one to refuse.
ANY = r"."


def archive(*members: tuple[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip archive."""
    raw = io.BytesIO()
    with zipfile.ZipFile(raw, "w", method) as file:
        for name, data in members:
            file.writestr(name, data)
    return raw.getvalue()


def container(rootfile: str) -> bytes:
    """The member that names the score of a compressed one."""
    return (
        f'{HEAD}<container><rootfiles><rootfile full-path="{rootfile}" '
        'media-type="application/vnd.recordare.musicxml+xml"/></rootfiles></container>'
    ).encode()


def compressed(rootfile: str, *members: tuple[str, bytes]) -> bytes:
    """A compressed score."""
    return archive(("META-INF/container.xml", container(rootfile)), *members)


def timewise() -> bytes:
    """The scale with the parts inside the bars."""
    first = f'<measure number="1">{part(attributes() + notes("C4 D4 E4 F4"))}</measure>'
    second = f'<measure number="2">{part(notes("G4 A4 B4 C5"))}</measure>'
    listed = '<part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list>'
    return f"{HEAD}<score-timewise>{listed}{first}{second}</score-timewise>".encode()


def entity_bomb() -> bytes:
    """Ten levels of ten: a thousand million characters, were they unfolded."""
    levels = "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10))
    prolog = f'{HEAD}<!DOCTYPE score-partwise [<!ENTITY a0 "lol">{levels}]>'
    return whole(part(measure(attributes() + notes("C4 D4 E4 F4"))), names=("&a9;",), prolog=prolog)


def external_entity(folder: Path) -> Path:
    """A score whose part is to be named by a file beside it."""
    (folder / "canary.txt").write_text("CANARY")
    prolog = f'{HEAD}<!DOCTYPE score-partwise [<!ENTITY secret SYSTEM "{(folder / "canary.txt").as_uri()}">]>'
    path = folder / "case.musicxml"
    body = part(measure(attributes() + notes("C4 D4 E4 F4")) + measure(notes("G4 A4 B4 C5"), 2))
    path.write_bytes(whole(body, names=("&secret;",), prolog=prolog))
    return path


def no_canary(melodies: list) -> None:
    """The file beside the score was not read into it."""
    assert "CANARY" not in f"{melodies[0].title} {melodies[0].part} {melodies[0].remarks}"


def encrypted() -> bytes:
    """A compressed score whose members are marked as encrypted."""
    raw = bytearray(compressed("score.xml", ("score.xml", plain())))
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        for found in re.finditer(re.escape(signature), bytes(raw)):
            raw[found.start() + offset] |= 1
    return bytes(raw)


def hundred_megabytes(folder: Path) -> Path:
    """A file of that size which takes no room."""
    path = folder / "case.musicxml"
    with path.open("wb") as file:
        file.write(plain())
        file.truncate(100 * 10**6)
    return path


def odd_name(folder: Path) -> Path:
    """A file whose name is Latin-1."""
    path = Path(os.fsdecode(os.fsencode(folder) + b"/\xe9tude.musicxml"))
    path.write_bytes(plain())
    return path


LATIN = plain().replace(b"Violin", "Viölin".encode("latin-1"))
BOMB = b'<score-partwise version="4.0">' + b" " * (200 * 2**20)

ARCHIVES = (
    Case(1, "empty score", b"", error="is empty"),
    Case(1, "empty MIDI", b"", "case.mid", error="is empty"),
    Case(2, "truncated score", plain()[:-100], error=ANY),
    Case(2, "truncated archive", compressed("score.xml", ("score.xml", plain()))[:-60], "case.mxl", error=ANY),
    Case(2, "truncated at the prolog", plain()[:20], error=ANY),
    Case(3, "UTF-8 with a mark", b"\xef\xbb\xbf" + plain(), **SCALE),
    Case(3, "UTF-16 as said", plain(HEAD.replace("UTF-8", "UTF-16")).decode().encode("utf-16"), **SCALE),
    Case(3, "UTF-16 that says UTF-8", plain().decode().encode("utf-16"), error=ANY, **SCALE),
    Case(3, "Latin-1 as said", LATIN.replace(b"UTF-8", b"ISO-8859-1"), **SCALE),
    Case(3, "Latin-1 that says UTF-8", LATIN, error=ANY, **SCALE),
    Case(3, "unknown encoding", plain(HEAD.replace("UTF-8", "KLINGON-8")), error=ANY, **SCALE),
    Case(4, "another document", f"{HEAD}<catalogue><score/></catalogue>".encode(), error="not a score"),
    Case(4, "a web page", b"<!DOCTYPE html><html><body>score</body></html>", error="web page"),
    Case(5, "timewise", timewise(), error=ANY, **SCALE),
    Case(6, "entity bomb", entity_bomb(), error=ANY),
    Case(7, "external entity", external_entity, error=ANY, check=no_canary, **SCALE),
    Case(8, "document type only", plain(HEAD + DOCTYPE), **SCALE),
    Case(9, "zip bomb", compressed("score.xml", ("score.xml", BOMB)), "case.mxl", error=ANY),
    Case(10, "rootfile outside", compressed("../score.xml", ("../score.xml", plain())), "case.mxl", error=ANY),
    Case(10, "rootfile absolute", compressed("/etc/passwd", ("score.xml", plain())), "case.mxl", error=ANY),
    Case(
        10,
        "member outside beside a good one",
        compressed("score.xml", ("../evil.xml", b"<x/>"), ("score.xml", plain())),
        "case.mxl",
        error=ANY,
        **SCALE,
    ),
    Case(
        11,
        "decoy first",
        archive(
            ("decoy.xml", plain().replace(b"<octave>4", b"<octave>2")),
            ("META-INF/container.xml", container("real.xml")),
            ("real.xml", plain()),
        ),
        "case.mxl",
        **SCALE,
    ),
    Case(12, "no container", archive(("score.xml", plain())), "case.mxl", error=ANY, **SCALE),
    Case(12, "container names nothing there", compressed("gone.xml", ("x.xml", b"<x/>")), "case.mxl", error=ANY),
    Case(13, "not a zip but a score", plain(), "case.mxl", **SCALE),
    Case(13, "not a zip at all", b"just words", "case.mxl", error="named like MusicXML"),
    Case(14, "nested", archive(("inner.mxl", compressed("s.xml", ("s.xml", plain())))), "case.mxl", error=ANY),
    Case(14, "encrypted", encrypted(), "case.mxl", error=ANY),
    Case(15, "100 MB", hundred_megabytes, error="larger than 32 MiB"),
    Case(16, "name that is not UTF-8", odd_name, **SCALE),
)
