"""The base of all data models, and how a file becomes one with every problem reported at once.

A chance is a number from 0 to 1 or one of five words.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, TypeVar, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints
from pydantic import ValidationError as PydanticError
from pydantic_core import ErrorDetails

from diagnose.errors import MOST_COMPARED, FileProblems, Problem, near_matches, quoted
from diagnose.formats.strictyaml import Document, read_file
from diagnose.formats.value_problem import FieldFault, Wrong
from diagnose.record import record

CHANCE_WORDS: Mapping[str, float] = MappingProxyType(
    {"never": 0.0, "rarely": 0.1, "sometimes": 0.4, "usually": 0.8, "nearly always": 0.98}
)


def _chance(value: object) -> float:
    """The chance that a word or a number from 0 to 1 stands for. Raises `Wrong` otherwise.

    >>> _chance("usually"), _chance(0.25)
    (0.8, 0.25)
    """
    if isinstance(value, str) and value in CHANCE_WORDS:
        return CHANCE_WORDS[value]
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 1:
        return float(value)
    near = near_matches(value, CHANCE_WORDS, most=1) if isinstance(value, str) else []
    words = ", ".join(CHANCE_WORDS)
    remedy = f"did you mean {near[0]}?" if near else f"use a number or one of: {words}"
    raise Wrong(got=repr(value), expected="a chance from 0 to 1", remedy=remedy)


def _in_words(probability: float) -> str:
    """The word nearest to a chance, for people.

    >>> _in_words(0.75), _in_words(0.97)
    ('usually', 'nearly always')
    """
    return min(CHANCE_WORDS, key=lambda word: abs(CHANCE_WORDS[word] - probability))


Chance = Annotated[float, BeforeValidator(_chance)]
"""A number from 0 to 1, or one of the words for chances."""

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Minutes = Annotated[float, Field(strict=True, ge=0, le=10_000, allow_inf_nan=False)]
Whole = Annotated[int, Field(strict=True)]
Flag = Annotated[bool, Field(strict=True)]
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
Id = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=60)]
ModeId = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(_[a-z0-9]+)*$", max_length=60)]

_SHAPES = {
    r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$": "small letters, digits and single hyphens (section-2)",
    r"^[a-z][a-z0-9]*(_[a-z0-9]+)*$": "small letters, digits and single underscores (coil_open)",
}
_EXPECTED = {
    "dict_type": "names with values",
    "list_type": "a list",
    "tuple_type": "a list",
    "model_type": "names with values",
    "dataclass_type": "names with values",
    "mapping_type": "names with values",
    "string_type": "text",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "bool_type": "true or false",
    "string_too_short": "some text",
    "too_short": "at least one",
}
TAG = "kind"
"""The field that says which of several models is meant."""

_UNKNOWN = ("extra_forbidden", "unexpected_keyword_argument")
"""What pydantic calls a field that a model, or a dataclass, does not have."""

_LIMITS = ("greater_than", "greater_than_equal", "less_than", "less_than_equal")


class Strict(BaseModel):
    """A frozen model that refuses fields which it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    def faults(self) -> Iterator[FieldFault]:
        """What is wrong between fields, though each alone is right; overridden where needed."""
        yield from ()


_Model = TypeVar("_Model", bound=BaseModel)


def read_model(path: Path | str, kind: type[_Model]) -> _Model:
    """The file as a ``kind``. Raises `FileProblems` with everything that is wrong in it.

    >>> from diagnose.paths import shipped
    >>> from diagnose.knowledge.checks import Setup
    >>> read_model(shipped().setups / "parked.yaml", Setup).enter_minutes
    0.0
    """
    document = read_file(path)
    model, problems = check_model(document, kind)
    if model is None or problems:
        raise FileProblems(problems)
    return model


def check_model(document: Document, kind: type[_Model]) -> tuple[_Model | None, list[Problem]]:
    """The document as a ``kind`` as far as possible, and all its problems in order of line.

    Unknown fields do not hide other problems: they are reported and left out.

    >>> from diagnose.knowledge.circumstances import Ask
    >>> from diagnose.formats.strictyaml import read_text
    >>> ask, problems = check_model(read_text("question: How warm?", "mine.yaml"), Ask)
    >>> print(*problems)
    mine.yaml:1: expected the field 'minutes' in the file, got nothing; add it
    """
    problems = list(document.problems)
    model, details = _validated(document.data, kind)
    unknown = [
        _Way.along(error["loc"], kind).steps for error in details if error["type"] in _UNKNOWN
    ]
    if unknown:
        model, _ = _validated(_without(document.data, unknown), kind)
    problems += [
        _problem(error, document, kind, near=place < MOST_COMPARED)
        for place, error in enumerate(details)
    ]
    if isinstance(model, Strict):
        problems += [wrong.at(document.place(path)) for path, wrong in model.faults()]
    return model, in_order(problems)


