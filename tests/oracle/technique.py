"""Family *technique*: shares of the notes that carry a mark."""

from __future__ import annotations

from oracle.registry import evidence, feature
from oracle.terms import ratio

MARKS = {
    "ornamented_share": None,  # any mark the source has
    "bend_share": {"bend", "pre-bend", "release"},
    "legato_share": {"hammer-on", "pull-off", "slide"},
    "vibrato_share": {"vibrato"},
}


def marked(table, wanted):
    found = set()
    for i, note in enumerate(table["notes"]):
        marks = set(note["technique"])
        if marks if wanted is None else marks & wanted:
            found.add(i)
    return found


def _share(name):
    def share(table):
        return ratio(len(marked(table, MARKS[name])), len(table["notes"]))

    share.__name__ = name
    feature("technique", needs=("technique",))(share)
    evidence(name)(lambda table: marked(table, MARKS[name]))


for _name in MARKS:
    _share(_name)
