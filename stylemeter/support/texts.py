"""The package's own TOML texts, parsed once a version: parsing them takes longer than placing a solo."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from stylemeter._version import __version__
from stylemeter.support import places
from stylemeter.support.files import keep, kept

__all__ = ["load_texts", "texts_file"]


def texts_file(name: str) -> Path:
    """File of the package's own texts: ``"words"``, ``"advice"``, ``"page"``, ``"class"``."""
    return Path(__file__).resolve().parents[1] / "texts" / f"{name}.toml"


def load_texts(path: Path) -> dict[str, Any]:
    """Load a TOML file that ships with the package, from the cache's JSON copy where it is there.

    Parameters
    ----------
    path : Path
        One of our own files, of strings and numbers only.

    Returns
    -------
    dict
        The same whether or not a copy was there; a damaged copy is made again.
    """
    cache = places.cache_folder()
    if cache is None:
        return _parsed(path)
    state = path.stat()
    key = f"{__version__} {path} {state.st_size} {state.st_mtime_ns}"
    copy = cache / "texts" / f"{hashlib.sha256(key.encode('utf-8', 'surrogateescape')).hexdigest()[:32]}.json"
    there = kept(copy)
    if there is not None:
        found: dict[str, Any] = json.loads(bytes(there))
        return found
    document = _parsed(path)
    keep(copy, json.dumps(document, ensure_ascii=False).encode("utf-8"))
    return document


def _parsed(path: Path) -> dict[str, Any]:
    import tomllib

    return tomllib.loads(path.read_text(encoding="utf-8"))
