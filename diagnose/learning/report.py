"""What closed cases teach as plain data, in the form ``rowfault/lesson/1``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from diagnose.knowledge.parts import PartKind
from diagnose.learning.conjugate import LEVEL
from diagnose.learning.update import Lesson, Moved

SCHEMA = "rowfault/lesson/1"


def lesson_report(lesson: Lesson, parts: Mapping[str, PartKind], priors: str) -> dict[str, object]:
    """The lesson; ``priors`` is the id of the set that is in force now.

    What moves most comes first. Rates are per part and case; ``weighs`` is the exposure, in parts
    times cases, that the shipped prior counts for.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.learning.conjugate import Gamma
    >>> from diagnose.learning.counts import Counts
    >>> little = Moved("valve", "coil_open", Gamma(1, 100), 2, 100, 0.1, False)
    >>> much = Moved("valve", "leaking", Gamma(1, 100), 9, 100, 0.001, True)
    >>> lesson = Lesson(Counts(), (little, much), (), {})
    >>> report = lesson_report(lesson, load_knowledge().parts, "shipped")
    >>> [(each["id"], each["times"]) for each in report["moved"]]
    [('valve:leaking', 5.0), ('valve:coil_open', 1.5)]
    """
    counts = lesson.counts
    return {
        "schema": SCHEMA,
        "priors": priors,
        "cases": counts.fleet.cases,
        "frames": {frame: tally.cases for frame, tally in counts.frames.items() if tally.cases},
        "left_out": {
            "unfinished": counts.unfinished,
            "unknown_machines": dict(counts.unknown_machines),
            "unknown_causes": dict(counts.unknown_causes),
        },
        "level": LEVEL,
        "moved": _in_order(lesson.modes, parts),
        "kinds": _in_order(lesson.kinds, parts),
        "apart": {frame: _in_order(moved, parts) for frame, moved in lesson.frames.items()},
        "conflicts": [_moved(each, parts) for each in lesson.conflicts],
    }


def _in_order(moved: Sequence[Moved], parts: Mapping[str, PartKind]) -> list[dict[str, object]]:
    most = sorted(moved, key=lambda each: -max(each.times, 1 / each.times))
    return [_moved(each, parts) for each in most]


def _moved(moved: Moved, parts: Mapping[str, PartKind]) -> dict[str, object]:
    low, high = moved.after.interval()
    return {
        "id": f"{moved.kind}:{moved.mode}" if moved.mode else moved.kind,
        "says": ", ".join(_names(moved, parts[moved.kind])),
        "shipped": moved.before.mean,
        "weighs": moved.before.exposure,
        "learned": moved.after.mean,
        "low": low,
        "high": high,
        "times": moved.times,
        "found": moved.found,
        "expected": moved.expected,
        "part_cases": moved.part_cases,
        "tail": moved.tail,
        "conflict": moved.conflict,
    }


def _names(moved: Moved, kind: PartKind) -> Iterator[str]:
    yield kind.name
    yield kind.mode(moved.mode).name if moved.mode else "all modes together"
