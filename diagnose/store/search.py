"""The full-text index of either database: the same words are found on both."""

from __future__ import annotations

from sqlalchemy import ColumnElement, Connection, bindparam, false, text

from diagnose.store.entry import words_in


def index(connection: Connection, number: int, words: list[str]) -> None:
    """Let the entry with this number be found by these words, and by no others."""
    if connection.dialect.name == "sqlite":
        connection.execute(text("DELETE FROM case_words WHERE rowid = :number"), {"number": number})
        statement = "INSERT INTO case_words (rowid, words) VALUES (:number, :words)"
        connection.execute(text(statement), {"number": number, "words": " ".join(words)})
    else:
        statement = "UPDATE case_entry SET words = array_to_tsvector(:words) WHERE number = :number"
        connection.execute(text(statement), {"number": number, "words": words})


def found_by(typed: str, dialect: str) -> ColumnElement[bool]:
    """The condition that an entry has every word that was typed; no words find nothing."""
    words = words_in(typed)
    if not words:
        return false()
    if dialect == "sqlite":
        query = " AND ".join(f'"{word}"' + _tail(word, "*") for word in words)
        condition = "number IN (SELECT rowid FROM case_words WHERE case_words MATCH :query)"
    else:
        query = " & ".join(f"'{word}'" + _tail(word, ":*") for word in words)
        condition = "words @@ CAST(:query AS tsquery)"
    return text(condition).bindparams(bindparam("query", query)).self_group()  # type: ignore[return-value]


def _tail(word: str, mark: str) -> str:
    """The mark that lets a word go on in what it finds; numbers are meant as they stand.

    >>> _tail("coil", "*"), _tail("6", "*")
    ('*', '')
    """
    return "" if word.isdigit() else mark
