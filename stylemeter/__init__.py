"""stylemeter: measure a melody and place it against a style fitted from open melodies.

The library in one breath::

    import stylemeter as sm

    take = sm.read("take.musicxml")[0]
    found = sm.findings(take, "pop-songs")
    found.placement.outside          # features outside the style's norm, the surest first
    sm.write_report(found, "take.html")

===================  =============================================================================
`read`               a file -> melodies (`read_many`: files and folders; `ReadOptions`: how)
`write`              a melody -> bytes of MusicXML, MIDI, ABC, CSV or JSON
`Melody`             the note table; `from_arrays`, `from_frame`, `from_music21` make one
`measure`            a melody -> its features (`feature_frame`: many; `CATALOG`: the dictionary)
`FeatureTransformer` the same as a step of a scikit-learn pipeline
`styles`             every fitted style (`load_profile`: one, by name or folder) -> `Profile`
`place`              a melody against a style -> `Placement`
`findings`           the same with amounts, advice and the other styles -> `Findings`
`write_report`       findings -> a page, JSON, CSV or text (`report_text`: as a string)
`progress`           takes over time: whether a habit moved
`place_folder`       a folder of solos -> a page each and an overview
`fit`                collections, files, melodies or a frame -> `Profile`
`calibrate`          how often a style flags tunes of its own, and which habits it can show
`StylemeterError`    what every error is that we raise on purpose
===================  =============================================================================

Names are loaded when they are used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module

from stylemeter._version import __version__

#: As typing's, without loading it.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from stylemeter.analysis import calibrate, findings, progress
    from stylemeter.batch.run import place_folder
    from stylemeter.errors import StylemeterError
    from stylemeter.features import CATALOG, measure
    from stylemeter.features.table import feature_frame
    from stylemeter.features.transformer import FeatureTransformer
    from stylemeter.music.melody import Melody
    from stylemeter.placement.place import place
    from stylemeter.placement.records import Placement
    from stylemeter.practice.findings import Findings
    from stylemeter.reading import ReadOptions, read, read_many
    from stylemeter.report.solo.written import report_text, write_report
    from stylemeter.style.fit import fit
    from stylemeter.style.profile import Profile, load_profile, styles
    from stylemeter.writing import write

#: Public name -> its module.
_HOME = {
    "CATALOG": "features",
    "FeatureTransformer": "features.transformer",
    "Findings": "practice.findings",
    "Melody": "music.melody",
    "Placement": "placement.records",
    "Profile": "style.profile",
    "ReadOptions": "reading",
    "StylemeterError": "errors",
    "calibrate": "analysis",
    "feature_frame": "features.table",
    "findings": "analysis",
    "fit": "style.fit",
    "load_profile": "style.profile",
    "measure": "features",
    "place": "placement.place",
    "place_folder": "batch.run",
    "progress": "analysis",
    "read": "reading",
    "read_many": "reading",
    "report_text": "report.solo.written",
    "styles": "style.profile",
    "write": "writing",
    "write_report": "report.solo.written",
}

__all__ = [
    "CATALOG",
    "FeatureTransformer",
    "Findings",
    "Melody",
    "Placement",
    "Profile",
    "ReadOptions",
    "StylemeterError",
    "__version__",
    "calibrate",
    "feature_frame",
    "findings",
    "fit",
    "load_profile",
    "measure",
    "place",
    "place_folder",
    "progress",
    "read",
    "read_many",
    "report_text",
    "styles",
    "write",
    "write_report",
]


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module 'stylemeter' has no attribute {name!r}")
    found: object = getattr(import_module(f"stylemeter.{_HOME[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return __all__
