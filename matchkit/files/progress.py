"""A learner's answers: a plain file of one JSON object a line, oldest first."""

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from matchkit.errors import InputError, raise_any
from matchkit.files.text import label
from matchkit.files.write import write_file
from matchkit.practice import colour, exercise, kinds

SUFFIX = "-practice.jsonl"
# What a line holds; files have called the level "rung" from the first release on.
KINDS_OF = {"kind": str, "seed": int, "rung": int, "choice": int, "right": bool, "score": float,
            "date": str, "gauge": str, "aided": bool, "axis": str, "times": float}  # fmt: skip
USUAL = {"date": "", "gauge": kinds.NUMBERS, "aided": False, "axis": "", "times": 0.0}
NAMES = {
    "kind": (*kinds.KINDS, kinds.JOB, kinds.CAUSE, kinds.POUR, kinds.BOOK),
    "gauge": (kinds.EYE, kinds.NUMBERS),
    "axis": ("", *colour.AXES),
}
MOST_TIMES = 1000.0
MOST = {"seed": kinds.MOST_SEED, "rung": colour.N_LEVELS - 1, "choice": len(exercise.LETTERS) - 1}


def progress_path(folder: str | Path, learner: str) -> Path:
    """The file of a learner in a folder: of one who is there already, capitals or not.

    InputError if the name can't be part of a file name.
    """
    name = " ".join(learner.split())
    if not name or set(name) & set('/\\:*?"<>|\0') or name.startswith(".") or len(name) > 60:
        raise InputError(
            f"learner: {learner!r} can't be part of a file name; take letters, figures, spaces"
        )
    wanted = f"{name}{SUFFIX}".casefold()
    there = (path for path in learner_files(folder) if path.name.casefold() == wanted)
    return next(there, Path(folder) / f"{name}{SUFFIX}")


def learner_files(folder: str | Path) -> list[Path]:
    """The files of all learners in a folder, by name."""
    found = Path(folder).glob(f"*{SUFFIX}") if Path(folder).is_dir() else ()
    return sorted(found, key=lambda path: path.name.casefold())


def read_progress(path: str | Path) -> list[kinds.Answered]:
    """All answers of a learner; none yet where there is no such file."""
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return []
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{label(path)}: cannot be read: {error}") from None
    answers, faults = [], []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        try:
            answers.append(_answered(json.loads(line)))
        except (ValueError, RecursionError) as error:
            told = "; ".join(error.faults) if isinstance(error, InputError) else "no JSON object"
            faults.append(f"{label(path)} line {number}: {told}; mend or remove the line")
    raise_any(faults)
    return answers


def add_progress(path: str | Path, answers: Sequence[kinds.Answered]) -> None:
    """Write the answers below those that are there, all or none."""
    path = Path(path)
    rows = map(_row, [*read_progress(path), *answers])
    lines = [json.dumps(row, ensure_ascii=False) for row in rows]
    write_file(path, "".join(f"{line}\n" for line in lines))


def _row(answered: kinds.Answered) -> dict[str, Any]:
    held = {key: value for key, value in asdict(answered).items() if value != USUAL.get(key, ...)}
    row = {"rung" if key == "level" else key: value for key, value in held.items()}
    return {**row, "date": answered.date}


def _answered(row: Any) -> kinds.Answered:
    """One answer from what its line holds."""
    if not isinstance(row, dict):
        raise InputError(
            f"found {row!r}, need an object with kind, seed, rung, choice, right, score"
        )
    row = {**USUAL, **row}
    faults = [f"{name} is missing" for name in KINDS_OF if name not in row]
    faults += [
        f"{name}: found {row[name]!r}, need {_need(name)}"
        for name in KINDS_OF
        if name in row and not _fits(name, row[name])
    ]
    raise_any(faults)
    return kinds.Answered(level=row["rung"], **{k: row[k] for k in KINDS_OF if k != "rung"})


def _fits(name: str, value: Any) -> bool:
    wanted = KINDS_OF[name]
    if wanted in (int, float) and isinstance(value, bool):
        return False
    if wanted is float:
        most = 1 if name == "score" else MOST_TIMES
        return isinstance(value, int | float) and 0 <= value <= most
    if wanted is int:
        return isinstance(value, int) and 0 <= value <= MOST[name]
    return isinstance(value, wanted) and (name not in NAMES or value in NAMES[name])


def _need(name: str) -> str:
    if name in MOST:
        return f"a whole number from 0 to {MOST[name]}"
    if name in NAMES:
        return f"one of {', '.join(filter(None, NAMES[name]))}"
    words = {bool: "true or false", float: "a number from 0 to 1", str: "text"}
    return words[KINDS_OF[name]] if name != "times" else f"a number from 0 to {MOST_TIMES:g}"
