"""Broken spectrum files by the thousand: read, or refused with lines for a person.

    python -m tests.studies.fuzz_files [FILES PER FORMAT]

Says for each format how many were read and refused, the slowest, and how far memory
grew.  50,000 a format take some minutes.
"""

import random
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from matchkit.errors import InputError
from matchkit.files.preview import preview
from matchkit.files.spectrum import read_spectra
from matchkit.inks.shop import Shop

sys.path.insert(0, str(Path(__file__).parents[1]))

from broken_files import broken, originals

SEED = 20_170
SLOWEST_S, MOST_MB = 1.0, 100.0
SHOP = Shop(
    name="", geometry="d/8 specular excluded", condition="unknown", observer=10, lights=("D65",)
)


def check_lines(lines):
    """Lines for a person: at least one, each on one line, none endless."""
    assert lines
    for line in lines:
        assert line.strip()
        assert line.isprintable(), line
        assert len(line) < 1000


def check_read(path):
    """Read a file in each way there is: True if it was read, False if refused."""
    try:
        spectra, notes = read_spectra(path, shop=SHOP, index=1.5, scale="fraction")
    except InputError as error:
        check_lines(error.faults)
        spectra, notes = [], []
    for each in spectra:
        assert each.readings.shape[1:] == (31,)
        assert np.isfinite(each.readings).all()
        assert each.name.strip()
    if notes:
        check_lines(notes)
    return bool(spectra)


def check_seen(path):
    try:
        seen = preview(path)
    except InputError as error:
        check_lines(error.faults)
        return
    assert all(line.isprintable() for each in seen.spectra for line in each.oddities)


def fuzz(kind, count, folder, seed=SEED):
    """Break and read `count` files of a format: number read, slowest [s], memory growth [MB]."""
    rng = random.Random(f"{seed} {kind}")
    texts = originals()[kind]
    path = Path(folder) / "spectra.txt"
    read, slowest, before = 0, 0.0, peak_mb()
    for i in range(count):
        data = broken(rng.choice(texts), rng)
        path.write_bytes(data)
        start = time.process_time()
        try:
            read += check_read(path)
            if i % 8 == 0:
                check_seen(path)
        except Exception:
            print(f"{kind}, file {i}, {data[:3000]!r}")
            raise
        slowest = max(slowest, time.process_time() - start)
    assert [each.name for each in Path(folder).iterdir()] == [path.name]
    return read, slowest, peak_mb() - before


def peak_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    with tempfile.TemporaryDirectory() as folder:
        for kind in originals():
            start = time.perf_counter()
            read, slowest, grown = fuzz(kind, count, folder)
            print(
                f"{kind}: {count} files, {read} read, {count - read} refused, slowest"
                f" {slowest:.3f} s, memory +{grown:.0f} MB, {time.perf_counter() - start:.0f} s",
                flush=True,
            )
