"""A value that cannot be used, before it is known where it stood."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence

from diagnose.errors import Place, Problem, offer, quoted


class Wrong(ValueError):
    """What was expected, what came and what to try; `at` adds the place.

    Readers of single values (chances, units, row ranges) raise it. Whoever knows the file
    or the argument turns it into a `Problem`.

    >>> print(Wrong("a chance", "'often'", "write usually").at(Place("valve.yaml", 4)))
    valve.yaml:4: expected a chance, got 'often'; write usually
    """

    def __init__(self, expected: str, got: str, remedy: str = "") -> None:
        super().__init__(f"expected {expected}, got {got}")
        self.expected, self.got, self.remedy = expected, got, remedy

    def at(self, where: Place) -> Problem:
        """The same complaint with its place.

        >>> Wrong("a row", "'x'").at(Place("mine.yaml", 2)).where.line
        2
        """
        return Problem(where, self.expected, self.got, self.remedy)


Path = tuple[str | int, ...]
"""The way to a value in a document: names and places in lists."""

FieldFault = tuple[Path, Wrong]
"""Something wrong inside a model, and the way to it in its document."""


def unknown(
    path: Path, what: str, name: str, known: Iterable[str], see: str = ""
) -> Iterator[FieldFault]:
    """A fault with near matches when ``name`` is not among the known names.

    ``see`` is the command that shows them all.

    >>> [(path, wrong)] = unknown(("remedy",), "a remedy", "replase", ["replace", "clean"])
    >>> wrong.remedy
    'did you mean replace?'
    """
    known = known if isinstance(known, Collection) else list(known)
    if name not in known:
        yield path, Wrong(what, quoted(name), offer(name, known, see))


def twins(path: Path, ids: Sequence[str]) -> Iterator[FieldFault]:
    """A fault for each id that stands in a list for a second time.

    >>> [path for path, wrong in twins(("modes",), ["open", "shut", "open"])]
    [('modes', 2, 'id')]
    """
    seen: set[str] = set()
    for place, name in enumerate(ids):
        if name in seen:
            yield (*path, place, "id"), Wrong("each id once", f"a second {name!r}", "rename one")
        seen.add(name)
