"""Formulas for thousands of targets: a colour library, or a re-issue after a lot change.

`matches` is a generator.  It holds a few targets at a time, however many there are, and
gives the answers in the order of the targets, so that what is written does not depend on
how many processes worked.  With more than one it hands groups of targets to joblib, which
asks the surrounding `joblib.parallel_config` where to run them: on this machine's cores, or
on a cluster.  joblib works on whether its answers are taken or not, so it gets one stretch
of targets at a time.
"""

import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import cache, partial
from importlib.util import find_spec
from itertools import islice
from threading import Thread
from time import sleep
from typing import TYPE_CHECKING
from warnings import catch_warnings

from matchkit.colorimetry.difference import Target
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Shop
from matchkit.matching.match import Match, match
from matchkit.matching.rank import Choices

if TYPE_CHECKING:
    from joblib import Parallel

TOGETHER = 4  # targets that are handed out at once: inks travel with every group
LOOK_S = 1.0  # between two looks of a worker at whether its parent is still there
STRETCH = 128  # targets for each process; at the end of a stretch some wait for the last


def matches(
    shop: Shop,
    fits: Mapping[str, Fit],
    targets: Iterable[tuple[str, Target]],
    choices: Choices,
    *,
    workers: int = 1,
) -> Iterator[Match]:
    """The answers of `match.match` for named targets, one by one, in their order.

    `workers` is how many processes work, -1 for as many as there are cores; InputError where
    more than one is asked for and joblib is not installed.
    """
    lean = replace(shop, drawdowns=())  # a match needs what was fitted, not the readings
    one = partial(_one, lean, dict(fits), choices)
    check_workers(workers)
    if workers == 1:
        for name, target in targets:
            yield one(name, target)
    else:
        yield from _on_many(one, targets, workers)


def check_workers(workers: int) -> None:
    """Raise InputError for no workers, and for more than one where joblib is not installed."""
    if workers == 0:
        raise InputError("workers: found 0, need 1 or more, or -1 for every core")
    if workers != 1 and find_spec("joblib") is None:
        raise InputError(
            "more than one worker needs joblib, which is not installed; install "
            "matchkit[many], or leave it at one worker"
        )


def _on_many(
    one: "partial[Match]", targets: Iterable[tuple[str, Target]], workers: int
) -> Iterator[Match]:
    from concurrent.futures.process import BrokenProcessPool

    from joblib import Parallel, effective_n_jobs

    left, length = iter(targets), STRETCH * effective_n_jobs(workers)
    try:
        with Parallel(n_jobs=workers, return_as="generator", batch_size=1) as work:
            while stretch := list(islice(left, length)):
                yield from _stretch(work, one, stretch)
    except BrokenProcessPool:
        raise InputError(
            "a worker ended before its work was done, most often for lack of memory; "
            "try fewer workers"
        ) from None


def _stretch(
    work: "Parallel", one: "partial[Match]", stretch: list[tuple[str, Target]]
) -> Iterator[Match]:
    from joblib import delayed

    groups = (stretch[k : k + TOGETHER] for k in range(0, len(stretch), TOGETHER))
    found = work(delayed(_several)(one, group, os.getpid()) for group in groups)
    try:
        for answers in found:
            yield from answers
    except GeneratorExit:
        with catch_warnings(action="ignore"):  # of answers that nobody took
            found.close()
        raise


def _one(shop: Shop, fits: Mapping[str, Fit], choices: Choices, name: str, target: Target) -> Match:
    return match(shop, fits, target, choices, name=name)


def _several(one: "partial[Match]", group: list[tuple[str, Target]], asked_by: int) -> list[Match]:
    if os.getppid() == asked_by:  # not on another machine, nor in the process that asks
        _end_with(asked_by)
    return [one(name, target) for name, target in group]


@cache
def _end_with(parent: int) -> None:
    """End this worker soon after the process that began it, however that ended.

    joblib's workers wait five minutes for more work, even where nobody is left to give it.
    """

    def watch() -> None:
        while os.getppid() == parent:
            sleep(LOOK_S)
        os._exit(1)

    Thread(target=watch, daemon=True).start()
