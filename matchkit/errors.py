"""What a person reads when something they handed in is wrong."""

import errno
import re
from collections.abc import Iterable, Sequence
from difflib import get_close_matches

SHOWN, MANY = 3, 6  # of more than MANY faults that are alike the first SHOWN are read in full

# What the system says about a path, in the words of who reads it.
_SYSTEM = {
    errno.EACCES: "may not be opened; ask for the right to read and to write it",
    errno.EPERM: "may not be opened; ask for the right to read and to write it",
    errno.EROFS: "lies on a disk that may only be read; name another place",
    errno.ENOENT: "not found",
    errno.ENOTDIR: "a file stands where a folder is expected; check the path",
    errno.EISDIR: "is a folder; a file is expected",
    errno.ENAMETOOLONG: "the name is longer than the disk allows, 255 characters; shorten it",
    errno.ELOOP: "links that go round in a circle; name the file itself",
    errno.ENOSPC: "the disk is full; make room",
}
_PATH_SHOWN = 80  # characters of a path, its end


class InputError(ValueError):
    """Every fault found in one go, one line each: where, what was found, what to do.

    >>> InputError(["inks.csv row 3: role is 'colur'; write white, black, clear or colour"]).faults
    ("inks.csv row 3: role is 'colur'; write white, black, clear or colour",)
    """

    def __init__(self, faults: Sequence[str] | str) -> None:
        self.faults = (faults,) if isinstance(faults, str) else tuple(faults)
        super().__init__("\n".join(self.faults))

    def _render_traceback_(self) -> list[str]:
        """What a notebook prints in place of a traceback, which asks for this by its name."""
        return briefly(self.faults)


def raise_any(faults: Sequence[str]) -> None:
    """Raise InputError with the faults, if there are any."""
    if faults:
        raise InputError(faults)


def plainly(error: BaseException) -> InputError | None:
    """An error of the system, the book or of arithmetic as what a person reads; else None.

    Doors ask it about whatever comes up, so that none of these ends in a traceback.

    >>> plainly(PermissionError(13, "Permission denied", "shop/inks.csv")).faults
    ('shop/inks.csv: may not be opened; ask for the right to read and to write it',)
    >>> plainly(KeyError("ours")) is None
    True
    """
    if isinstance(error, InputError):
        return error
    if isinstance(error, OSError) and error.filename is not None:
        path = re.sub(r"[^ -~\u00a0-\ud7ff\ue000-\U0010ffff]", "?", str(error.filename))
        shown = path if len(path) <= _PATH_SHOWN else f"...{path[-_PATH_SHOWN:]}"
        return InputError(f"{shown}: {system_words(error)}")
    if isinstance(error, OverflowError):
        return InputError(
            "a number or a date is too large or too small to work with; look at those that were"
            " given, and at those in the files"
        )
    if isinstance(error, RecursionError):
        return InputError("a file is nested too deeply to be read; export it anew")
    if type(error).__module__ == "sqlite3":
        return InputError(
            f"the record book can't do this: {error}; check it (`matchkit book SHOP check`)"
        )
    return None


def system_words(error: OSError) -> str:
    """What the system refuses, and what to do."""
    return _SYSTEM.get(error.errno or 0, "") or error.strerror or str(error)


def briefly(faults: Sequence[str]) -> list[str]:
    """Faults for reading: where many rows have one fault, the first few and the other rows.

    Alike are faults that differ in their row, and in what is quoted from it, alone; a hint at
    another name makes a fault one of its own.

    >>> briefly([f"a.csv row {row}: grams: nothing is there" for row in range(2, 13)])[2:]
    ['a.csv row 4: grams: nothing is there', 'a.csv rows 5-12: the same, 8 more']
    """
    alike: dict[tuple[str, str], list[int]] = {}
    keys = [_kind(fault) for fault in faults]
    for key, row in keys:
        alike.setdefault(key, []).append(row)
    lines: list[str] = []
    told: dict[tuple[str, str], int] = {}
    for fault, (key, _) in zip(faults, keys, strict=True):
        told[key] = told.get(key, 0) + 1
        if len(alike[key]) <= MANY or told[key] <= SHOWN:
            lines.append(fault)
        elif told[key] == SHOWN + 1:
            rest = alike[key][SHOWN:]
            lines.append(f"{key[0]} rows {_ranges(rest)}: the same, {len(rest)} more")
    return lines


def nearest(name: str, names: Iterable[str]) -> str:
    """The one of `names` that `name` is a slip of, capitals aside, or an empty string."""
    # Comparing takes time with the square of the length; no name is this long.
    if len(name) >= 100:
        return ""
    short = {other.casefold(): other for other in names if len(other) < 100}
    near = get_close_matches(name.casefold(), short, n=1, cutoff=0.75)
    return short[near[0]] if near else ""


def did_you_mean(name: str, names: Iterable[str]) -> str:
    """``; did you mean 'this'?`` for the nearest of `names`, or an empty string.

    >>> did_you_mean("Lemmon", ["White", "Lemon"])
    "; did you mean 'Lemon'?"
    """
    near = nearest(name, names)
    return f"; did you mean {near!r}?" if near else ""


def _kind(fault: str) -> tuple[tuple[str, str], int]:
    """File and words of a fault without its row and what it quotes, and the row (0: none)."""
    found = re.fullmatch(r"([^:']*?) row (\d+)\b(.*)", fault, re.DOTALL)
    if found is None:
        return (fault, ""), 0
    words = found[3] if "did you mean" in found[3] else re.sub(r"'[^']*'", "''", found[3])
    return (found[1], words), int(found[2])


def _ranges(rows: Sequence[int]) -> str:
    """Rows as a person writes them: 5-8, 11."""
    runs: list[list[int]] = []
    for row in sorted(set(rows)):
        if runs and row == runs[-1][1] + 1:
            runs[-1][1] = row
        else:
            runs.append([row, row])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)
