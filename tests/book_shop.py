"""A shop with four invented inks, a book for it, and jobs to write down: no fit is needed."""

import os
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from bench_inks import textbook

from matchkit.book.containers import weigh
from matchkit.book.entries import JobDetails, log_match
from matchkit.colorimetry.difference import Target
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Ink, Shop
from matchkit.matching.rank import weighed

NM = np.arange(400, 701, 10)
INKS = (
    Ink(name="White", role="white", stock_g=20000.0, lot="W7"),
    Ink(name="Lemon", role="colour", stock_g=3000.0, lot="7"),
    Ink(name="Scarlet", role="colour", stock_g=2500.0, lot="S2"),
    Ink(name="Blue", role="colour", lot="B1"),
)
SHOP = Shop(
    name="Two Bridges Print Room",
    geometry="d/8 specular excluded",
    condition="UV included",
    observer=10,
    lights=("D65", "A"),
    inks=INKS,
)


def _edge(low, high, at_nm, width_nm):
    return low + (high - low) / (1 + np.exp((at_nm - NM) / width_nm))


def palette() -> Palette:
    """K and S of plain theory, invented."""
    K = np.array(
        [
            _edge(0.4, 0.01, 410, 8),
            _edge(6.0, 0.05, 500, 12),
            _edge(5.0, 0.08, 590, 12),
            _edge(0.1, 7.0, 540, 20),
        ]
    )
    S = np.array([np.ones(31), np.full(31, 0.3), np.full(31, 0.3), np.full(31, 0.1)])
    plain = textbook(K, S)
    return replace(plain, inks=INKS, base=0.0, gain=0.96, k2=0.5)


PALETTE = palette()


POUR = {"White": 10.01, "Lemon": 1.5, "Scarlet": 0.25}

forks = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs processes that fork")


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self, start="2026-03-02T08:00:00+00:00"):
        self.time = datetime.fromisoformat(start)

    def __call__(self):
        return self.time

    def on(self, **step):
        self.time += timedelta(**step)


def aim(*shares):
    """A target that a mixture of the four inks would hit."""
    return Target.from_spectrum(reflectance(PALETTE, np.array(shares)), SHOP.lights, SHOP.observer)


def candidate(grams, target):
    return weighed(PALETTE, np.asarray(grams, dtype=float), target)


def logged(book, grams=(475.0, 25.0, 0.0, 0.0), name="Cream", **said):
    """A batch in the book whose formula hits its target; its number."""
    shares = np.asarray(grams) / np.sum(grams)
    target = aim(*shares)
    return log_match(
        book, SHOP, target, candidate(grams, target), name=name, details=JobDetails(**said)
    ).batch


def one_batch(book):
    """A batch that was weighed, so that additions can follow; its number."""
    batch = logged(book)
    weigh(book, SHOP, batch, POUR)
    return batch


def by_hand(path: Path):
    """The file as any SQLite program opens it."""
    return closing(sqlite3.connect(path, isolation_level=None))


def child(work) -> int:
    """Run `work` in a process of its own; its id."""
    pid = os.fork()
    if pid == 0:
        try:
            work()
            os._exit(0)
        except BaseException:  # a child must never come back into the test runner
            import traceback

            traceback.print_exc()
            os._exit(1)
    return pid


def ended(pid) -> int:
    """Wait for a child; 0 if all was well."""
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
