"""The word somebody most likely meant."""

from collections.abc import Iterable
from difflib import get_close_matches


def nearest_word(word: str, known: Iterable[str]) -> str | None:
    """The known word nearest to `word`; None where none is near."""
    near = get_close_matches(word, list(known), n=1)
    return near[0] if near else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """The end of a message that asks for the nearest known word; empty where none is near."""
    near = nearest_word(word, known)
    return "" if near is None else f'; did you mean "{near}"?'
