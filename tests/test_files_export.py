"""What is written is read back to 1e-6, with all that is known of it."""

import csv
import io

import numpy as np
import pytest
from small_shop import SPECTRA

from matchkit.errors import InputError
from matchkit.files.readings import NamedSpectrum
from matchkit.files.spectrum import read_readings, read_spectra
from matchkit.files.stream import spectra_cgats, spectra_csv, write_spectra


def some():
    rng = np.random.default_rng(8)
    names = [
        "Lemon 10 %",
        'Red, "deep"; 1',
        "Crème\N{LATIN SMALL LETTER L WITH STROKE}",
        "-5",
        "#1",
    ]
    ways = [
        {},
        {"geometry": "45/0", "condition": "M1", "backing": "white"},
        {"geometry": "d/8 specular excluded", "condition": "UV excluded", "filter": "UV cut"},
        {"geometry": "d/8 specular included", "backing": "newsprint"},
        {"geometry": "30/0", "condition": "M2"},
    ]
    return [
        NamedSpectrum(name=name, readings=rng.uniform(0.001, 0.95, (1 + i % 3, 31)), **way)
        for i, (name, way) in enumerate(zip(names, ways, strict=True))
    ]


@pytest.mark.parametrize("suffix", [".csv", ".txt", ".cgats"])
def test_round_trip(tmp_path, suffix):
    path = tmp_path / f"ours{suffix}"
    write_spectra(path, some())
    spectra, notes = read_spectra(path)
    assert notes == []
    assert read_readings(path)[1] == ("CSV" if suffix == ".csv" else "CGATS.17")
    for ours, back in zip(some(), spectra, strict=True):
        np.testing.assert_allclose(back.readings, ours.readings, rtol=0, atol=1e-6)
        for key in ("name", "geometry", "condition", "backing", "filter"):
            assert getattr(back, key) == getattr(ours, key), key


def test_csv_opens_as_a_table(tmp_path):
    rows = list(csv.reader(io.StringIO(spectra_csv(some()))))
    assert rows[0][:6] == ["name", "geometry", "condition", "backing", "filter", "scale"]
    assert {len(row) for row in rows} == {37}
    plain = [NamedSpectrum(name="a", readings=np.array(SPECTRA["White"]))]
    assert spectra_csv(plain).startswith("name,scale,400,410,")


def test_cgats_counts_what_it_holds():
    text = spectra_cgats(some())
    assert text.startswith('CGATS.17\nORIGINATOR "matchkit"\n')
    assert text.count("NUMBER_OF_FIELDS 33") == 5
    assert text.isascii() == all(each.name.isascii() for each in some())


@pytest.mark.parametrize("name", ["", " ", "a\nb", "a\x07", "../x", "..\\x"])
def test_names_that_cannot_be_written(tmp_path, name):
    bad = [NamedSpectrum(name=name, readings=np.array(SPECTRA["White"]))]
    for write in (spectra_csv, spectra_cgats):
        with pytest.raises(InputError, match="name '"):
            write(bad)
    with pytest.raises(InputError, match="no spectra to write"):
        spectra_csv([])


def test_an_existing_file_is_left_alone(tmp_path):
    path = tmp_path / "ours.csv"
    path.write_text("mine")
    with pytest.raises(InputError, match=r"ours\.csv: is there already; give another name"):
        write_spectra(path, some())
    assert path.read_text() == "mine"
    with pytest.raises(InputError, match=r"'\.xml' is not known; write \.csv, \.txt"):
        write_spectra(tmp_path / "ours.xml", some())
