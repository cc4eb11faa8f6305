"""``matchkit practice``: exercises to print, answers to mark, a learner's progress."""

import argparse
from collections.abc import Sequence
from datetime import date
from typing import Any

from matchkit.cli.outputs import page
from matchkit.cli.terminal import json_option, number_of, print_json, say
from matchkit.errors import InputError
from matchkit.files.progress import add_progress, read_progress
from matchkit.files.write import write_file
from matchkit.practice.colour import N_RUNGS
from matchkit.practice.exercise import LETTERS, Exercise, choice_of, mark
from matchkit.practice.kinds import (
    KINDS,
    Answered,
    Standing,
    answer,
    exercise,
    from_code,
    next_seed,
    standing,
)
from matchkit.practice.sheet import answers_text, exercises_text, sheet_html, standing_text
from matchkit.practice.simulated_shop import room

MOST = 20  # exercises of one kind on one sheet


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument(
        "--kind", action="append", choices=KINDS, help="only this kind; may be given again"
    )
    parser.add_argument("--count", default="2", metavar="N", help="exercises of each kind (2)")
    parser.add_argument("--seed", metavar="N", help="other exercises for another number (1)")
    parser.add_argument(
        "--rung", metavar="N", help=f"how hard, 0 to {N_RUNGS - 1} (the learner's, else 0)"
    )
    parser.add_argument("--learner", metavar="FILE", help="the learner's answers, a plain file")
    parser.add_argument("--sheet", type=page, metavar="FILE", help="write a page to print there")
    parser.add_argument(
        "--answers", action="store_true", help="the answers too, on pages of their own with --sheet"
    )
    parser.add_argument(
        "--mark",
        nargs="+",
        metavar="CODE=LETTER",
        help="mark answers, such as see-1-0=b; with --learner they are kept",
    )
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Make exercises, or mark answers."""
    done = read_progress(args.learner) if args.learner else []
    if args.mark:
        _mark(args, done)
        return
    made = _exercises(args, done)
    standings = [standing(kind, done) for kind in KINDS] if args.learner else []
    if args.sheet:
        write_file(args.sheet, sheet_html(made, answers=args.answers))
        say(f"written: {args.sheet}")
    if args.json:
        print_json(
            {
                "exercises": [_exercise_json(each) for each in made],
                "standing": [_standing_json(each) for each in standings],
            }
        )
        return
    if not args.sheet:
        print(exercises_text(made))
    if args.answers and not args.sheet:
        print(f"\nAnswers\n\n{answers_text(made)}")
    if standings:
        print(f"\n{standing_text(standings)}" if not args.sheet else standing_text(standings))


def _exercises(args: argparse.Namespace, done: Sequence[Answered]) -> list[Exercise]:
    count = _whole(args.count, "--count", 1, MOST)
    rung = None if args.rung is None else _whole(args.rung, "--rung", 0, N_RUNGS - 1)
    first = None if args.seed is None else _whole(args.seed, "--seed", 0, 10**6 - MOST)
    made = []
    for kind in args.kind or KINDS:
        hard = standing(kind, done).staircase.rung if rung is None else rung
        seed = next_seed(kind, done) if first is None else first
        made += [exercise(room(), kind, seed=seed + k, rung=hard) for k in range(count)]
    return made


def _mark(args: argparse.Namespace, done: Sequence[Answered]) -> None:
    """Mark every answer before any is kept."""
    given, faults = [], []
    for pair in args.mark:
        code, _, letter = pair.partition("=")
        try:
            each = from_code(room(), code)
            given.append((each, choice_of(each, letter)))
        except InputError as error:
            faults += [f"--mark {pair}: {fault}" for fault in error.faults]
    if faults:
        raise InputError(faults)
    today = date.today().isoformat()
    new = [answer(each, choice, date=today) for each, choice in given]
    if args.learner:
        add_progress(args.learner, new)
    standings = [standing(kind, [*done, *new]) for kind in KINDS] if args.learner else []
    words = [mark(each, choice).words for each, choice in given]
    if args.json:
        marks = [
            {"code": each.code, "choice": LETTERS[choice], "right": kept.right,
             "score": kept.score, "words": told}
            for (each, choice), kept, told in zip(given, new, words, strict=True)
        ]  # fmt: skip
        print_json({"marks": marks, "standing": [_standing_json(each) for each in standings]})
        return
    for (each, choice), told in zip(given, words, strict=True):
        print(f"{each.code} {LETTERS[choice]}) {told}")
    print(f"{sum(each.right for each in new)} of {len(new)} right")
    if standings:
        print(standing_text(standings))


def _whole(text: str, option: str, low: int, high: int) -> int:
    number = number_of(text, option)
    if number != int(number) or not low <= number <= high:
        raise InputError(f"{option}: found {text!r}, need a whole number from {low} to {high}")
    return int(number)


def _exercise_json(each: Exercise) -> dict[str, Any]:
    return {
        "code": each.code,
        "kind": each.kind,
        "question": each.question,
        "facts": dict(each.facts),
        "swatches": [
            {"name": s.name, "light": s.light, "lab": s.lab.round(3).tolist(), "hex": s.hex}
            for s in each.swatches
        ],
        "choices": {LETTERS[k]: choice.text for k, choice in enumerate(each.choices)},
        "answer": LETTERS[each.answer],
        "hint": each.hint,
        "explanation": each.explanation,
    }


def _standing_json(each: Standing) -> dict[str, Any]:
    return {
        "kind": each.kind,
        "answers": each.n_answers,
        "right": each.n_right,
        "score": each.score,
        "rung": each.staircase.rung,
        "threshold_rung": each.threshold,
    }
