"""The one way to every sentence a user reads: the TOML files in ``texts/``, loaded once and filled in.

A text stands there by section and name, ready to be translated; ``{names}`` in it are filled in, ``{one|many}`` is
chosen by a number. Parsed files are kept in the cache, for parsing them takes longer than placing a solo. Errors and
readers' remarks are not among them: they stand beside the check that raises them.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from stylemeter._version import __version__
from stylemeter.errors import StylemeterError
from stylemeter.support import places
from stylemeter.support.files import keep, kept

__all__ = ["Texts", "fill", "load_texts", "texts_file", "texts_of"]

#: ``{one|many}``; either side may hold ``{names}``.
CHOICE = re.compile(r"\{((?:[^{}|]|\{\w+\})*)\|((?:[^{}|]|\{\w+\})*)\}")
NAME = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True, eq=False)
class Texts(Mapping[str, str]):
    """The texts of a file by "section.name"; one outside a section by its name.

    Attributes
    ----------
    by_name : dict of str
    """

    by_name: Mapping[str, str]

    @classmethod
    def of(cls, document: Mapping[str, Any], where: str) -> Texts:
        """Read them from a parsed file.

        Raises
        ------
        StylemeterError
            If an entry is not a text.
        """
        found: dict[str, str] = {}
        for section, entry in document.items():
            for name, text in entry.items() if isinstance(entry, dict) else [("", entry)]:
                if not isinstance(text, str) or not text.strip():
                    raise StylemeterError(f"text {section}.{name} is not a text or is empty", where=where)
                found[f"{section}.{name}" if name else section] = text
        return cls(found)

    def __getitem__(self, name: str) -> str:
        return self.by_name[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.by_name)

    def __len__(self) -> int:
        return len(self.by_name)

    def section(self, name: str) -> dict[str, str]:
        """The texts of one section, in the order of the file."""
        return {n.partition(".")[2]: text for n, text in self.by_name.items() if n.startswith(f"{name}.")}

    def say(self, name: str, number: float = 0, /, **parts: object) -> str:
        """Fill in a text, the parts said as they print.

        Parameters
        ----------
        name : str
            "section.name".
        number : float
            Chooses between one and many.
        parts : object
            What is filled in, by name.

        Examples
        --------
        >>> texts_of("class").say("class.solos", 1, count=1), texts_of("class").say("class.solos", 12, count=12)
        ('1 solo', '12 solos')
        """
        return fill(self.by_name[name], number, **{key: str(value) for key, value in parts.items()})


@lru_cache(maxsize=16)
def texts_of(file: str, table: str = "") -> Texts:
    """Load the texts of a file, once.

    Parameters
    ----------
    file : str
        Its name without a suffix: ``"page"``.
    table : str
        The table of it that holds them; the whole file by default.

    Raises
    ------
    StylemeterError
        If an entry is not a text.
    """
    path = texts_file(file)
    document = load_texts(path)
    return Texts.of(document[table] if table else document, path.name)


def fill(text: str, number: float = 0, **parts: str) -> str:
    """Fill in a text; what is filled in is never read as a text itself.

    Parameters
    ----------
    text : str
        With ``{names}`` and ``{one|many}``.
    number : float
        Chooses between one and many.
    parts : str
        By name.

    Examples
    --------
    >>> fill("put {count} {breath|breaths} in", 1, count="1"), fill("put {count} {breath|breaths} in", 3, count="3")
    ('put 1 breath in', 'put 3 breaths in')
    """
    said = _pieces(text, number == 1)
    return said[0] if len(said) == 1 else "".join([parts[s] if i % 2 else s for i, s in enumerate(said)])


@lru_cache(maxsize=2048)
def _pieces(text: str, one: bool) -> tuple[str, ...]:
    """A text for one or for many, parted at its names: what stands as it is and names in turns."""
    return tuple(NAME.split(CHOICE.sub(lambda m: m[1] if one else m[2], text)))


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
