"""stylemeter: measure a melody and place it against a style fitted from open melodies.

The library in one breath::

    from stylemeter import load_profile, place, read

    melody = read("take.musicxml")[0]
    placement = place(melody, load_profile("old-fiddle-tunes"))
    print([f.name for f in placement.outside])

Names are loaded when they are used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from stylemeter._version import __version__

if TYPE_CHECKING:
    from stylemeter.errors import StylemeterError
    from stylemeter.features import CATALOG, measure
    from stylemeter.music.melody import Melody
    from stylemeter.placement.place import place
    from stylemeter.reading import ReadOptions, read
    from stylemeter.style.profile import load_profile

__all__ = [
    "CATALOG",
    "Melody",
    "ReadOptions",
    "StylemeterError",
    "__version__",
    "load_profile",
    "measure",
    "place",
    "read",
]

_HOME = {
    "CATALOG": "features",
    "Melody": "music.melody",
    "ReadOptions": "reading",
    "StylemeterError": "errors",
    "load_profile": "style.profile",
    "measure": "features",
    "place": "placement.place",
    "read": "reading",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'stylemeter' has no attribute {name!r}")
    return getattr(import_module(f"stylemeter.{_HOME[name]}"), name)
