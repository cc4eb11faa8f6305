"""Short benchmarks: the solver beside scipy in one run, and the parts that a day's work waits for.

``python -m tests.studies.speed`` is the long form, whose table README shows.  Bars here
are in processor time and leave room; every rival's answer is held beside ours.
"""

import shutil

import colour
import numpy as np
import pytest

from matchkit.cli import main
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import weights
from matchkit.matching.solve import count_subsets, solve
from tests.benchmarks import rivals
from tests.studies import book_speed, many_starts, speed

NEVER_WORSE_BY = 0.005  # dE00
SLOWEST = {"drift": 9, "use-up": 6}  # verbs of a record book: at most so many times `lots`


@pytest.fixture(scope="module")
def palette():
    return rivals.palette_of(16, 8301)


@pytest.fixture(scope="module")
def target():
    return rivals.targets_of(8302)[1]


def test_all_subsets_at_once_against_one_at_a_time(palette, target):
    found = solve(palette, target)
    rng = np.random.default_rng(8303)
    subsets = [np.sort(rng.choice(16, 4, replace=False)) for _ in range(8)]
    theirs = [rivals.by_slsqp(palette, target, inks) for inks in subsets]
    a_subset = speed.times_as_long(
        lambda: rivals.by_slsqp(palette, target, subsets[0]),
        lambda: solve(palette, target),
        pairs=1,
    )
    assert a_subset * count_subsets(16, 4) > 50
    assert speed.loss(palette, target, found, theirs) < NEVER_WORSE_BY


def test_a_match_costs_its_solve_and_little_more():
    """Chances, rounding and ranking of all candidates: 11 % when it was measured alone."""
    assert speed.match_beside_solve(repeats=1) < 1.3


def test_other_ways_are_no_better(palette, target):
    best = solve(palette, target).F[0]
    for F, _ in (
        rivals.by_nnls(palette, target, 4),
        rivals.by_least_squares(palette, target, [0, 1, 5, 9]),
    ):
        assert best < F + NEVER_WORSE_BY


def test_the_ten_best_are_the_ten_best_there_are():
    """Short form of `tests.studies.many_starts`: every subset from two random starts."""
    found = many_starts.lost(8306, starts=2, n_ink=10)
    assert len(found) == 8 and max(found) < NEVER_WORSE_BY


def test_one_ink_more_costs_no_more_than_its_subsets(palette, target):
    longer = speed.times_as_long(
        lambda: solve(palette, target, max_inks=5), lambda: solve(palette, target), pairs=1
    )
    assert longer < 5


def test_grown_subsets_lose_nothing_that_shows(palette, target, monkeypatch):
    whole = solve(palette, target, max_inks=5)
    monkeypatch.setattr("matchkit.matching.solve.MOST", 1000)
    monkeypatch.setattr("matchkit.matching.solve.PARENTS", 500)
    looked = []
    grown = solve(palette, target, max_inks=5, progress=lambda done, _: looked.append(done))
    assert looked[-1] < count_subsets(16, 5)
    assert (grown.F[:10] - whole.F[:10]).max() < NEVER_WORSE_BY


@pytest.mark.filterwarnings("ignore::colour.utilities.verbose.ColourRuntimeWarning")
def test_weights_against_a_library_spectrum_by_spectrum():
    R = rivals.target_spectra(8304, 5)
    shape = colour.SpectralShape(400, 700, 10)
    cmfs = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS["D65"]
    sds = [colour.SpectralDistribution(row, GRID_NM).align(shape) for row in R]

    def ours():
        return R @ weights("D65", 10)

    def theirs():
        return [colour.sd_to_XYZ(sd, cmfs, light, method="ASTM E308") for sd in sds]

    np.testing.assert_allclose(ours(), theirs(), rtol=1e-8)
    assert speed.times_as_long(theirs, lambda: [ours() for _ in range(20)]) > 1


def test_correction_of_a_batch(fitted_demo, capsys):
    example = fitted_demo / "example"
    words = ["correct", str(fitted_demo), str(example / "target.csv"), "--json"]
    words += ["--weighed", str(example / "weighed.csv")]
    words += ["--measured", str(example / "measured.csv")]
    ends = []
    assert min(speed.cpu_s(lambda: ends.append(main(words))) for _ in range(2)) < 3
    assert ends == [0, 0] and "additions" in capsys.readouterr().out


def test_an_old_book_is_as_quick_as_a_young_one(fitted_demo, tmp_path, monkeypatch):
    """Short form of `tests.studies.book_speed`: twenty times the batches.

    Of both books as many of the last are gone through, so that only their length differs.
    """
    monkeypatch.setattr(book_speed, "LEFTOVERS", 3)
    monkeypatch.setattr("matchkit.book.lessons.MOST", 30)
    names = ("today", "find words", "lots", "ticket", *SLOWEST)
    verbs = {verb: book_speed.VERBS[verb] for verb in names}
    taken = {}
    for n in (100, 2000):
        shop = tmp_path / str(n)
        shutil.copytree(fitted_demo, shop)
        taken[n] = book_speed.seconds_of(shop, book_speed.old_book(shop, n), runs=1, verbs=verbs)
    for verb in verbs:
        assert taken[2000][verb] < 4 * taken[100][verb] + 0.2, (verb, taken)
    for verb, times in SLOWEST.items():
        assert taken[2000][verb] < times * taken[2000]["lots"], (verb, taken)
