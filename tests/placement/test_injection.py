"""Habits put into clean lines: what a player would do, and nothing else."""

from __future__ import annotations

import numpy as np
from helpers.thirty import solos

from stylemeter.features import CATALOG, Line
from stylemeter.placement.trust.injection import same_lick


def test_the_same_lick_is_put_in_note_for_note_in_its_place_in_the_bar():
    rng = np.random.default_rng(4)
    melody = next(solo.melody for solo in solos() if solo.name == "song")
    changed = same_lick(melody, 0, len(melody), rng)
    assert len(changed) == len(melody)
    assert np.all(np.diff(changed.onset) > 0)
    size = next(n for n in range(7, 13) if np.array_equal(changed.pitch[:n], changed.pitch[n : 2 * n]))
    period = int(changed.onset[size] - changed.onset[0])
    assert period % changed.meters[0].bar == 0
    for i in range(len(changed) - size):
        assert changed.pitch[i] == changed.pitch[i + size]
        assert changed.onset[i + size] - changed.onset[i] == period
    before, after = (CATALOG["motif_coverage"].value(Line(m)) for m in (melody, changed))
    assert after > before + 0.4
