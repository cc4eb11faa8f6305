"""What an option may be: types for argparse, which names the option and says what was found."""

import argparse
from collections.abc import Callable
from math import inf, isfinite

__all__ = ["between", "number", "positive", "whole"]


def number(text: str) -> float:
    """A number with a decimal point.

    >>> number("2.5")
    2.5
    """
    return _read(text, "a number with a decimal point")


def positive(text: str) -> float:
    """A number above 0."""
    value = number(text)
    if value <= 0:
        raise _found(text, "a number above 0")
    return value


def between(low: float, high: float, words: str = "") -> Callable[[str], float]:
    """The type of a number from `low` to `high`, which `words` tell otherwise."""

    def read(text: str) -> float:
        value = number(text)
        if not low <= value <= high:
            raise _found(text, words or f"{low:g} to {high:g}")
        return value

    return read


def whole(low: float = 1, high: float = inf) -> Callable[[str], int]:
    """The type of a whole number from `low` to `high`."""

    def read(text: str) -> int:
        what = "a whole number"
        if high < inf:
            what += f" from {low:g} to {high:g}"
        elif low:
            what += f", {low:g} or more"
        value = _read(text, what)
        if value != int(value) or not low <= value <= high:
            raise _found(text, what)
        return int(value)

    return read


def _read(text: str, what: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = inf
    if not isfinite(value):
        raise _found(text, what)
    return value


def _found(text: str, what: str) -> argparse.ArgumentTypeError:
    return argparse.ArgumentTypeError(f"found {text!r}, need {what}")
