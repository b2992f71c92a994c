"""Luck that can be had again: numbers from a keyed hash of what was done, and how often.

The numbers depend on nothing else, so what is done in between changes none of them.
"""

from __future__ import annotations

from collections.abc import Iterable
from hashlib import blake2b

KEY = b"rowfault drill/1"
"""Makes the hash this program's own. It is no secret: it only keeps codes from being read."""

_LARGEST = float(2**53)


def digest(size: int, *words: str | bytes | int) -> bytes:
    """``size`` bytes that the words give, whatever they are.

    >>> digest(4, "a", 1) == digest(4, "a", 1), digest(4, "a", 1) == digest(4, "a1")
    (True, False)
    """
    found = blake2b(key=KEY, digest_size=size)
    for word in words:
        data = word if isinstance(word, bytes) else str(word).encode()
        found.update(len(data).to_bytes(4, "big") + data)
    return found.digest()


class KeyedRandom:
    """Numbers from 0 to 1, evenly spread, that some words give.

    >>> KeyedRandom("a", 1).random() == KeyedRandom("a", 1).random()
    True
    """

    def __init__(self, *words: str | bytes | int) -> None:
        self._words = words
        self._drawn = 0

    def random(self) -> float:
        """The next number.

        >>> luck = KeyedRandom("a")
        >>> numbers = [luck.random() for _ in range(1000)]
        >>> round(min(numbers), 1), round(sum(numbers) / 1000, 1), round(max(numbers), 1)
        (0.0, 0.5, 1.0)
        """
        self._drawn += 1
        number = int.from_bytes(digest(8, *self._words, "number", self._drawn), "big")
        return (number >> 11) / _LARGEST

    def pick(self, weights: Iterable[float]) -> int:
        """A place, as likely as its weight says; at least one weight is above 0.

        >>> KeyedRandom("x").pick([0.0, 2.0, 0.0])
        1
        """
        every = list(weights)
        spin = self.random() * sum(every)
        last = 0
        for place, weight in enumerate(every):
            if weight > 0:
                last = place
                if spin < weight:
                    break
            spin -= weight
        return last
