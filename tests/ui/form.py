"""Forms of JSON documents, written down part by part; each says where a document differs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

Form = Callable[[Any, str], Iterator[str]]


def names(forms: dict[str, Form]) -> Form:
    """An object with just these names."""

    def check(got: Any, at: str) -> Iterator[str]:
        if not isinstance(got, dict) or set(got) != set(forms):
            yield f"{at}: expected the names {sorted(forms)}, got {got}"
        else:
            for name, form in forms.items():
                yield from form(got[name], f"{at}.{name}")

    return check


def listed(form: Form) -> Form:
    """A list of such parts."""

    def check(got: Any, at: str) -> Iterator[str]:
        if not isinstance(got, list):
            yield f"{at}: expected a list, got {got}"
        else:
            for number, each in enumerate(got):
                yield from form(each, f"{at}[{number}]")

    return check


def either(*forms: Form) -> Form:
    """One of several forms; the nearest miss is told."""

    def check(got: Any, at: str) -> Iterator[str]:
        misses = [list(form(got, at)) for form in forms]
        yield from min(misses, key=len)

    return check


def number(low: float = 0.0, high: float = 1e6) -> Form:
    """A number in a range, its ends included."""

    def check(got: Any, at: str) -> Iterator[str]:
        real = isinstance(got, int | float) and not isinstance(got, bool)
        if not real or not low <= got <= high:
            yield f"{at}: expected a number from {low} to {high}, got {got}"

    return check


def one_of(*values: Any) -> Form:
    """One of these values."""

    def check(got: Any, at: str) -> Iterator[str]:
        if not any(got is value or (type(got) is type(value) and got == value) for value in values):
            yield f"{at}: expected one of {values}, got {got}"

    return check


def text(got: Any, at: str) -> Iterator[str]:
    """Words."""
    if not isinstance(got, str) or not got:
        yield f"{at}: expected words, got {got!r}"


def whole(got: Any, at: str) -> Iterator[str]:
    """A whole number."""
    if type(got) is not int:
        yield f"{at}: expected a whole number, got {got!r}"


flag, nothing = one_of(True, False), one_of(None)
