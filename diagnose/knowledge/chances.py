"""Words for chances, and the numbers that they stand for."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from diagnose.errors import near_matches
from diagnose.knowledge.wrong import Wrong

WORDS: Mapping[str, float] = MappingProxyType(
    {"never": 0.0, "rarely": 0.1, "sometimes": 0.4, "usually": 0.8, "nearly always": 0.98}
)


def chance(value: object) -> float:
    """The chance that a word or a number from 0 to 1 stands for. Raises `Wrong` otherwise.

    >>> chance("usually"), chance(0.25)
    (0.8, 0.25)
    """
    if isinstance(value, str) and value in WORDS:
        return WORDS[value]
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 1:
        return float(value)
    near = near_matches(value, WORDS, most=1) if isinstance(value, str) else []
    words = ", ".join(WORDS)
    remedy = f"did you mean {near[0]}?" if near else f"use a number or one of: {words}"
    raise Wrong(got=repr(value), expected="a chance from 0 to 1", remedy=remedy)


def in_words(probability: float) -> str:
    """The word nearest to a chance, for people.

    >>> in_words(0.75), in_words(0.97)
    ('usually', 'nearly always')
    """
    return min(WORDS, key=lambda word: abs(WORDS[word] - probability))
