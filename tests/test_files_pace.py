"""A library of 1,000 spectra is read in a moment: beside what reading the bare numbers costs.

Processor time of both, in one run: machines that run tests differ, and are shared.
"""

import csv
import time

import numpy as np
import pytest
from broken_files import cgats, cxf, long, tall
from small_shop import SPECTRA, wide

from matchkit.files.spectrum import read_spectra

MANY = {f"sample {i}": SPECTRA["Grey"] for i in range(1000)}
TIMES, TRIES = 100, 4  # measured: 3 (CGATS) to 33 times (a row per wavelength)


def seconds(work):
    begun = time.process_time()
    work()
    return time.process_time() - begun


@pytest.mark.parametrize(
    ("layout", "name"),
    [
        (wide, "a.csv"),
        (long, "a.csv"),
        (tall, "a.csv"),
        (cgats, "a.txt"),
        (cxf, "a.cxf"),
    ],
)
def test_1000_spectra_are_read_in_a_moment(tmp_path, layout, name):
    path, bare = tmp_path / name, tmp_path / "bare.csv"
    path.write_text(layout(MANY))
    np.savetxt(bare, np.concatenate(list(MANY.values())), delimiter=",", fmt="%.8f")

    def numbers():
        with bare.open(newline="") as rows:
            assert np.array([list(map(float, row)) for row in csv.reader(rows)]).size == 31_000

    def ours():
        assert len(read_spectra(path, scale="fraction")[0]) == 1000

    found = []
    for _ in range(TRIES):
        found.append(seconds(ours) / seconds(numbers))
        if found[-1] < TIMES:
            return
    pytest.fail(f"{min(found):.0f} times the bare numbers")
