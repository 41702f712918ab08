"""Imports only point left along the way of the data, and heavy libraries stay out of module heads."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "stylemeter"

#: From left to right: the rooms along the way of the data. A module imports from its own room and those before it.
ROOMS = [
    "_version",
    "errors",
    "support",
    "music",
    "features",
    "writing",
    "reading",
    "style",
    "placement",
    "practice",
    "takes",
    "analysis",
    "report",
    "batch",
    "web",
    "cli",
]
HEAVY = {"scipy", "sklearn", "matplotlib", "pandas", "music21", "verovio", "joblib", "pyarrow", "mido"}


def modules():
    return sorted(p for p in PACKAGE.rglob("*.py") if p != PACKAGE / "__init__.py")


def top(path):
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def dotted(path):
    return ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__")


def module_there(name):
    path = PACKAGE.parent.joinpath(*name.split("."))
    return path.with_suffix(".py").is_file() or (path / "__init__.py").is_file()


def imports(path, *, heads_only):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = tree.body if heads_only else ast.walk(tree)
    for node in nodes:
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            # a package's module is imported by name from the package
            inside = {alias.name for alias in node.names if module_there(f"{node.module}.{alias.name}")}
            yield from (f"{node.module}.{name}" for name in sorted(inside))
            if len(inside) < len(node.names):
                yield node.module
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_point_left(path):
    """All of them: those inside functions and those for type checkers too."""
    own = ROOMS.index(top(path))
    for name in imports(path, heads_only=False):
        if name.startswith("stylemeter."):
            assert ROOMS.index(name.split(".")[1]) <= own, f"{path.name} imports {name}"


def test_the_modules_of_a_room_import_each_other_in_one_direction():
    heads = {dotted(p): set(imports(p, heads_only=True)) for p in modules()}
    done, path = set(), []

    def follow(name):
        assert name not in path, " -> ".join([*path[path.index(name) :], name])
        if name in done or name not in heads:
            return
        path.append(name)
        for other in sorted(heads[name]):
            follow(other)
        done.add(path.pop())

    for name in heads:
        follow(name)


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_heavy_libraries_are_imported_where_they_are_used(path):
    if path == PACKAGE / "features" / "transformer.py":
        return  # its class is one of scikit-learn's; nothing imports it but whoever asks for it
    heads = {name.split(".")[0] for name in imports(path, heads_only=True)}
    assert not heads & HEAVY


def test_readers_ask_no_other_reader():
    """They are checked against music21, mido, partitura and symusic from outside, in the tests."""
    outside = {"music21", "mido", "partitura", "symusic", "verovio"}
    for path in modules():
        if top(path) == "reading":
            assert not {name.split(".")[0] for name in imports(path, heads_only=False)} & outside, path


def test_only_the_bridge_touches_music21():
    for path in modules():
        if path != PACKAGE / "music" / "convert.py":
            assert not any(name.split(".")[0] == "music21" for name in imports(path, heads_only=False)), path
