"""The set of priors that was accepted: made from a lesson, written whole, put aside."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import shutil
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from diagnose.errors import InputError, Place, Problem, Unavailable
from diagnose.knowledge.parts import PartKind
from diagnose.knowledge.priors import SCHEMA, PriorSet, read_priors
from diagnose.knowledge.strictyaml import read_text
from diagnose.learning.update import Lesson, Moved

DIGITS = 6
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
    >>> from diagnose.learning.counts import Counts, Tally
    >>> moved = Moved("valve", "coil_open", Gamma(1, 100), 2, 100, 0.3, False)  # 3 in 200
    >>> lesson = Lesson(Counts({"": Tally(9)}), (moved,), (), {})
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
        f"schema: {SCHEMA}",
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
        priors = ", ".join(f"{each.mode}: {each.after.mean:.{DIGITS}g}" for each in own)
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
