"""A measured light from a file: any layout that a spectroradiometer's export may have."""

import colour
import numpy as np
import pytest
from published import E308_WHITES, E308_WHITES_FROM_MEMORY

from matchkit.colorimetry.illuminants import white
from matchkit.errors import InputError
from matchkit.files.spectrum import read_lamp

FL11 = colour.SDS_ILLUMINANTS["FL11"]  # CIE 015 by colour-science, 380-780 nm by 5
PAIRS = list(zip(FL11.wavelengths.tolist(), FL11.values.tolist(), strict=True))


def written(tmp_path, pairs=PAIRS, head="wavelength_nm,power", name="floor.csv", mark="."):
    separator = next(s for s in ";\t," if s in head)
    rows = [f"{nm:g}{separator}{power!r}".replace(".", mark) for nm, power in pairs]
    path = tmp_path / name
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("observer", [2, 10])
def test_white_of_a_published_lamp(tmp_path, observer):
    """FL11 written as a lamp has the white that ASTM E308 prints for F11 (3 decimals)."""
    measured, notes = read_lamp(written(tmp_path))
    assert notes == []
    assert measured.name == "floor"
    rows = [row for row in E308_WHITES + E308_WHITES_FROM_MEMORY if row[:2] == ("FL11", observer)]
    np.testing.assert_allclose(white(measured, observer), rows[0][2:], atol=1.01e-3)


@pytest.mark.parametrize(
    ("head", "mark"),
    [
        ("Wavelength [nm];Spectral irradiance [W/m2/nm]", ","),
        ("lambda\tRelative power", "."),
        ("Instrument: X-1\n\nnm,SPD", "."),
        ('"wavelength","power"', "."),
    ],
)
def test_headings_of_every_habit(tmp_path, head, mark):
    measured, _ = read_lamp(written(tmp_path, head=head, mark=mark))
    plain, _ = read_lamp(written(tmp_path))
    assert measured == plain


def test_scale_and_order_do_not_matter(tmp_path):
    plain, _ = read_lamp(written(tmp_path))
    turned = written(tmp_path, [(nm, 1e-6 * p) for nm, p in reversed(PAIRS)], name="turned.csv")
    np.testing.assert_allclose(white(read_lamp(turned)[0], 10), white(plain, 10), rtol=1e-12)


@pytest.mark.parametrize("offset", [0.0, 0.15, 0.3, 0.45])
def test_a_line_between_whole_nanometres_counts_in_full(tmp_path, offset):
    """A mercury line (546.07 nm) on a flat ground, read every 0.3 nm wherever that begins:
    near the exact mean over each nanometre, by the error function, and the same in all."""
    from scipy.special import erf

    nm = np.arange(379.0 + offset, 781.5, 0.3)
    line, sigma = 40.0, 0.35
    power = 1 + line * np.exp(-(((nm - 546.07) / sigma) ** 2) / 2)
    measured, notes = read_lamp(written(tmp_path, zip(nm.tolist(), power.tolist(), strict=True)))
    assert "averaged to whole nanometres" in notes[0]
    whole = np.array(measured.wavelengths_nm)
    assert set(np.diff(whole)) == {1.0}
    z = (whole[:, None] + [-0.5, 0.5] - 546.07) / (sigma * np.sqrt(2))
    exact = 1 + line * sigma * np.sqrt(np.pi / 2) * np.diff(erf(z))[:, 0]
    np.testing.assert_allclose(measured.power, exact, atol=1.0)  # at a peak of 30
    assert sum(measured.power) == pytest.approx(exact.sum(), abs=0.05)


def test_fine_steps_that_begin_and_end_at_the_limits(tmp_path):
    nm = np.linspace(400, 700, 601)
    measured, _ = read_lamp(written(tmp_path, [(float(v), float(v)) for v in nm]))
    assert measured.wavelengths_nm == tuple(np.arange(400.0, 701.0))
    np.testing.assert_allclose(measured.power[1:-1], np.arange(401.0, 700.0))


def test_the_unrest_of_a_dark_reading_is_taken_as_none(tmp_path):
    pairs = [(nm, -0.002 if nm < 400 else p) for nm, p in PAIRS]
    measured, notes = read_lamp(written(tmp_path, pairs))
    assert min(measured.power) == 0
    assert "4 values just below 0" in notes[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("wavelength_nm,power\n", "no values"),
        ("wavelength_nm,colour\n400,1\n", "'power' is missing"),
        ("name,400,410,420\nx,1,2,3\n", "'wavelength_nm' is missing"),
        ("wavelength_nm,power\n400,1\n400,2\n410,3\n", "row 3: 400 nm is there twice"),
        ("wavelength_nm,power\n400,bright\n410,1\n", "row 2: power: 'bright'"),
        ("wavelength_nm,power\n-400,1\n410,1\n", "row 2: wavelength_nm is -400"),
        ("wavelength_nm,power\n400,\n410,1\n", "row 2: power: nothing is there"),
    ],
)
def test_faults_name_file_and_row(tmp_path, text, said):
    path = tmp_path / "floor.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as refused:
        read_lamp(path)
    assert said in str(refused.value)
    assert all(fault.startswith("floor.csv") for fault in refused.value.faults)


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        (PAIRS[10:], "must cover 400-700 nm"),
        (PAIRS[::4], "steps of at most 10 nm"),
        ([(nm, 0.0) for nm, _ in PAIRS], "power must not be"),
        ([(nm, p - 5) for nm, p in PAIRS], "power must not be"),
        ([(float(nm), 1.0) for nm in np.arange(800, 900, 0.5)], "must cover 400-700 nm"),
    ],
)
def test_lamps_that_give_no_white_are_refused(tmp_path, pairs, said):
    with pytest.raises(InputError, match=said) as refused:
        read_lamp(written(tmp_path, pairs))
    assert "floor.csv" in str(refused.value)


def test_a_file_called_like_a_light_of_the_cie_is_refused(tmp_path):
    with pytest.raises(InputError, match="give it a name that no CIE light has"):
        read_lamp(written(tmp_path, name="D65.csv"))


def test_every_fault_at_once(tmp_path):
    path = tmp_path / "floor.csv"
    path.write_text("wavelength_nm,power\n400,x\n410,\n410,1\n420,1,7\n", encoding="utf-8")
    with pytest.raises(InputError) as refused:
        read_lamp(path)
    assert len(refused.value.faults) >= 4
