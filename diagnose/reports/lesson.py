"""What closed cases teach of the priors, in the form ``rowfault/lesson/1``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from diagnose.knowledge.parts import PartKind
from diagnose.learning.conjugate import LEVEL
from diagnose.learning.update import Lesson, Moved
from diagnose.reports.forms.lesson import LeftOut, LessonReport, MovedReport


def build_lesson_report(lesson: Lesson, parts: Mapping[str, PartKind], priors: str) -> LessonReport:
    """The lesson; ``priors`` is the id of the set that is in force now.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.learning.conjugate import Gamma
    >>> from diagnose.learning.counts import Counts
    >>> little = Moved("valve", "coil_open", Gamma(1, 100), 2, 100, 0.1, False)
    >>> much = Moved("valve", "leaking", Gamma(1, 100), 9, 100, 0.001, True)
    >>> lesson = Lesson(Counts(), (little, much), (), {})
    >>> report = build_lesson_report(lesson, load_knowledge().parts, "shipped")
    >>> [(each.id, each.times) for each in report.moved]
    [('valve:leaking', 5.0), ('valve:coil_open', 1.5)]
    """
    counts = lesson.counts
    return LessonReport(
        priors=priors,
        cases=counts.fleet.cases,
        frames={frame: tally.cases for frame, tally in counts.frames.items() if tally.cases},
        left_out=LeftOut(
            unfinished=counts.unfinished,
            unknown_machines=counts.unknown_machines,
            unknown_causes=counts.unknown_causes,
        ),
        level=LEVEL,
        moved=_in_order(lesson.modes, parts),
        kinds=_in_order(lesson.kinds, parts),
        apart={frame: _in_order(moved, parts) for frame, moved in lesson.frames.items()},
        conflicts=tuple(_moved(each, parts) for each in lesson.conflicts),
    )


def _in_order(moved: Sequence[Moved], parts: Mapping[str, PartKind]) -> tuple[MovedReport, ...]:
    most = sorted(moved, key=lambda each: -max(each.times, 1 / each.times))
    return tuple(_moved(each, parts) for each in most)


def _moved(moved: Moved, parts: Mapping[str, PartKind]) -> MovedReport:
    low, high = moved.after.interval()
    return MovedReport(
        id=f"{moved.kind}:{moved.mode}" if moved.mode else moved.kind,
        says=", ".join(_names(moved, parts[moved.kind])),
        shipped=moved.before.mean,
        weighs=moved.before.exposure,
        learned=moved.after.mean,
        low=low,
        high=high,
        times=moved.times,
        found=moved.found,
        expected=moved.expected,
        part_cases=moved.part_cases,
        tail=moved.tail,
        conflict=moved.conflict,
    )


def _names(moved: Moved, kind: PartKind) -> Iterator[str]:
    yield kind.name
    yield kind.mode(moved.mode).name if moved.mode else "all modes together"
