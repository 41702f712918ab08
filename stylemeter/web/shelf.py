"""The shelf: takes by player and date, kept as plain files that the commands read too.

A player is a folder, a take a note table in it (``2026-03-02 blues.json``): `stylemeter progress FOLDER/PLAYER` and
`stylemeter batch FOLDER` read the tables as they stand. What else belongs to a take lies beside it in the hidden folder
``.kept``, which the commands pass over: the take as it came, and a small record.

Conventions: every file is written whole or not at all, the note table last, so that a take is there once all of it is;
what changes the shelf holds its lock, so that two windows lose nothing. No name that a browser sent becomes a path: a
take is looked up among those that are there.
"""

from __future__ import annotations

import contextlib
import fcntl
import io
import json
import os
import re
import unicodedata
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from stylemeter.errors import InputError, UsageError
from stylemeter.support.files import write_whole
from stylemeter.support.printable import show

__all__ = ["SCHEMA", "Shelf", "Take"]

#: Name and version of a record's layout.
SCHEMA = "stylemeter/take/1"
#: Characters of a player's name and of a title as they stand in a file's name; takes of one shelf; players.
NAME_MAX, TAKES_MAX, PLAYERS_MAX = 60, 20_000, 2_000
#: Largest record read back: ours have a few hundred bytes.
RECORD_BYTES_MAX = 256 * 2**10
#: Name a player has who gave none.
NOBODY = "me"

_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
#: Names some file systems keep for themselves.
_RESERVED = re.compile(r"(?i)con|prn|aux|nul|com\d|lpt\d")


@dataclass(frozen=True, slots=True)
class Take:
    """A take on the shelf.

    Attributes
    ----------
    player, name : str
        Folder and file name without the suffix: together what it is asked for by.
    record : dict
        What is known of it beside its notes: ``date``, ``title``, ``original`` (name of the file as it came), ``told``
        (what was said of it last). Empty where there is none: a table put there by hand is a take too.
    """

    player: str
    name: str
    record: dict[str, Any] = field(default_factory=dict)

    @property
    def date(self) -> str:
        """Day it was played, ISO 8601; empty where unknown."""
        known = str(self.record.get("date") or self.name[:10])
        return known if _is_date(known) else ""


