"""``matchkit practice``: exercises to print, answers to mark, a learner's progress."""

import argparse
from collections.abc import Sequence
from datetime import date

from matchkit.cli.asked import give, json_option, session_of
from matchkit.cli.folders import say
from matchkit.cli.outputs import page
from matchkit.cli.values import whole
from matchkit.errors import InputError, raise_any
from matchkit.files.write import write_file
from matchkit.practice import exercise, kinds, sheet, simulated_shop
from matchkit.report.practice import class_parts, exercises_parts, marked_parts, standing_parts
from matchkit.workflows import practising
from matchkit.workflows.misses import misses


def arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--kind", action="append", choices=kinds.KINDS, help="only this kind; may be repeated")
    count, seed, level = (whole(*practising.LIMITS[name]) for name in ("count", "seed", "level"))
    add("--count", type=count, default=2, metavar="N", help="exercises of each kind (2)")
    add("--seed", type=seed, metavar="N", help="another number gives other exercises (1)")
    hard = f"how hard, 0 to {practising.LIMITS['level'][1]} (the learner's, else 0)"
    add("--level", type=level, metavar="N", help=hard)
    add("--rung", type=level, dest="level", help=argparse.SUPPRESS)
    add("--learner", metavar="FILE", help="the learner's answers, a plain file")
    add("--sheet", type=page, metavar="FILE", help="write a page to print there")
    add(
        "--answers", action="store_true", help="the answers too, on pages of their own with --sheet"
    )
    add(
        "--mark",
        nargs="+",
        metavar="CODE=LETTER",
        help="mark answers, such as see-1-0=b; with --learner they are kept",
    )
    add("--trainer", metavar="FOLDER", help="progress of every learner with answers in this folder")
    add("--shop", metavar="SHOP", help="batches of this shop's record book that came out wrong")
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Make exercises, or mark answers."""
    if args.trainer:
        everyone = practising.class_of(args.trainer)
        give(args, everyone.to_dict, lambda: class_parts(everyone))
        return
    if args.shop:
        missed = misses(session_of(args), most=args.count)
        give(args, missed.to_dict, lambda: exercises_parts(missed, answers=args.answers))
        return
    learner = practising.learner_of(args.learner) if args.learner else None
    if args.mark:
        marked = practising.mark_answers(_given(args.mark), date.today().isoformat(), learner)
        give(args, marked.to_dict, lambda: marked_parts(marked))
        return
    options = practising.PracticeOptions(
        kinds=tuple(args.kind or kinds.KINDS),
        count=args.count,
        seed=args.seed,
        level=args.level,
        today=date.today().isoformat(),
    )
    found = practising.practise(options, learner)
    if not args.sheet:
        give(args, found.to_dict, lambda: exercises_parts(found, answers=args.answers))
        return
    write_file(args.sheet, sheet.sheet_html(found.exercises, answers=args.answers))
    say(f"written: {args.sheet}")
    give(args, found.to_dict, lambda: standing_parts(found.standings))


def _given(pairs: Sequence[str]) -> list[practising.Given]:
    """The exercises and choices that are meant; InputError tells every pair that is wrong."""
    given, faults = [], []
    for pair in pairs:
        code, _, letter = pair.partition("=")
        try:
            each = kinds.from_code(simulated_shop.practice_shop(), code)
            given.append((each, exercise.choice_of(each, letter)))
        except InputError as error:
            faults += [f"--mark {pair}: {fault}" for fault in error.faults]
    raise_any(faults)
    return given
