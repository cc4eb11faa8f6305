"""From a path to text, or to a line that says why not; and words for messages."""

import re
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from matchkit.errors import InputError, nearest, system_words
from matchkit.files.amounts import quoted

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
    """The same of what was read already."""
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
    if _UNSEEN.search(text):
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
