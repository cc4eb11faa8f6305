"""Short benchmarks: the solver beside scipy in one run, and the parts that a day's work waits for.

``python -m tests.studies.speed`` is the long form, whose table README shows.  Bars here
leave room for a noisy machine; every rival's answer is held beside ours.
"""

import colour
import numpy as np
import pytest

from matchkit.cli import main
from matchkit.fit import fit
from matchkit.lights import weights
from matchkit.rehearse import drawdowns_of
from matchkit.simulate import make_bench
from matchkit.solve import count_subsets, solve
from matchkit.spectra import GRID_NM
from tests.benchmarks import rivals
from tests.studies import many_starts, speed

NEVER_WORSE_BY = 0.005  # dE00


@pytest.fixture(scope="module")
def palette():
    return rivals.palette_of(16, 8301)


@pytest.fixture(scope="module")
def target():
    return rivals.targets_of(8302)[1]


def best_s(benchmark):
    return benchmark.stats.stats.min


def test_all_subsets_at_once_against_one_at_a_time(benchmark, palette, target):
    found = benchmark.pedantic(solve, (palette, target), rounds=3, warmup_rounds=1)
    rng = np.random.default_rng(8303)
    subsets = [np.sort(rng.choice(16, 4, replace=False)) for _ in range(40)]
    theirs = [rivals.by_slsqp(palette, target, inks) for inks in subsets]
    one_s = speed.seconds(lambda: rivals.by_slsqp(palette, target, subsets[0]))
    assert one_s * count_subsets(16, 4) > 50 * best_s(benchmark)
    assert speed.loss(palette, target, found, theirs) < NEVER_WORSE_BY


def test_other_ways_are_no_better(palette, target):
    best = solve(palette, target).F[0]
    for F, _ in (
        rivals.by_nnls(palette, target, 4),
        rivals.by_evolution(palette, target, 4),
        rivals.by_least_squares(palette, target, [0, 1, 5, 9]),
    ):
        assert best < F + NEVER_WORSE_BY


def test_the_ten_best_are_the_ten_best_there_are():
    """Short form of `tests.studies.many_starts`: every subset from three random starts."""
    found = many_starts.lost(8306, starts=3)
    assert len(found) == 8 and max(found) < NEVER_WORSE_BY


def test_one_ink_more_costs_no_more_than_its_subsets(palette, target):
    four, five = (
        speed.seconds(lambda m=m: solve(palette, target, max_inks=m), repeats=2) for m in (4, 5)
    )
    assert five < 5 * four


def test_grown_subsets_lose_nothing_that_shows(palette, target, monkeypatch):
    whole = solve(palette, target, max_inks=5)
    monkeypatch.setattr("matchkit.solve.MOST", 1000)
    monkeypatch.setattr("matchkit.solve.PARENTS", 500)
    looked = []
    grown = solve(palette, target, max_inks=5, progress=lambda done, _: looked.append(done))
    assert looked[-1] < count_subsets(16, 5)
    assert (grown.F[:10] - whole.F[:10]).max() < NEVER_WORSE_BY


@pytest.mark.filterwarnings("ignore::colour.utilities.verbose.ColourRuntimeWarning")
def test_weights_against_a_library_spectrum_by_spectrum(benchmark):
    R = rivals.target_spectra(8304, 5)
    ours = benchmark(lambda: R @ weights("D65", 10))
    shape = colour.SpectralShape(400, 700, 10)
    cmfs = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS["D65"]
    sds = [colour.SpectralDistribution(row, GRID_NM).align(shape) for row in R]

    def theirs():
        return [colour.sd_to_XYZ(sd, cmfs, light, method="ASTM E308") for sd in sds]

    np.testing.assert_allclose(ours, theirs(), rtol=1e-8)
    assert speed.seconds(theirs) > 20 * best_s(benchmark)


def test_fit_of_a_whole_series(benchmark):
    bench = make_bench(8305)
    inks, drawn = drawdowns_of(bench, np.random.default_rng(8305), 10)
    found = benchmark.pedantic(
        lambda: fit(drawn, inks, geometry=bench.geometry), rounds=1, warmup_rounds=0
    )
    assert len(found.palette.inks) == 16 and best_s(benchmark) < 20


def test_correction_of_a_batch(benchmark, fitted_demo, capsys):
    example = fitted_demo / "example"
    words = ["correct", str(fitted_demo), str(example / "target.csv"), "--json"]
    words += ["--weighed", str(example / "weighed.csv")]
    words += ["--measured", str(example / "measured.csv")]
    assert benchmark.pedantic(main, (words,), rounds=2, warmup_rounds=1) == 0
    assert "additions" in capsys.readouterr().out and best_s(benchmark) < 3
