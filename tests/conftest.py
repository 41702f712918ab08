"""Shared fixtures: where the open collections are, and small melodies to measure."""

import os
import shutil
from pathlib import Path

import pytest
from helpers.places import ROOT


def pytest_make_parametrize_id(val: object, argname: str) -> str | None:
    """Bytes go by number, never by content: packed files carry the second they were made in, and workers that
    import the tests in different seconds would then disagree about what tests there are.
    """
    return argname if isinstance(val, bytes) else None


def open_data_folder() -> Path | None:
    """Folder of the open collections a user fetches, where there is one (see corpus/*.toml)."""
    named = os.environ.get("STYLEMETER_OPEN_DATA")
    for folder in (Path(named) if named else None, ROOT.parent / "shared" / "data"):
        if folder and folder.is_dir():
            return folder
    return None


@pytest.fixture(scope="session")
def open_data() -> Path:
    folder = open_data_folder()
    if folder is None:
        pytest.skip("the open collections are not here: set STYLEMETER_OPEN_DATA to their folder")
    return folder


@pytest.fixture(scope="session")
def music21_corpus() -> Path:
    """Folder of music21's own collections, inside the installed wheel."""
    from importlib.util import find_spec

    spec = find_spec("music21")
    folder = Path(spec.origin).parent / "corpus" if spec and spec.origin else None
    if folder is None or not folder.is_dir():
        pytest.skip("music21's corpus folder is not installed")
    return folder


#: Of the browser: no sandbox (tests run as root), nothing of its own that would call out.
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="module")
def browser() -> object:
    """The distribution's Chromium, without a window."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("chromium is not installed")
    with sync_api.sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=program, args=FLAGS)
        yield opened
        opened.close()
