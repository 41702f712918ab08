"""Where things lie: what ships with the package, and the user's own folders."""

from __future__ import annotations

import os
from pathlib import Path

__all__ = ["LEDGER", "cache_folder", "open_data_folder", "shipped", "user_folder"]

#: Of the folder a batch writes, by which it is known: what it holds are results, not solos.
LEDGER = Path("records", "ledger.jsonl")

_PACKAGE = Path(__file__).resolve().parents[1]


def shipped(kind: str) -> Path:
    """Folder of what ships: ``"profiles"`` or ``"corpus"``; of a wheel inside the package, else the checkout's."""
    inside = _PACKAGE / "shipped" / kind
    return inside if inside.is_dir() else _PACKAGE.parent / kind


def user_folder(kind: str) -> Path:
    """Folder of the user's own profiles or collections; it need not exist."""
    named = os.environ.get("STYLEMETER_HOME")
    if named:
        return Path(named) / kind
    import platformdirs

    return Path(platformdirs.user_data_dir("stylemeter", appauthor=False)) / kind


def cache_folder() -> Path | None:
    """Folder of the caches: ``STYLEMETER_CACHE``, else in the user's own; None where it says ``off``."""
    named = os.environ.get("STYLEMETER_CACHE", "").strip()
    if named.lower() in ("off", "no", "0", "none"):
        return None
    if named:
        return Path(named)
    import platformdirs

    try:
        return platformdirs.user_cache_path("stylemeter", appauthor=False)
    except (OSError, RuntimeError):  # no home folder
        return None


def open_data_folder() -> Path | None:
    """Folder of the open collections the user fetched: ``STYLEMETER_OPEN_DATA``."""
    named = os.environ.get("STYLEMETER_OPEN_DATA", "").strip()
    return Path(named) if named else None