def in_order(problems: Sequence[Problem]) -> list[Problem]:
    """Problems sorted by file and line.

    >>> from diagnose.errors import Place
    >>> [p.where.line for p in in_order([Problem(Place("a", n), "x", "y") for n in (3, 1)])]
    [1, 3]
    """
    return sorted(problems, key=lambda problem: (problem.where.source, problem.where.line or 0))


def _validated(data: object, kind: type[_Model]) -> tuple[_Model | None, list[ErrorDetails]]:
    try:
        return kind.model_validate(data), []
    except PydanticError as error:
        return None, _without_echoes(error.errors(include_url=False))


def _without_echoes(details: list[ErrorDetails]) -> list[ErrorDetails]:
    """Leave out that a list is too short when an item of it was refused."""
    paths = [error["loc"] for error in details]
    return [
        error
        for error in details
        if error["type"] != "too_short"
        or not any(
            len(path) > len(error["loc"]) and path[: len(error["loc"])] == error["loc"]
            for path in paths
        )
    ]


def _without(data: Any, paths: Sequence[tuple[str | int, ...]]) -> Any:
    data = copy.deepcopy(data)
    for path in paths:
        holder = data
        for step in path[:-1]:
            holder = holder[step]
        del holder[path[-1]]
    return data


@record
class _Way:
    """The way that pydantic tells of, through the models that the data were read as."""

    steps: tuple[str | int, ...]
    models: tuple[type, ...]

    @classmethod
    def along(cls, path: Sequence[str | int], kind: type) -> _Way:
        """The way without the names that pydantic adds where one of several models was meant.

        ``models`` are those that may stand at its end.
        """
        steps: list[str | int] = []
        models: tuple[type, ...] = (kind,)
        for step in path:
            meant = tuple(each for each in models if _tag_of(each) == step)
            if len(models) > 1 and meant:
                models = meant
                continue
            steps.append(step)
            if isinstance(step, str):
                models = tuple(inner for each in models for inner in _models_at(each, step))
        return cls(tuple(steps), models)


def _problem(
    error: ErrorDetails, document: Document, kind: type[BaseModel], near: bool = True
) -> Problem:
    path = _Way.along(error["loc"], kind).steps
    where = document.place(path)
    cause = error.get("ctx", {}).get("error")
    if isinstance(cause, Wrong):
        return cause.at(where)
    if error["type"] in _UNKNOWN:
        return _unknown_field(path, document, _fields_at(kind, error["loc"][:-1]), near)
    if error["type"] == "missing":
        return Problem(where, f"the field {path[-1]!r} in {_way(path[:-1])}", "nothing", "add it")
    return Problem(where, f"{_expected(error)} for {_way(path)}", _shown(error["input"]))


def _expected(error: ErrorDetails) -> str:
    context: Mapping[str, Any] = error.get("ctx", {})
    if error["type"] == "string_pattern_mismatch":
        return _SHAPES.get(context["pattern"], f"text like {context['pattern']}")
    if error["type"] in _EXPECTED:
        return _EXPECTED[error["type"]]
    said = error["msg"].removeprefix("Input should be ").removeprefix("Value error, ")
    return f"a number {said}" if error["type"] in _LIMITS else said


def _unknown_field(
    path: tuple[str | int, ...], document: Document, known: Sequence[str], compare: bool
) -> Problem:
    name = str(path[-1])
    near = near_matches(name, known, most=1) if compare else []
    remedy = f"did you mean {near[0]}?" if near else "leave it out"
    expected = f"one of the fields {', '.join(known)}"
    return Problem(document.place(path), expected, quoted(name), remedy)


def _fields_at(kind: type, path: Sequence[str | int]) -> list[str]:
    holder = _Way.along(path, kind).models[0]
    return list(_annotations(holder))


def _models_at(kind: type, step: str) -> list[type]:
    """The models that a field, by its name in the file, may hold."""
    return _models_inside(_annotations(kind).get(step))


def _annotations(kind: type) -> Mapping[str, Any]:
    """The fields of a model or a dataclass by their names in the file, with what they may hold.

    A dataclass says so itself, in ``file_fields``.
    """
    if issubclass(kind, BaseModel):
        return {field.alias or name: field.annotation for name, field in kind.model_fields.items()}
    told: Mapping[str, Any] = getattr(kind, "file_fields")()  # noqa: B009
    return told


def _tag_of(kind: type) -> object:
    if issubclass(kind, BaseModel):
        return kind.model_fields[TAG].default if TAG in kind.model_fields else None
    return getattr(kind, TAG, None)


def _models_inside(annotation: Any) -> list[type]:
    if isinstance(annotation, type) and (
        issubclass(annotation, BaseModel) or hasattr(annotation, "file_fields")
    ):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models_inside(part)]


def _way(path: Sequence[str | int]) -> str:
    """The way to a value for people; items of lists are counted from 1."""
    steps = [f"item {step + 1}" if isinstance(step, int) else step for step in path]
    return ", ".join(steps) or "the file"


def _shown(value: object) -> str:
    if isinstance(value, dict):
        return "names with values"
    if isinstance(value, list):
        return "a list"
    if value is None:
        return "nothing"
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