class Shelf:
    """A folder of takes.

    Parameters
    ----------
    folder : Path
        Made when the first take is put there.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def takes(self) -> list[Take]:
        """Every take, by player and then by name, which begins with the date."""
        return [
            Take(player, name, self._record(player, name)) for player in self._players() for name in self._names(player)
        ]

    def find(self, player: str, name: str) -> Take:
        """One take.

        Raises
        ------
        InputError
            If there is none of that name.
        """
        if player in self._players() and name in self._names(player):
            return Take(player, name, self._record(player, name))
        raise InputError("no such take on the shelf", where=show(f"{player}/{name}"), mend="look at the shelf again")

    def table(self, take: Take) -> bytes:
        """Note table of a take.

        Raises
        ------
        InputError
            If it can't be read.
        """
        return _read(self._table(take.player, take.name))

    def original(self, take: Take) -> tuple[str, bytes] | None:
        """The take as it came, under the name it had; None where it isn't kept."""
        name = str(take.record.get("original") or "")
        path = self._kept(take.player) / f"{take.name}.original"
        return (name, _read(path)) if name and path.is_file() else None

    def put(
        self,
        player: str,
        title: str,
        table: bytes,
        *,
        day: str = "",
        told: dict[str, Any] | None = None,
    ) -> Take:
        """Keep a take.

        Parameters
        ----------
        player, title : str
            As typed; what no file name may hold gives way.
        table : bytes
            A note table as `writing.table.to_json` writes it.
        day : str
            ISO 8601; today by default.
        told : dict, optional
            What was said of it.

        Returns
        -------
        Take

        Raises
        ------
        UsageError
            If it can't be written or the shelf is full.
        """
        if day and not _is_date(day):
            raise UsageError(f"{show(day)!r} is no date", mend="write it as 2026-03-02")
        day = day or date.today().isoformat()
        folder = self._folder_of(player)
        with self._changing():
            if sum(len(self._names(p)) for p in self._players()) >= TAKES_MAX:
                raise UsageError(f"the shelf holds {TAKES_MAX} takes", mend="export it and begin a new one")
            name = self._free_name(folder, f"{day} {_plain(title) or 'take'}")
            record: dict[str, Any] = {
                "schema": SCHEMA,
                "date": day,
                "title": title[:200],
                "player": player[:200] or NOBODY,
                "told": told or {},
            }
            kept = self._kept(folder)
            kept.mkdir(parents=True, exist_ok=True)
            write_whole(kept / f"{name}.record.json", _dump(record))
            write_whole(self._table(folder, name), table)
        return Take(folder, name, record)

    def path(self, take: Take) -> Path:
        """Where a take's note table lies."""
        return self._table(take.player, take.name)

    def put_original(self, take: Take, name: str, data: bytes) -> None:
        """Keep a take as it came, under the name it had, beside its notes.

        Raises
        ------
        UsageError
            If it can't be written.
        """
        with self._changing():
            if self._table(take.player, take.name).is_file():
                record = {"schema": SCHEMA, **self._record(take.player, take.name), "original": show(name)}
                self._kept(take.player).mkdir(parents=True, exist_ok=True)
                write_whole(self._kept(take.player) / f"{take.name}.original", data)
                write_whole(self._kept(take.player) / f"{take.name}.record.json", _dump(record))

    def remove(self, take: Take) -> None:
        """Take a take off the shelf: its table first, so that half a removal leaves no half take."""
        with self._changing():
            self._table(take.player, take.name).unlink(missing_ok=True)
            for suffix in (".original", ".record.json"):
                (self._kept(take.player) / f"{take.name}{suffix}").unlink(missing_ok=True)
            # a player without takes is none; what else lies in the folder is not ours to touch
            for folder in (self._kept(take.player), self.folder / take.player):
                with contextlib.suppress(OSError):
                    folder.rmdir()

    def packed(self, player: str | None = None) -> bytes:
        """The shelf, or one player's part of it, as a zip archive: the same bytes for the same takes."""
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
            for take in self.takes():
                if player not in (None, take.player):
                    continue
                _add(archive, f"{take.player}/{take.name}.json", self.table(take))
                if take.record:
                    _add(archive, f"{take.player}/{take.name}.record.json", _dump(take.record))
                came = self.original(take)
                if came is not None:
                    suffix = _plain(Path(came[0]).suffix)
                    _add(archive, f"{take.player}/as it came/{take.name}.{suffix or 'bin'}", came[1])
        return out.getvalue()

    # -- names and places ------------------------------------------------------------------------------------------

    def _players(self) -> list[str]:
        """Folders of players, sorted."""
        return sorted(_names_in(self.folder, folders=True)[:PLAYERS_MAX])

    def _names(self, player: str) -> list[str]:
        """Names of a player's takes, sorted."""
        tables = [n for n in _names_in(self.folder / player, folders=False) if n.endswith(".json")]
        return sorted(n.removesuffix(".json") for n in tables)

    def _table(self, player: str, name: str) -> Path:
        return self.folder / player / f"{name}.json"

    def _kept(self, player: str) -> Path:
        return self.folder / player / ".kept"

    def _record(self, player: str, name: str) -> dict[str, Any]:
        """What is known of a take; nothing where the record is missing or damaged."""
        path = self._kept(player) / f"{name}.record.json"
        try:
            if not path.is_file() or path.stat().st_size > RECORD_BYTES_MAX:
                return {}
            record = json.loads(path.read_bytes())
        except (OSError, ValueError, RecursionError):
            return {}
        return record if isinstance(record, dict) and record.get("schema") == SCHEMA else {}

    def _folder_of(self, player: str) -> str:
        """Folder of a player: the one that is there whatever its capitals, else a new one."""
        name = _plain(player) or NOBODY
        return next((p for p in self._players() if p.casefold() == name.casefold()), name)

    def _free_name(self, player: str, wanted: str) -> str:
        """A name no take of the player has."""
        taken = {name.casefold() for name in self._names(player)}
        name, count = wanted, 1
        while name.casefold() in taken:
            count += 1
            name = f"{wanted} ({count})"
        return name

    @contextmanager
    def _changing(self) -> Iterator[None]:
        """Hold the shelf's lock, and turn what the file system refuses into one line.

        Raises
        ------
        UsageError
        """
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            lock = os.open(self.folder / ".lock", os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise _cant_write(self.folder, error) from None
        try:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield
        except OSError as error:
            raise _cant_write(self.folder, error) from None
        finally:
            os.close(lock)


def _plain(text: str) -> str:
    """A text as a file's name: letters and digits of any script, single blanks and hyphens.

    Examples
    --------
    >>> _plain("  ../../etc <b>K.V.</b> "), _plain("con"), _plain("...")
    ('etc b K V b', 'con-', '')
    """
    kept = "".join(
        c if unicodedata.category(c)[0] in "LNM" or c == "-" else " " for c in unicodedata.normalize("NFC", text)
    )
    name = " ".join(kept.split())[:NAME_MAX].strip(" -")
    while len(name.encode("utf-8")) > 3 * NAME_MAX:
        name = name[:-1].strip(" -")
    return f"{name}-" if _RESERVED.fullmatch(name) else name


def _is_date(text: str) -> bool:
    try:
        return bool(_DATE.fullmatch(text)) and bool(date.fromisoformat(text))
    except ValueError:
        return False


def _names_in(folder: Path, *, folders: bool) -> list[str]:
    """Names of what lies in a folder and isn't hidden: folders or regular files, links to neither."""
    try:
        with os.scandir(folder) as entries:
            return [
                e.name
                for e in entries
                if not e.name.startswith(".")
                and (e.is_dir(follow_symlinks=False) if folders else e.is_file(follow_symlinks=False))
            ]
    except OSError:
        return []


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(
            f"can't be read ({error.strerror})", where=show(path), mend="look at the shelf again"
        ) from None


def _dump(record: dict[str, Any]) -> bytes:
    return (json.dumps(record, ensure_ascii=False, indent=1, sort_keys=True) + "\n").encode("utf-8", "replace")


def _add(archive: zipfile.ZipFile, name: str, data: bytes) -> None:
    """Add a member without a time of its own, so that the same takes give the same bytes."""
    archive.writestr(zipfile.ZipInfo(name), data, zipfile.ZIP_DEFLATED)


def _cant_write(folder: Path, error: OSError) -> UsageError:
    why = error.strerror or "not to be written"
    return UsageError(f"can't be written ({why})", where=show(folder), mend="name another folder with --shelf")
