"""Two small styles of random tunes, fitted once, and folders to break."""

from pathlib import Path

import pytest
from helpers.tunes import folder_of_tunes

import stylemeter
from stylemeter.style import limits


@pytest.fixture(scope="session")
def fitted(tmp_path_factory) -> tuple[stylemeter.Profile, stylemeter.Profile]:
    """The same name from 40 and from 41 tunes, in memory."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(limits, "DRAWS", 5)
        patch.setenv("STYLEMETER_CACHE", "off")
        folder = tmp_path_factory.mktemp("tunes")
        tunes = [m for path in sorted(folder_of_tunes(folder / "all", 41).iterdir()) for m in stylemeter.read(path)]
        return stylemeter.fit(tunes[:40], "small"), stylemeter.fit(tunes, "small")


@pytest.fixture
def home(tmp_path, monkeypatch) -> Path:
    """The user's own folders, empty."""
    monkeypatch.setenv("STYLEMETER_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("STYLEMETER_CACHE", str(tmp_path / "cache"))
    return tmp_path / "home"


@pytest.fixture
def take(tmp_path) -> Path:
    return next(folder_of_tunes(tmp_path / "take", 1, first=77).iterdir())
