"""What is said beside the answer, on standard error: lines, and progress."""

import sys
import time
from collections.abc import Callable

WAIT_S = 1.0  # progress shows after this long


def say(line: str) -> None:
    """A line for the person, never part of the answer: standard error."""
    print(line, file=sys.stderr)


def progress_line(what: str) -> Callable[[int, int], None]:
    """A callback that keeps one line of progress once a second has passed."""
    started = time.monotonic()
    last = [started]

    def tell(done: int, total: int) -> None:
        now = time.monotonic()
        if now - started < WAIT_S or (now - last[0] < 0.2 and done < total):
            return
        last[0] = now
        end = "\n" if done >= total or not sys.stderr.isatty() else ""
        start = "\r" if sys.stderr.isatty() else ""
        print(f"{start}{what}: {done} of {total}", end=end, file=sys.stderr, flush=True)

    return tell
