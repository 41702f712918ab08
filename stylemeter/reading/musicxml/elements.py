"""Texts of MusicXML elements."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from stylemeter.support.printable import show

__all__ = ["said"]


def said(parent: Element | None, path: str) -> str:
    """Text of a child, safe to print, blanks made one; empty where there is none."""
    if parent is None:
        return ""
    return show(" ".join((parent.findtext(path) or "").split()))
