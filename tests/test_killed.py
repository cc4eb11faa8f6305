"""Every writer of a shop folder killed at any moment: what was acknowledged is there.

SIGKILL from outside, nothing simulated.  After each kill the folder is read, the next writer
gets past the lock that was left, and the book is sound.
"""

import os
import random
import signal
import time
from datetime import date, timedelta

import numpy as np
import pytest
from book_shop import POUR, SHOP, child, ended, forks, one_batch
from small_shop import SPECTRA, edge, put, wide

from matchkit.book.containers import add
from matchkit.book.copies import check
from matchkit.book.store import open_book, reading
from matchkit.files.fitted import fit_content, read_fits, write_fits
from matchkit.files.health import keep_reading, read_kept
from matchkit.files.incoming import Bringing, bring_in
from matchkit.files.lock import LOCK
from matchkit.files.shop import read_shop

pytestmark = [
    forks,
    pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning"),
]
TILE = np.array(SPECTRA["White"])


def work(folder, batch, rng, say):
    """Write on, each time something else, and acknowledge what was written."""
    book, shop = open_book(folder), read_shop(folder)
    while True:
        what, k = rng.choice(["book", "import", "tile", "fit"]), rng.randrange(10**6)
        if what == "book":
            add(book, SHOP, batch, POUR)
        elif what == "import":
            path = folder.parent / f"{os.getpid()}.csv"
            path.write_text(wide({"Grey": [edge(0.29, 0.31 + k * 1e-7, 500)]}, form="{:.9f}"))
            bring_in(path, folder, Bringing(existing="add"))
        elif what == "tile":
            day = (date(2000, 1, 1) + timedelta(k % 9000)).isoformat()
            keep_reading(folder, kind="tile", name="tile", readings=TILE, date=day)
        else:
            write_fits(folder, shop, {})
        os.write(say, f"{what}\n".encode())


def counted(folder, book):
    """How much of each kind there is."""
    with reading(book) as db:
        (weighings,) = db.execute("SELECT count(*) FROM weighing").fetchone()
    grey = next(each for each in read_shop(folder).drawdowns if each.name == "Grey")
    return {"book": weighings, "import": len(grey.readings), "tile": len(read_kept(folder))}


def kill(folder, seed, kills, writers):
    rng = random.Random(seed)
    put(folder)
    book = open_book(folder)
    batch = one_batch(book)
    before = counted(folder, book)
    for n in range(kills):
        if n % 25 == 0:
            (folder / "instrument.csv").unlink(missing_ok=True)
            (folder / "spectra.csv").write_text(wide())
            for old in folder.glob("*.bak"):
                old.unlink()
            before = counted(folder, book)
        hear, say = os.pipe()
        seeds = [rng.randrange(10**9) for _ in range(writers)]
        pids = [
            child(lambda s=s, say=say: work(folder, batch, random.Random(s), say)) for s in seeds
        ]
        os.close(say)
        heard = os.read(hear, 64)  # they are at work
        time.sleep(rng.uniform(0, 0.03))
        for pid in pids:
            os.kill(pid, signal.SIGKILL)
            assert ended(pid) == -signal.SIGKILL
        while more := os.read(hear, 65536):
            heard += more
        os.close(hear)
        told = heard.decode().split()
        after = counted(folder, book)
        step = {"book": 1, "import": 1, "tile": len(TILE)}
        for what, each in step.items():
            new = (after[what] - before[what]) // each
            assert told.count(what) <= new <= told.count(what) + writers, (n, what)
        assert "can't be read" not in read_fits(folder, read_shop(folder), fit_content(folder))[1]
        assert check(book) == []
        before = after
    keep_reading(folder, kind="tile", name="tile", readings=TILE, date="2026-03-02")
    assert not (folder / LOCK).exists()


@pytest.mark.parametrize("writers", [1, 2])
def test_a_few_kills_lose_nothing(tmp_path, writers):
    kill(tmp_path / "shop", writers, 5, writers)


@pytest.mark.slow
@pytest.mark.parametrize("writers", [1, 2, 3, 4])
def test_a_thousand_kills_lose_nothing(tmp_path, writers):
    kill(tmp_path / "shop", 100 + writers, 250, writers)
