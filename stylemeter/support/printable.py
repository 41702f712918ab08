"""Names and quoted words made safe to print."""

from __future__ import annotations

import os
import unicodedata

__all__ = ["SHOWN_MAX", "show"]

#: Longest name or quoted word shown whole, in characters.
SHOWN_MAX = 200
#: Unicode categories never sent to a terminal as they are: controls, format marks (right-to-left overrides
#: among them), surrogates, private use, unassigned, line and paragraph separators.
_UNSAFE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def show(text: str | os.PathLike[str], limit: int = SHOWN_MAX) -> str:
    r"""A name or a quoted word safe to print: what could steer a terminal escaped, the middle of a long one left out.

    Parameters
    ----------
    text : str or path
        Anything, lone surrogates of a non-UTF-8 file name included.
    limit : int
        Greatest number of characters, at least 3.

    Examples
    --------
    >>> print(show("a\x1b[2Jb\u202ec\udcff.abc"))
    a\x1b[2Jb\u202ec\xff.abc
    >>> show("abcdefghij", 7)
    'abc…hij'
    """
    raw = os.fspath(text)
    if len(raw) <= limit and raw.isprintable():  # none of the unsafe kinds is
        return raw
    if len(raw) > 4 * limit:
        raw = raw[: 2 * limit] + raw[-2 * limit :]
    safe = "".join(_escape(sign) if unicodedata.category(sign) in _UNSAFE else sign for sign in raw)
    if len(safe) <= limit:
        return safe
    head = (limit - 1) // 2
    return f"{safe[:head]}…{safe[len(safe) - (limit - 1 - head) :]}"


def _escape(sign: str) -> str:
    """A character as an escape; the surrogate of an undecodable byte as that byte."""
    code = ord(sign)
    if 0xDC80 <= code <= 0xDCFF:
        return f"\\x{code - 0xDC00:02x}"
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
