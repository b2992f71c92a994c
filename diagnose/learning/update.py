"""Priors learned from counts, and the file in which accepted ones are kept."""

from __future__ import annotations

import hashlib
import json
import math
import os
import secrets
import shutil
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from diagnose.errors import InputError, Place, Problem, Unavailable
from diagnose.formats.strictyaml import read_text
from diagnose.knowledge.parts import PartKind
from diagnose.knowledge.priors import PRIORS_SCHEMA, PriorSet, read_priors
from diagnose.learning.conjugate import Gamma
from diagnose.learning.counts import Counts, ModeCounts, Weights
from diagnose.record import record

ALL_MODES = ""
"""Stands for all modes of a part kind together."""


@record
class Moved:
    """What closed cases do to one prior.

    Parameters
    ----------
    kind, mode: which prior; the mode is "" for all modes of the kind together.
    before: the belief as shipped.
    found, part_cases: what was counted.
    tail: how likely it was, as shipped, to find what is at least as far out.
    conflict: whether that is so unlikely that the prior is in doubt.
    """

    kind: str
    mode: str
    before: Gamma
    found: int
    part_cases: int
    tail: float
    conflict: bool

    @property
    def after(self) -> Gamma:
        """The belief with the closed cases.

        >>> Moved("valve", "leaking", Gamma(1, 100), 2, 50, 0.3, False).after
        Gamma(shape=3, exposure=150)
        """
        return self.before.seen(self.found, self.part_cases)

    @property
    def expected(self) -> float:
        """How many the shipped prior would have expected.

        >>> Moved("valve", "leaking", Gamma(1, 100), 2, 50, 0.3, False).expected  # 1 in 100, of 50
        0.5
        """
        return self.before.mean * self.part_cases

    @property
    def times(self) -> float:
        """The new prior as a multiple of the shipped one.

        >>> Moved("valve", "leaking", Gamma(1, 100), 2, 50, 0.3, False).times  # 0.02 from 0.01
        2.0
        """
        return self.after.mean / self.before.mean


@record
class Lesson:
    """What closed cases teach, for the fleet and for frames that differ from it.

    ``kinds`` has all modes of a kind together; ``frames`` only the modes that are learned apart.
    """

    counts: Counts
    modes: tuple[Moved, ...]
    kinds: tuple[Moved, ...]
    frames: Mapping[str, tuple[Moved, ...]]

    @property
    def conflicts(self) -> tuple[Moved, ...]:
        """What contradicts the shipped priors, in the fleet.

        >>> usual = Moved("valve", "coil_open", Gamma(1, 100), 1, 100, 0.6, False)
        >>> odd = Moved("valve", "leaking", Gamma(1, 100), 12, 100, 0.0002, True)
        >>> [each.mode for each in Lesson(Counts(), (usual, odd), (), {}).conflicts]
        ['leaking']
        """
        return tuple(each for each in (*self.kinds, *self.modes) if each.conflict)


def learn(counts: Counts, parts: Mapping[str, PartKind], weights: Weights) -> Lesson:
    """What the counts make of the shipped priors of these part kinds.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.learning.counts import load_weights
    >>> learn(Counts(), load_knowledge().parts, load_weights()).modes
    ()
    >>> from collections import Counter
    >>> tally = ModeCounts(9, Counter(valve=500), Counter({("valve", "coil_open"): 1}))
    >>> shipped = load_knowledge(learned=False).parts
    >>> coil = learn(Counts({"": tally}), shipped, load_weights()).modes[0]
    >>> round(coil.before.mean, 6), round(coil.after.mean, 6)  # 0.6 / 500, then 1.6 / 1000
    (0.0012, 0.0016)
    """
    fleet = counts.fleet
    known = [kind for name, kind in parts.items() if fleet.part_cases[name]]
    beliefs = [(k.id, m.id, weights.belief(k, m)) for k in known for m in k.modes]
    whole = [(k.id, ALL_MODES, weights.belief(k)) for k in known if len(k.modes) > 1]
    modes = tuple(_moved(*each, fleet, weights.surprise) for each in beliefs)
    kinds = tuple(_moved(*each, fleet, weights.surprise) for each in whole)
    return Lesson(counts, modes, kinds, dict(_apart(modes, counts.frames, weights)))


def _moved(kind: str, mode: str, before: Gamma, tally: ModeCounts, surprise: float) -> Moved:
    if mode == ALL_MODES:
        found = sum(times for (each, _), times in tally.found.items() if each == kind)
    else:
        found = tally.found[kind, mode]
    tail = before.tail(found, tally.part_cases[kind])
    return Moved(kind, mode, before, found, tally.part_cases[kind], tail, tail < surprise)


def _apart(
    modes: Sequence[Moved], frames: Mapping[str, ModeCounts], weights: Weights
) -> Iterator[tuple[str, tuple[Moved, ...]]]:
    """By frame, the modes whose rates clearly differ between frames."""
    tallies = [tally for tally in frames.values() if tally.cases]
    least = math.log(weights.apart)
    differ = [each for each in modes if _log_ratio(each, tallies) > least]
    for frame, tally in frames.items():
        own = tuple(
            _moved(each.kind, each.mode, each.before, tally, weights.surprise)
            for each in differ
            if tally.part_cases[each.kind]
        )
        if frame and own:
            yield frame, own


