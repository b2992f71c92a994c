"""The manual page of a word."""

from __future__ import annotations

from diagnose.faces.manual.pages import page
from diagnose.faces.words import sentence
from diagnose.knowledge.words import Word


def word_page(name: str, word: Word) -> str:
    """What a word means.

    >>> print(word_page("fold", Word(says="where a wing hinges")))
    # fold
    <BLANKLINE>
    ## What it means
    <BLANKLINE>
    Where a wing hinges.
    """
    return page(name, ("What it means", sentence(word.says)))
