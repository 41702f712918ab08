"""Imports only point left along the way of the data, and heavy libraries stay out of module heads."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "stylemeter"

#: From left to right; a module may import from its own layer and those before it.
LAYERS = [
    ["_version", "errors", "document_numbers", "files", "pool"],
    ["meter", "scales", "places", "shipped_texts"],
    ["melody"],
    ["keys", "chords", "chord_kinds", "chord_labels", "tables", "writing"],
    ["reading"],
    ["features", "excerpt", "injection", "results"],
    ["stats"],
    ["corpus", "families", "reference"],
    ["sampling", "typicality"],
    ["rank_cache", "profile", "fit", "plan", "placed", "standing", "capability"],
    ["evidence", "styles", "placement", "calibrate", "uncertainty"],
    ["words", "advice", "edits", "change"],
    ["findings", "class_rows", "shelf", "trend", "followed"],
    ["report", "batch", "bench", "progress"],
    ["cli"],
]
LAYER = {name: i for i, names in enumerate(LAYERS) for name in names}
HEAVY = {"scipy", "sklearn", "matplotlib", "pandas", "music21", "verovio", "joblib", "pyarrow", "mido"}


def modules():
    return sorted(p for p in PACKAGE.rglob("*.py") if p != PACKAGE / "__init__.py")


def top(path):
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path, *, heads_only):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = tree.body if heads_only else ast.walk(tree)
    for node in nodes:
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield node.module
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_point_left(path):
    own = LAYER[top(path)]
    for name in imports(path, heads_only=True):
        if name.startswith("stylemeter."):
            other = name.split(".")[1]
            assert LAYER[other] <= own, f"{path.name} imports {name}"


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_heavy_libraries_are_imported_where_they_are_used(path):
    if top(path) == "reading":
        return  # loaded in the reading process, by the reader's own module
    heads = {name.split(".")[0] for name in imports(path, heads_only=True)}
    assert not heads & HEAVY


def test_only_readers_touch_music21():
    for path in modules():
        if top(path) != "reading":
            assert not any(name.split(".")[0] == "music21" for name in imports(path, heads_only=False)), path
