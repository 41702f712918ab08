"""What a JAMS file holds, checked by the field: observations of the namespaces a melody needs.

Conventions: times in seconds. JAMS keeps observations as a list of records or, for dense data, as a record of
lists; both are read. Anything that is not what the namespace asks for is left out and counted.

References
----------
.. [1] E. J. Humphrey, J. Salamon, O. Nieto, J. Forsyth, R. M. Bittner & J. P. Bello, "JAMS: a JSON annotated music
   specification for reproducible MIR research", ISMIR 2014 (annotations, namespaces, observations).
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from stylemeter.errors import InputError, LimitError

__all__ = ["Observation", "load", "observations", "of_namespace", "text_at"]

#: Annotations of one file, and observations of one annotation.
ANNOTATIONS_MAX = 1_000
OBSERVATIONS_MAX = 100_000
#: Latest time of an observation (seconds): a day.
TIME_MAX = 86_400.0


@dataclass(frozen=True, slots=True)
class Observation:
    """One observation."""

    time: float
    duration: float
    value: Any


def load(data: bytes) -> dict[str, Any]:
    """The JSON object of a JAMS file.

    Raises
    ------
    InputError
        If it is no JSON, or no JAMS file.
    """
    try:
        document = json.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise InputError("is not UTF-8", where=f"byte {error.start}", mend="save it as UTF-8") from None
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise InputError("is not JSON", where=place, mend="export it again") from None
    except (RecursionError, ValueError):
        # ValueError: a whole number with more digits than Python reads.
        raise InputError("is nested or numbered past all measure", mend="export it again") from None
    if not isinstance(document, dict) or not isinstance(document.get("annotations"), list):
        raise InputError("holds no annotations", mend="give a JAMS file")
    if len(document["annotations"]) > ANNOTATIONS_MAX:
        raise LimitError(f"more than {ANNOTATIONS_MAX} annotations", mend="give one take alone")
    return document


def of_namespace(document: Mapping[str, Any], namespace: str) -> list[dict[str, Any]]:
    """Annotations of a namespace, in the file's order."""
    return [a for a in document["annotations"] if isinstance(a, dict) and a.get("namespace") == namespace]


def text_at(document: Mapping[str, Any], *path: str) -> str:
    """Text in nested records, "" where there is none."""
    found: Any = document
    for name in path:
        found = found.get(name) if isinstance(found, dict) else None
    return found if isinstance(found, str) else ""


def observations(annotation: Mapping[str, Any]) -> tuple[list[Observation], list[int]]:
    """Observations of an annotation in order of time, and which were left out as broken, counted from 1.

    Raises
    ------
    LimitError
        If there are too many.
    """
    kept: list[Observation] = []
    broken: list[int] = []
    for number, (time, duration, value) in enumerate(_rows(annotation.get("data"))):
        if number >= OBSERVATIONS_MAX:
            raise LimitError(f"more than {OBSERVATIONS_MAX} observations", mend="give a shorter take")
        start, length = _number(time), _number(duration)
        if start is None or not 0 <= start <= TIME_MAX or length is None or not length <= TIME_MAX:
            broken.append(number + 1)
            continue
        kept.append(Observation(start, length, value))
    return sorted(kept, key=_time), broken


def _time(observation: Observation) -> float:
    """What observations are sorted by."""
    return observation.time


def _rows(data: object) -> Iterator[tuple[object, object, object]]:
    """Time, duration and value of each observation, however they are kept."""
    if isinstance(data, dict):
        columns = [data.get(name) for name in ("time", "duration", "value")]
        if all(isinstance(column, list) for column in columns):
            yield from zip(*columns, strict=False)
        return
    for row in data if isinstance(data, list) else []:
        yield (row.get("time"), row.get("duration"), row.get("value")) if isinstance(row, dict) else (None, None, None)


def _number(value: object) -> float | None:
    """A finite number, or None; an absent duration counts as 0."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None
