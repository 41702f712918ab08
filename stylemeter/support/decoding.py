"""Bytes of text files in unknown encodings -> text."""

from __future__ import annotations

__all__ = ["decode"]


def decode(data: bytes) -> str:
    r"""Text of a file that need not say its encoding: by its byte order mark, else UTF-8, else Windows-1252 or Latin-1.

    Examples
    --------
    >>> decode(b"T:Caf\xe9"), decode("\ufeffX:1".encode("utf-8"))
    ('T:Café', 'X:1')
    """
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if data.startswith(mark):
            return data[len(mark) :].decode(encoding, errors="replace")
    for encoding in ("utf-8", "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return data.decode("latin-1")
