"""A learner's answers: a plain file of one JSON object a line, oldest first."""

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from matchkit.errors import InputError
from matchkit.files.text import label
from matchkit.files.write import write_file
from matchkit.practice.colour import N_LEVELS
from matchkit.practice.exercise import LETTERS
from matchkit.practice.kinds import KINDS, MOST_SEED, Answered

SUFFIX = "-practice.jsonl"
# What a line holds; files have called the level "rung" from the first release on.
KINDS_OF = {"kind": str, "seed": int, "rung": int, "choice": int, "right": bool, "score": float,
            "date": str}  # fmt: skip
MOST = {"seed": MOST_SEED, "rung": N_LEVELS - 1, "choice": len(LETTERS) - 1}


def progress_path(folder: str | Path, learner: str) -> Path:
    """The file of a learner in a folder; InputError if the name can't be part of a file name."""
    name = " ".join(learner.split())
    if not name or set(name) & set('/\\:*?"<>|\0') or name.startswith(".") or len(name) > 60:
        raise InputError(
            f"learner: {learner!r} can't be part of a file name; take letters, figures, spaces"
        )
    return Path(folder) / f"{name}{SUFFIX}"


def read_progress(path: str | Path) -> list[Answered]:
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
    if faults:
        raise InputError(faults)
    return answers


def add_progress(path: str | Path, answers: Sequence[Answered]) -> None:
    """Write the answers below those that are there, all or none."""
    path = Path(path)
    rows = map(_row, [*read_progress(path), *answers])
    lines = [json.dumps(row, ensure_ascii=False) for row in rows]
    write_file(path, "".join(f"{line}\n" for line in lines))


def _row(answered: Answered) -> dict[str, Any]:
    return {"rung" if key == "level" else key: value for key, value in asdict(answered).items()}


def _answered(row: Any) -> Answered:
    """One answer from what its line holds."""
    if not isinstance(row, dict):
        raise InputError(
            f"found {row!r}, need an object with kind, seed, rung, choice, right, score"
        )
    row = {"date": "", **row}
    faults = [f"{name} is missing" for name in KINDS_OF if name not in row]
    faults += [
        f"{name}: found {row[name]!r}, need {_need(name)}"
        for name in KINDS_OF
        if name in row and not _fits(name, row[name])
    ]
    if faults:
        raise InputError(faults)
    return Answered(level=row["rung"], **{k: row[k] for k in KINDS_OF if k != "rung"})


def _fits(name: str, value: Any) -> bool:
    wanted = KINDS_OF[name]
    if wanted in (int, float) and isinstance(value, bool):
        return False
    if wanted is float:
        return isinstance(value, int | float) and 0 <= value <= 1
    if wanted is int:
        return isinstance(value, int) and 0 <= value <= MOST[name]
    return isinstance(value, wanted) and (name != "kind" or value in KINDS)


def _need(name: str) -> str:
    if name in MOST:
        return f"a whole number from 0 to {MOST[name]}"
    words = {"kind": f"one of {', '.join(KINDS)}", "right": "true or false"}
    return words.get(name, "a number from 0 to 1" if name == "score" else "text")
