"""Text in files: its encoding, faults in it, and numbers that people write."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import islice
from math import inf, isfinite
from pathlib import Path

from matchkit.errors import InputError, nearest, system_words

LARGEST_BYTES = 10_000_000  # 40,000 spectra; a shop measures some thousand a year
SIGNATURES = {  # how files begin that are sent by mistake
    b"PK\x03\x04": "a spreadsheet workbook or a zip archive; save the sheet as CSV",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet workbook; save the sheet as CSV",
    b"%PDF": "a PDF; export the numbers as CSV",
}
# Control characters, line separators, and marks that make text read backwards.
_UNSEEN = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")


@dataclass(frozen=True, kw_only=True)
class Findings:
    """What there is to say about a file: with faults it is refused, notes are said aloud.

    The lists fill while the file is read; the first line is the first fault.
    """

    file: str
    faults: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def read_bytes(path: Path, file: str = "") -> bytes:
    """All of a file, or the reason why not; `file` is its name in messages."""
    name = file or label(path)
    try:
        if not path.is_file():
            if path.is_dir():
                raise InputError(f"{name}: is a folder; a file is expected")
            raise InputError(f"{name}: not found{_neighbour(path)}")
        size = path.stat().st_size
        content = path.read_bytes() if size <= LARGEST_BYTES else b""
    except OSError as error:
        raise InputError(f"{name}: cannot be read: {system_words(error)}") from None
    if size > LARGEST_BYTES:
        raise InputError(f"{name}: larger than {LARGEST_BYTES // 1_000_000} MB; split it")
    if not content.strip():
        raise InputError(f"{name}: the file is empty")
    return content


def read_text(path: Path, file: str = "") -> str:
    """The text of a file: UTF-8, or UTF-16 that begins with its mark."""
    name = file or label(path)
    return text_of(read_bytes(path, name), name)


def text_of(content: bytes, name: str) -> str:
    """The text in the bytes of a file, named `name` in faults."""
    for signature, what in SIGNATURES.items():
        if content.startswith(signature):
            raise InputError(f"{name}: this is {what}")
    wide = content[:2] in (b"\xff\xfe", b"\xfe\xff")
    if b"\x00" in content and not wide:
        raise InputError(f"{name}: a binary file, or UTF-16 without its mark; save it as CSV UTF-8")
    try:
        text = content.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        row = content.count(b"\n", 0, error.start) + 1
        raise InputError(
            f"{name} row {row}: not UTF-8 text (byte {content[error.start]:#04x});"
            " save the file as CSV UTF-8"
        ) from None
    if "\x00" in text:
        raise InputError(f"{name}: a binary file, not text; save it as CSV UTF-8")
    return text


def text_fault(text: str) -> str:
    """Why `text` cannot be a name or a remark, or an empty string.

    >>> text_fault("Lemon"), text_fault("Lem\\ton")[:13]
    ('', "'Lem\\\\ton' hol")
    """
    if not text.isprintable() and _UNSEEN.search(text):
        return f"{quoted(text)} holds a line break or an invisible character; type it anew"
    return ""


def encoding_mark(path: Path) -> str:
    """The mark that some spreadsheets need at the start, where a file has one of any encoding."""
    return "\ufeff" if path.read_bytes()[:1] in (b"\xef", b"\xff", b"\xfe") else ""


def label(path: Path) -> str:
    """The name of a file as it stands in a message, on one line."""
    return _UNSEEN.sub("?", path.name or str(path))


def _neighbour(path: Path) -> str:
    """A file of nearly the same name in the same folder."""
    try:
        names = {other.name.casefold(): other.name for other in islice(path.parent.iterdir(), 1000)}
    except OSError:
        return ""
    near = names.get(nearest(path.name.casefold(), names))
    return f"; there is a {quoted(near)}: rename it?" if near not in ("", None, path.name) else ""


LONGEST = 64  # characters; no measured number is longer

# Digits are 0-9 only.  Written so that a failed match takes linear time.
_POINT = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_COMMA = re.compile(_POINT.pattern.replace(r"\.", ","))
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_BLANKS = "[ \u00a0\u2009\u202f]"
_GROUPED = re.compile(rf"[+-]?[1-9][0-9]{{0,2}}(?:{_BLANKS}[0-9]{{3}})+(?:[.,][0-9]*)?")
_FORMULA = re.compile("(?s)'*[=+@\t\r-].")
_SIGNED = re.compile(r"[+-](?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
FACTOR = 10.0  # a weight further from the planned one is no reading of it


def number(text: str, decimal: str = ".") -> float:
    """The number that a cell holds, with `decimal` as its mark; blanks may group thousands.

    Raises `InputError` with the reason: no place, the caller knows it.

    >>> number(" 12,5 ", ","), number("1 000")
    (12.5, 1000.0)
    """
    text = text.strip()
    mark = _COMMA if decimal == "," else _POINT
    plain = text
    if len(text) <= LONGEST and (mark.fullmatch(text) or mark.fullmatch(plain := ungrouped(text))):
        value = float(plain.replace(",", "."))
        if isfinite(value):
            return value
    raise InputError(_why_not(text, decimal))


def plain_numbers(cells: Sequence[str], decimal: str) -> list[float]:
    """The numbers in many cells, as `number` reads each; none where one may be no plain number.

    Long tables are nearly always plain, and read at once take half the time.
    """
    mark = _COMMA if decimal == "," else _POINT
    if not (cells and all(map(mark.fullmatch, cells))):
        return []
    values = list(map(float, "\n".join(cells).replace(",", ".").split("\n")))
    sound = max(map(len, cells)) <= LONGEST and all(map(isfinite, values))
    return values if sound else []


def parse_amount(
    text: str, *, most: float = inf, planned: float | None = None, beside: Iterable[str] = ()
) -> float:
    """A weight or a percentage that was typed: 12.5 and 12,5 are the same.

    ``1.000`` and ``1,000`` are refused, since each may be 1 or 1000, unless 1000 is over
    `most`, one of the two is near what was `planned`, or a number `beside` it has the same
    decimal mark.

    >>> parse_amount("12,5"), parse_amount("1 000"), parse_amount("2.500", beside=["12.5"])
    (12.5, 1000.0, 2.5)
    """
    text = text.strip().replace("\N{MINUS SIGN}", "-")
    if "e" in text.lower():
        raise InputError(f"{quoted(text)} is not a plain number; write digits only, such as 12.5")
    amount = number(text, "," if "," in text else ".")
    if amount < 0:
        raise InputError(f"{quoted(text)} is negative; an amount is 0 or more")
    fault = two_ways(text)
    if not fault or 1000 * amount > most:
        return amount
    if planned is not None:
        for value in (amount, 1000 * amount):
            if planned / FACTOR <= value <= planned * FACTOR:
                return value
    mark = "," if "," in text else "."
    if any(mark in other and _tells(other.strip()) for other in beside):
        return amount
    raise InputError(fault)


def typed(amount: float, digits: int = 10) -> str:
    """An amount as a program fills it in: a zero more where it could be read in two ways.

    >>> typed(12.5), typed(12.345)
    ('12.5', '12.3450')
    """
    text = f"{amount:.{digits}g}"
    return f"{text}0" if _THOUSANDS.fullmatch(text) else text


def ungrouped(text: str) -> str:
    """A number without the blanks that group its thousands; any other text as it is."""
    return re.sub(_BLANKS, "", text) if _GROUPED.fullmatch(text) else text


def two_ways(text: str) -> str:
    """Why a number may be another one a thousand times as large, or an empty text.

    >>> two_ways("2.500"), two_ways("0.500")
    ("'2.500' can be read as 2500 or as 2.5; write 2500 or 2.5", '')
    """
    if not _THOUSANDS.fullmatch(text):
        return ""
    plain, point = re.sub("[.,]", "", text), typed(float(text.replace(",", ".")))
    written = point.replace(".", "," if "," in text else ".")
    return f"{quoted(text)} can be read as {plain} or as {written}; write {plain} or {written}"


def decimal_mark(cells: Iterable[str], separator: str = ",", *, reflectance: bool = False) -> str:
    """The mark that the numbers of one file share, ``"."`` or ``","``.

    All cells are asked, since one cell may not tell: ``1,234`` beside ``0,5`` is
    1.234, alone it is refused.  So is ``1.234`` alone between semicolons or tabs, which
    are used where points group thousands.  No `reflectance` is in the thousands, so
    there ``50,641`` is always 50.641.

    >>> decimal_mark(["12,5", "1,234", "7"]), decimal_mark(["50,641"], ";", reflectance=True)
    (',', ',')
    """
    commas, points, cells = [], [], list(cells)
    together = "\n".join(cells)
    if "," not in together and (reflectance or separator not in ";\t"):
        return "."
    for cell in cells:
        if "," in cell and (_COMMA.fullmatch(cell) or _COMMA.fullmatch(ungrouped(cell))):
            commas.append(cell)
        elif "." in cell and (_POINT.fullmatch(cell) or _POINT.fullmatch(ungrouped(cell))):
            points.append(cell)
    if commas and points:
        raise InputError(
            f"{quoted(commas[0])} and {quoted(points[0])} use two decimal marks;"
            " write all numbers with one, without marks between thousands"
        )
    doubtful = commas or (points if separator in ";\t" else [])
    if doubtful and not reflectance and all(map(_THOUSANDS.fullmatch, doubtful)):
        raise InputError(f"{two_ways(doubtful[0])}, for no other number in the file tells which")
    return "," if commas else "."


def _tells(text: str) -> bool:
    """Whether the mark in a number can only be a decimal one."""
    mark = _COMMA if "," in text else _POINT
    return mark.fullmatch(ungrouped(text)) is not None and not _THOUSANDS.fullmatch(text)


def shielded(cell: object) -> object:
    """A text that a spreadsheet would run as a formula, with a mark before it; else as it is.

    >>> shielded("=1+1"), shielded("-0.02"), shielded("Red")
    ("'=1+1", '-0.02', 'Red')
    """
    if isinstance(cell, str) and _FORMULA.match(cell) and not _SIGNED.fullmatch(cell):
        return f"'{cell}"
    return cell


def unshielded(cell: str) -> str:
    """The text that `shielded` was given.

    >>> unshielded("'=1+1"), unshielded("'s-Gravenhage")
    ('=1+1', "'s-Gravenhage")
    """
    return cell[1:] if cell[:1] == "'" and _FORMULA.match(cell[1:]) else cell


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
