"""Numbers as people type them: one reading, or none.

A spreadsheet writes ``12.5`` or ``12,5`` by the country it stands in, and may
group thousands with the other mark.  Nothing here guesses: what can be read two
ways is refused with the reason.
"""

import re
from collections.abc import Iterable
from math import isfinite

from matchkit.errors import InputError

LONGEST = 64  # characters; no measured number is longer

# Digits are 0-9 only.  Written so that a failed match takes linear time.
_POINT = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_COMMA = re.compile(_POINT.pattern.replace(r"\.", ","))
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")


def number(text: str, decimal: str = ".") -> float:
    """The number that a cell holds, with `decimal` as its mark.

    Raises `InputError` with the reason: no place, the caller knows it.

    >>> number(" 12,5 ", ",")
    12.5
    """
    text = text.strip()
    if len(text) <= LONGEST and (_COMMA if decimal == "," else _POINT).fullmatch(text):
        value = float(text.replace(",", "."))
        if isfinite(value):
            return value
    raise InputError(_why_not(text, decimal))


def parse_amount(text: str) -> float:
    """A weight or a percentage typed into a form: 12.5 and 12,5 are the same.

    ``1,234`` is refused, for it may mean 1234.  ``1.234`` is read as 1.234: a
    balance shows three decimals, and few people type points between thousands.

    >>> parse_amount("12,5"), parse_amount("0,125")
    (12.5, 0.125)
    """
    text = text.strip().replace("\N{MINUS SIGN}", "-")
    if "," in text and _THOUSANDS.fullmatch(text):
        plain, point = text.replace(",", ""), text.replace(",", ".")
        raise InputError(f"{quoted(text)} can be read as {plain} or {point}; type one of these")
    if "e" in text.lower():
        raise InputError(f"{quoted(text)} is not a plain number; write digits only, such as 12.5")
    amount = number(text, "," if "," in text else ".")
    if amount < 0:
        raise InputError(f"{quoted(text)} is negative; an amount is 0 or more")
    return amount


def decimal_mark(cells: Iterable[str], separator: str = ",") -> str:
    """The mark that the numbers of one file share, ``"."`` or ``","``.

    All cells are asked, since one cell may not tell: ``1,234`` beside ``0,5`` is
    1.234, alone it is refused.  So is ``1.234`` alone between semicolons, which
    are used where points group thousands.

    >>> decimal_mark(["12,5", "1,234", "7"])
    ','
    """
    commas, points = [], []
    for cell in cells:
        if "," in cell and _COMMA.fullmatch(cell):
            commas.append(cell)
        elif "." in cell and _POINT.fullmatch(cell):
            points.append(cell)
    if commas and points:
        raise InputError(
            f"{quoted(commas[0])} and {quoted(points[0])} use two decimal marks;"
            " write all numbers with one, without marks between thousands"
        )
    doubtful = commas or (points if separator == ";" else [])
    if doubtful and all(map(_THOUSANDS.fullmatch, doubtful)):
        plain, point = re.sub("[.,]", "", doubtful[0]), doubtful[0].replace(",", ".")
        raise InputError(
            f"{quoted(doubtful[0])} can be read as {plain} or as {point}, and no other number"
            f" in the file tells which; write {plain}, or {doubtful[0]}0 with four decimals"
        )
    return "," if commas else "."


def quoted(text: str) -> str:
    """`text` as it stands in a message: one line, at most 40 characters of it."""
    return repr(text if len(text) <= 40 else text[:37] + "...")


def _why_not(text: str, decimal: str) -> str:
    """Why `text` is not a number, and what to do."""
    found, example = quoted(text), f"0{decimal}5"
    if not text:
        return f"nothing is there; write a number, such as {example}"
    if text.rstrip("%").rstrip() != text:
        return f"{found}: leave out the % and write the number alone"
    if len(re.findall("[.,]", text)) > 1 and not re.search("[^0-9.,+-]", text):
        return f"{found} has marks between thousands; write it without, such as 1234{decimal}5"
    if re.fullmatch(r"[+-]?[0-9]+([.,][0-9]*)?\s*[A-Za-zµ/]+", text):
        return f"{found}: leave out the unit and write the number alone"
    return f"{found} is not a number; write one such as {example}"