def _log_ratio(moved: Moved, tallies: Sequence[ModeCounts]) -> float:
    """How much likelier the counts are with a rate for each frame than with one for all (log).

    The chances of Poisson counts under Gamma beliefs, their common factors left out.
    """
    counted = [(t.found[moved.kind, moved.mode], t.part_cases[moved.kind]) for t in tallies]
    pooled = _log_weight(moved.before, moved.found, moved.part_cases)
    return math.fsum(_log_weight(moved.before, *each) for each in counted) - pooled


def _log_weight(belief: Gamma, count: int, exposure: float) -> float:
    after = belief.seen(count, exposure)
    return (
        math.lgamma(after.shape)
        - math.lgamma(belief.shape)
        + belief.shape * math.log(belief.exposure)
        - after.shape * math.log(after.exposure)
    )


_DIGITS = 6
"""Figures that a learned prior is written with; the cases never say more."""


def accept(
    lesson: Lesson, parts: Mapping[str, PartKind], path: Path, by: str, at: datetime | None = None
) -> PriorSet:
    """Write the priors that a lesson teaches to a file; what was there is kept aside.

    ``parts`` are the part kinds as they ship. Raises `InputError` when there was no case to learn
    from, `FileProblems` when the priors cannot be used (nothing is written then), `Unavailable`
    when the file cannot be written.

    >>> from diagnose.learning.counts import Counts
    >>> accept(Lesson(Counts(), (), (), {}), {}, Path("priors.yaml"), "A")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    diagnose.errors.InputError: casebook: expected closed cases to learn from, got none; ...
    """
    if not lesson.counts.fleet.cases:
        wanted, remedy = "closed cases to learn from", "close some first; the shipped priors stay"
        raise InputError(Problem(Place("casebook"), wanted, "none", remedy))
    text = set_text(lesson, by, (at or datetime.now(UTC)).astimezone(UTC))
    made = read_priors(read_text(text, str(path)), parts)
    _write(path, text)
    return made


def set_text(lesson: Lesson, by: str, at: datetime) -> str:
    """The text of the set's file; the same cases give the same id on the same day.

    >>> from diagnose.learning.conjugate import Gamma
    >>> from diagnose.learning.counts import Counts, ModeCounts
    >>> moved = Moved("valve", "coil_open", Gamma(1, 100), 2, 100, 0.3, False)  # 3 in 200
    >>> lesson = Lesson(Counts({"": ModeCounts(9)}), (moved,), (), {})
    >>> set_text(lesson, "A. Helper", datetime(2026, 3, 1, tzinfo=UTC)).splitlines()[3:]
    ['by: "A. Helper"', 'cases: 9', 'parts:', '  valve: {coil_open: 0.015}']
    """
    body = [*_kinds("parts", lesson.modes, "")]
    if lesson.frames:
        body.append("frames:")
        for frame, moved in lesson.frames.items():
            body += _kinds(frame, moved, "  ")
    mark = hashlib.sha256("\n".join(body).encode()).hexdigest()[:6]
    head = [
        f"schema: {PRIORS_SCHEMA}",
        f"id: learned-{at:%Y%m%d}-{mark}",
        f"accepted: {json.dumps(at.isoformat(timespec='seconds'))}",
        f"by: {json.dumps(by, ensure_ascii=False)}",
        f"cases: {lesson.counts.fleet.cases}",
    ]
    return "\n".join([*head, *body]) + "\n"


def _kinds(name: str, moved: Sequence[Moved], indent: str) -> Iterator[str]:
    yield f"{indent}{name}:"
    for kind in dict.fromkeys(each.kind for each in moved):
        own = [each for each in moved if each.kind == kind]
        priors = ", ".join(f"{each.mode}: {each.after.mean:.{_DIGITS}g}" for each in own)
        yield f"{indent}  {kind}: {{{priors}}}"


def forget(path: Path) -> Path | None:
    """Put the accepted set aside, so that the shipped priors hold again; where it is kept now.

    None when there was none. Raises `Unavailable`.

    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     accepted = Path(folder, "priors.yaml")
    ...     accepted.touch()
    ...     print(forget(accepted).name, forget(accepted))
    priors-1.yaml None
    """
    if not path.exists():
        return None
    aside = _aside(path)
    try:
        path.rename(aside)
    except OSError as error:
        raise _refused(path, error) from error
    return aside


def _write(path: Path, text: str) -> None:
    """Beside its place first, so that the file is there whole or as it was."""
    beside = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with beside.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            shutil.copy2(path, _aside(path))
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise _refused(path, error) from error


def _aside(path: Path) -> Path:
    """A name beside it that is not taken: ``priors-1.yaml`` and so on."""
    number = 1
    while (taken := path.with_name(f"{path.stem}-{number}{path.suffix}")).exists():
        number += 1
    return taken


def _refused(path: Path, error: OSError) -> Unavailable:
    reason = (error.strerror or str(error)).lower()
    return Unavailable(f"{path}: expected a place that can be written, got {reason}")
