"""A program that dies while it writes: at any call that changes the disk, or by Ctrl-C."""

import signal
from contextlib import contextmanager
from pathlib import Path

from matchkit.files import write


class Cut(BaseException):
    """The program dies here."""


@contextmanager
def ctrl_c_heard():
    """Children started here hear Ctrl-C, which a job in the background would have them ignore."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def cut_at(monkeypatch, count):
    """Die at the `count`-th call that changes the disk; returns how many there were."""
    calls = []

    def dying(name, real):
        def step(*args, **more):
            calls.append(name)
            if len(calls) == count:
                raise Cut
            return real(*args, **more)

        return step

    monkeypatch.setattr(write, "_flushed", dying("write", write._flushed))
    for name in ("replace", "rename", "unlink", "chmod"):
        monkeypatch.setattr(Path, name, dying(name, getattr(Path, name)))
    return calls
