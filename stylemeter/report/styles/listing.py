"""Plain listings for the terminal: profiles, collections, the feature dictionary."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from stylemeter.practice.words import style_words
from stylemeter.style.collections import Collection
from stylemeter.style.profile import Profile
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, FAMILIES_FOR_RUNG

__all__ = ["collection_lines", "collection_row", "plain_table", "profile_entry", "profile_lines", "profile_row"]

WIDTH = 80


def plain_table(rows: Sequence[dict[str, Any]]) -> str:
    """Rows as columns under their names.

    Examples
    --------
    >>> print(plain_table([{"name": "a", "tunes": 3}, {"name": "bcd", "tunes": 12}]))
    name  tunes
    a     3
    bcd   12
    """
    if not rows:
        return "none"
    names = list(rows[0])
    width = [max(len(str(row[name])) for row in [*rows, {name: name}]) for name in names]
    lines = ["  ".join(str(row[n]).ljust(w) for n, w in zip(names, width, strict=True)) for row in rows]
    head = "  ".join(n.ljust(w) for n, w in zip(names, width, strict=True))
    return "\n".join(line.rstrip() for line in [head, *lines])


def profile_row(profile: Profile) -> dict[str, Any]:
    """One line of the list of profiles."""
    good = profile.good_rungs
    return {
        "name": profile.name,
        "style": profile.style,
        "tunes": profile.tunes,
        "families": profile.families,
        "norm for": f"{good[0]}-{good[-1]} notes" if good else "provisional only",
        "calibrated": "yes" if profile.calibration else "no",
    }


def profile_entry(profile: Profile) -> list[str]:
    """A style in the list of styles: who it is, whom one would sound like, what a comparison with it means."""
    row, said = profile_row(profile), style_words(profile)
    like = f" To sound like {said.like}." if said.like else ""
    calibrated = "checked on tunes held out" if profile.calibration else "not checked on tunes held out"
    return [
        *_field(profile.name, f"{said.who}."),
        *textwrap.wrap(f"{like} {said.means}".strip(), WIDTH, initial_indent="  ", subsequent_indent="  "),
        f"  norm for {row['norm for'].removeprefix('norm for ')}; {calibrated}",
    ]


def _field(name: str, text: str) -> list[str]:
    """A text behind its name, what doesn't fit on the line two further in than the name."""
    indent = " " * (len(name) - len(name.lstrip()) + 2)
    return textwrap.wrap(f"{name}: {text}", WIDTH, subsequent_indent=indent) if text else []


def collection_row(collection: Collection) -> list[str]:
    """A collection in the list of collections: its title, its licence below."""
    return [*_field(collection.name, collection.title), *_field("  licence", collection.licence)]


def collection_lines(collection: Collection) -> list[str]:
    """Return what a collection says of itself."""
    lines = [f"{collection.name}: {collection.title}"]
    for name in ("licence", "licence_words", "attribution", "obtain", "prepare"):
        lines += _field(name.replace("_", " "), getattr(collection, name))
    lines += _field("source", ", ".join(collection.source))
    return lines + _field("left out", collection.leave_out_why)


def profile_lines(profile: Profile) -> list[str]:
    """Return what a profile was made from, and at which lengths it is a norm."""
    said = style_words(profile)
    lines = _field(profile.name, f"{said.who}, in {profile.families} families")
    lines += _field("what that means", said.means)
    for c in profile.origins:
        lines += _field("from", f"{c.title} ({c.tunes} tunes)")
        lines += _field("licence", c.licence) + _field("attribution", c.attribution)
    if profile.about.failures:
        lines.append(f"left out: {profile.about.failures} that could not be read")
    lines.append("norm by length:")
    for notes, families in sorted(profile.rung_families.items()):
        if families >= FAMILIES_FOR_RUNG:
            kind = "norm"
        elif families >= FAMILIES_FOR_LIMITS:
            kind = "provisional"
        else:
            kind = "too few for limits"
        lines.append(f"  {notes:>4} notes  {families:>5} families  {kind}")
    lines += _field("sample", f"sha256 {profile.digest}")
    return lines
