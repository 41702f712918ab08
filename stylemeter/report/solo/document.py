"""A placement as plain data: the JSON document of `stylemeter place --json` (schema in schema/placement-1.json)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from stylemeter.features import CATALOG
from stylemeter.music.melody import Melody
from stylemeter.placement.records import FeaturePlace, HabitPlace, Stretch, Typicality
from stylemeter.practice.findings import Findings
from stylemeter.support.numbers import number, numbers
from stylemeter.writing.table import quarters_text

__all__ = ["SCHEMA", "bar_count", "to_document"]

SCHEMA = "stylemeter/placement/1"


def bar_count(melody: Melody) -> int:
    """Printed bars from the first to the last note."""
    return int(melody.bar[-1] - melody.bar[0]) + 1 if len(melody) else 0


def to_document(findings: Findings) -> dict[str, Any]:
    """Return the whole answer as plain data.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    dict
        Unknown numbers are None, with a reason beside them.
    """
    placed = findings.placement
    return {
        "schema": SCHEMA,
        "solo": _solo(placed.melody, placed.uncertain_share),
        "profile": _profile(findings),
        "habits": [_habit(h, findings) for h in placed.habits],
        "features": [_feature(f, findings) for f in placed.features],
        "first": findings.first_document(),
        "typicality": _typicality(placed.typicality),
        "styles": [_typicality(t) for t in findings.styles],
        "scales": [
            {"name": s.name, "notes": number(s.notes), "time": number(s.time), "rank": s.rank} for s in placed.scales
        ],
        "distributions": {name: _shape(shape) for name, shape in placed.shapes.items()},
        "expected_by_chance": number(placed.expected),
        "usual_most_outside": number(placed.usual_most),
    }


def _solo(melody: Melody, uncertain: float) -> dict[str, Any]:
    key = melody.key
    return {
        "title": melody.title,
        "path": melody.path,
        "part": melody.part,
        "source": melody.source,
        "notes": len(melody),
        "bars": bar_count(melody),
        "meter": [[quarters_text(m.onset), m.numerator, m.denominator] for m in melody.meters],
        "tempo": number(melody.tempo),
        "key": None
        if key is None
        else {
            "tonic": key.tonic,
            "mode": key.mode,
            "name": key.name,
            "source": key.source,
            "runner_up": key.runner_up,
            "margin": number(key.margin),
        },
        "uncertain_share": uncertain,
        "remarks": list(melody.remarks),
    }


def _profile(findings: Findings) -> dict[str, Any]:
    placed = findings.placement
    profile, plan = placed.profile, placed.plan
    return {
        "name": profile.name,
        "style": profile.style,
        "families": profile.families,
        "tunes": profile.tunes,
        "rungs": []
        if plan is None
        else [{"notes": n, "share": s, "families": profile.rung_families[n]} for n, s in plan.rungs],
        "excerpts": 0 if plan is None else len(plan.starts),
        "compared": "" if plan is None else plan.words,
        "coverage": placed.coverage,
        "provisional": plan is None or plan.provisional,
        "digest": profile.digest,
        "licences": [{"title": o.title, "licence": o.licence, "attribution": o.attribution} for o in profile.origins],
    }


def _stretches(found: Sequence[Stretch]) -> list[dict[str, Any]]:
    return [{"bar_from": s.bar_from, "bar_to": s.bar_to, "notes": list(s.notes)} for s in found]


def _feature(f: FeaturePlace, findings: Findings) -> dict[str, Any]:
    feature = CATALOG[f.name]
    return {
        "name": f.name,
        "family": feature.family,
        "unit": feature.unit,
        "value": number(f.value),
        "percentile": number(f.percentile),
        "interval": numbers(f.interval),
        "lower": number(f.limits.lower) if f.limits else None,
        "upper": number(f.limits.upper) if f.limits else None,
        "lower_ci": numbers(f.limits.lower_ci) if f.limits else None,
        "upper_ci": numbers(f.limits.upper_ci) if f.limits else None,
        "p": number(f.p),
        "q": number(f.q),
        "verdict": f.verdict,
        "clear": f.clear,
        "unsure": f.unsure,
        "reason": f.reason,
        "effect": number(f.effect),
        "beyond": f.beyond,
        "evidence": _stretches(f.evidence),
        "change": findings.change_document(f.name),
        "advice": findings.advice_document(f.name),
        "words": findings.sentence(f.name),
    }


def _habit(h: HabitPlace, findings: Findings) -> dict[str, Any]:
    return {
        "name": h.name,
        "verdict": h.verdict,
        "statistic": number(h.statistic),
        "percentile": number(100 * h.share),
        "interval": numbers(h.interval),
        "p": number(h.p),
        "q": number(h.q),
        "free": h.free,
        "where": h.where,
        "dose": number(h.dose),
        "effect": number(h.effect),
        "of_chords": h.scan == "chord_root" and not h.over_all,
        "scale": h.scale,
        "unsure": h.unsure,
        "reason": h.reason,
        "can_show": findings.can_show(h.name),
        "features": list(h.features),
        "evidence": _stretches(h.evidence),
        "change": findings.change_document(h.name),
        "advice": findings.advice_document(h.name),
        "words": findings.sentence(h.name),
    }


def _typicality(t: Typicality) -> dict[str, Any]:
    return {
        "profile": t.profile,
        "style": t.style,
        "p": number(t.p),
        "distance": number(t.distance),
        "families": t.families,
        "fitting": list(t.fitting),
        "misfitting": list(t.misfitting),
        "tie": t.tie,
        "reason": t.reason,
    }


def _shape(shape: dict[str, Any]) -> dict[str, Any]:
    return {**shape, "distance": number(shape["distance"]), "percentile": number(shape["percentile"])}
