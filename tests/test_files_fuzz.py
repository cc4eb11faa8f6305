"""Hundreds of broken files of each format: read, or refused with lines for a person.

The same with 50,000 a format is a study, see studies/fuzz_files.py.
"""

import random
from pathlib import Path

import pytest
from broken_files import WORDS, broken, originals
from small_shop import SPECTRA, put, wide
from studies.fuzz_files import MOST_MB, SLOWEST_S, check_lines, fuzz
from test_files_incoming import NEW, contents

from matchkit.errors import InputError
from matchkit.files.incoming import Bringing, bring_in
from matchkit.files.preview import preview
from matchkit.files.shop import read_shop
from matchkit.files.spectrum import read_spectra


@pytest.mark.parametrize("kind", ["CSV", "CGATS.17", "CxF3"])
def test_400_broken_files(tmp_path, kind):
    read, slowest, grown = fuzz(kind, 400, tmp_path)
    assert 30 < read < 200  # some changes do no harm, most do
    assert slowest < SLOWEST_S
    assert grown < MOST_MB


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["CSV", "CGATS.17", "CxF3"])
def test_50000_broken_files(tmp_path, kind):
    read, slowest, grown = fuzz(kind, 50_000, tmp_path, seed=99)
    assert read > 2000
    assert slowest < SLOWEST_S
    assert grown < MOST_MB


def test_80_broken_files_into_a_shop(tmp_path):
    """The shop is as it was, or has taken readings that it can read; nothing else is touched."""
    rng = random.Random(3)
    folder, path = tmp_path / "shop", tmp_path / "file.txt"
    start = contents(put(folder))
    taken = 0
    for i in range(80):
        text = rng.choice([wide(NEW), originals()["CxF3"][0].replace("White", "Grey")])
        path.write_bytes(broken(text, rng))
        try:
            taken += bool(
                bring_in(path, folder, Bringing(existing="add", skip_others=bool(i % 2))).names
            )
        except InputError as error:
            check_lines(error.faults)
            assert contents(folder) == start
        if contents(folder) != start:
            assert len(read_shop(folder).drawdowns) == 5
            (folder / "spectra.csv.1.bak").unlink()
            assert set(contents(put(folder))) == set(start)
    assert 5 < taken < 66
    assert sorted(each.name for each in tmp_path.iterdir()) == ["file.txt", "shop"]


def test_a_file_of_100_mb_is_refused_unread(tmp_path):
    path = tmp_path / "huge.csv"
    with path.open("wb") as stream:
        stream.truncate(100_000_000)
    for read in (read_spectra, preview):
        with pytest.raises(InputError, match=r"huge\.csv: larger than 10 MB; split it"):
            read(path)


@pytest.mark.parametrize("begin", [b"", b"CGATS.17\n", b"<x>", b"name,400,410\n", b'"'])
def test_a_line_of_9_mb_is_refused_at_once(tmp_path, begin):
    path = tmp_path / "long.csv"
    path.write_bytes(begin + b"x" * 9_000_000)
    with pytest.raises(InputError) as refusal:
        read_spectra(path)
    check_lines(refusal.value.faults)


@pytest.mark.parametrize("name", ["../../etc/passwd", "..", "a/../b", "..\\b", "a\x00b", "a\nb"])
def test_names_that_are_paths_are_refused(tmp_path, name):
    path = tmp_path / "a.csv"
    path.write_bytes(wide({"NAME": SPECTRA["Grey"]}).replace("NAME", f'"{name}"').encode())
    with pytest.raises(InputError) as refusal:
        read_spectra(path)
    check_lines(refusal.value.faults)


def test_other_kinds_of_files_are_told(tmp_path):
    folder = tmp_path / "a.csv"
    folder.mkdir()
    with pytest.raises(InputError, match=r"a\.csv: is a folder; a file is expected"):
        read_spectra(folder)
    with pytest.raises(InputError, match="not found"):
        read_spectra(Path("/dev/null"))
    assert len(WORDS) > 60
