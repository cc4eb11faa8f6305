"""Lights and their weights against published whites, and XYZ against other routes."""

import csv
import re
import subprocess
import sys
from pathlib import Path

import colorspacious
import colour
import numpy as np
import pytest
from chart import PATCHES
from colour.quality.datasets import SDS_TCS
from published import E308_WHITES, E308_WHITES_FROM_MEMORY, WHITES_OF_A_PUBLIC_TEXT
from scipy.interpolate import barycentric_interpolate

from matchkit.colorimetry import illuminants as lights
from matchkit.colorimetry import tristimulus as cm
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tables import make_weights
from matchkit.errors import InputError

AUTHORITIES = Path(__file__).parent / "authorities"
CMFS = {
    2: colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"],
    10: colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"],
}
FINE_NM = np.arange(360.0, 781.0)
BOTH = [(light, observer) for light in lights.STORED for observer in lights.OBSERVERS]


def rows(file: str) -> list[list[str]]:
    with (AUTHORITIES / file).open(newline="") as lines:
        return list(csv.reader(lines))[1:]


def at_1_nm(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """4-point Lagrange by scipy, 360-780 nm, zero outside: our recipe by other hands."""
    fine = np.zeros(FINE_NM.size)
    for i, nm in enumerate(FINE_NM):
        if x[0] <= nm <= x[-1]:
            start = min(max(int(np.searchsorted(x, nm, side="right")) - 2, 0), x.size - 4)
            near = slice(start, start + 4)
            fine[i] = barycentric_interpolate(x[near], y[near], nm)
    return fine


def power_at_1_nm(light: str) -> np.ndarray:
    """The light as the recipe wants it, without the package."""
    if light == "A":
        return colour.sd_CIE_standard_illuminant_A(colour.SpectralShape(360, 780, 1)).values
    sd = colour.SDS_ILLUMINANTS[light]
    if light == "D65":
        return np.interp(FINE_NM, sd.wavelengths, sd.values)
    return at_1_nm(sd.wavelengths, sd.values)


def fine_table(light: str, observer: int) -> np.ndarray:
    """Weights at 1 nm, (421, 3), Y of a white 100."""
    W = CMFS[observer][FINE_NM] * power_at_1_nm(light)[:, None]
    return W * 100 / W[:, 1].sum()


def chart(sds) -> np.ndarray:
    return np.array([sd[GRID_NM] for sd in sds.values()])


def lab_of_colour(R: np.ndarray, observer: int, light) -> np.ndarray:
    """Lab by colour-science, its own weights and its own white."""
    shape = colour.SpectralShape(400, 700, 10)
    spectra = [colour.SpectralDistribution(row, shape) for row in [*R, np.ones(31)]]
    XYZ = np.array([colour.sd_to_XYZ(sd, CMFS[observer], light) for sd in spectra])
    return cm.XYZ_to_Lab(XYZ[:-1], XYZ[-1])


# ---- lights -------------------------------------------------------------------------------


@pytest.mark.parametrize(("light", "observer", "X", "Y", "Z"), E308_WHITES)
def test_white_is_that_of_e308(light, observer, X, Y, Z):
    assert cm.white(light, observer) == pytest.approx([X, Y, Z], abs=1e-3)


@pytest.mark.parametrize(("light", "observer", "X", "Y", "Z"), E308_WHITES_FROM_MEMORY)
def test_white_agrees_with_what_is_remembered_of_e308(light, observer, X, Y, Z):
    """From memory: a help, not an authority."""
    assert cm.white(light, observer) == pytest.approx([X, Y, Z], abs=1e-3)


@pytest.mark.parametrize(("light", "observer", "X", "Y", "Z"), WHITES_OF_A_PUBLIC_TEXT)
def test_white_is_within_two_last_digits_of_a_public_text(light, observer, X, Y, Z):
    assert cm.white(light, observer) == pytest.approx([X, Y, Z], abs=2e-3)


@pytest.mark.parametrize("light", ["A", "C", "D50", "D55", "D65", "D75"])
@pytest.mark.parametrize("observer", [2, 10])
def test_white_is_that_of_colorspacious(light, observer):
    name = {2: "CIE 1931 2 deg", 10: "CIE 1964 10 deg"}[observer]
    theirs = colorspacious.standard_illuminant_XYZ100(light, name)
    np.testing.assert_allclose(cm.white(light, observer), theirs, atol=1e-3)


@pytest.mark.parametrize("light", ["A", "C", "D50", "D55", "D65", "D75"])
@pytest.mark.parametrize("observer", [2, 10])
def test_white_is_near_that_of_cie_015(light, observer):
    """CIE 015:2018 as colour-science carries it: sums at other steps, so 0.03, not 0.001."""
    theirs = colour.TVS_ILLUMINANTS[CMFS[observer].name][light]
    np.testing.assert_allclose(cm.white(light, observer), theirs, atol=0.03)


def test_weights_of_a_10_are_those_published():
    """ASTM E308-15 by way of colour-science's test-suite: see authorities."""
    table = np.array(rows("e308_weights_A_10deg_10nm_360_830_3dp.csv"), dtype=float)
    nm, W = table[:, 0], table[:, 1:]
    ours = cm.weights("A", 10)
    np.testing.assert_allclose(ours[1:-1], W[(nm > 400) & (nm < 700)], atol=1e-3)
    # The two ends are sums of 5 and of 14 rounded numbers, each 0.0005 off at most.
    np.testing.assert_allclose(ours[0], W[nm <= 400].sum(axis=0), atol=0.0025)
    np.testing.assert_allclose(ours[-1], W[nm >= 700].sum(axis=0), atol=0.007)


@pytest.mark.parametrize("path", sorted(AUTHORITIES.glob("weights_*")), ids=lambda path: path.stem)
def test_weights_are_those_computed_before(path):
    light, observer = re.match(r"weights_(.+)_(\d+)deg", path.name).groups()
    W = np.array([row[1:] for row in rows(path.name)], dtype=float)
    np.testing.assert_allclose(cm.weights(light, int(observer)), W[:-1], atol=5.1e-6)


def test_white_of_every_other_light_is_that_computed_before():
    for light, observer, X, _, Z, *_ in rows("whitepoints_e308_recipe.csv"):
        expected = [float(X), 100, float(Z)]
        assert cm.white(light, int(observer)) == pytest.approx(expected, abs=5.1e-5), light


@pytest.mark.parametrize(("light", "observer"), [("D65", 10), ("FL11", 2), ("LED-B3", 10)])
def test_weights_are_the_1_nm_sum_of_an_interpolated_reflectance(light, observer):
    """scipy's interpolation and plain sums: the recipe without the routines of the recipe."""
    R = np.random.default_rng(5).random(31)
    padded_nm = np.arange(360.0, 781.0, 10)
    padded = np.pad(R, (4, 8), mode="edge")  # E308: missing ends are held
    XYZ = at_1_nm(padded_nm, padded) @ fine_table(light, observer)
    np.testing.assert_allclose(cm.XYZ(R, light, observer), XYZ, atol=1e-7)


def test_stored_tables_are_what_the_script_makes():
    stored = Path(make_weights.__file__).with_name("weights.csv").read_text(encoding="utf-8")
    remade = make_weights.table()
    split = [[line.split(",") for line in text.splitlines()[1:]] for text in (stored, remade)]
    assert [row[:3] for row in split[0]] == [row[:3] for row in split[1]]
    numbers = [np.array([row[3:] for row in table], dtype=float) for table in split]
    np.testing.assert_allclose(*numbers, atol=1e-9)


def test_stored_tables_are_shared_and_cannot_be_changed():
    assert cm.weights("D50", 2) is cm.weights("D50", 2)
    for array in (cm.weights("D50", 2), cm.weights("HP1", 2), cm.white("D50", 2)):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


def test_stored_lights_do_not_wait_for_colour_science():
    program = (
        "import sys; from matchkit.colorimetry.tristimulus import hex_colour, Lab;"
        "Lab([0.5] * 31, 'FL12', 10); hex_colour([0.5] * 31, 'D65', 2);"
        "assert not {'colour', 'scipy', 'matplotlib'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", program], check=True)


@pytest.mark.parametrize(("step", "light"), [(5, "FL7"), (1, "D65")])
def test_a_measured_lamp_gives_the_table_of_the_light_it_is(step, light):
    sd = colour.SDS_ILLUMINANTS[light]
    nm = np.arange(380.0, 781.0, step) if light == "FL7" else FINE_NM
    power = np.interp(nm, sd.wavelengths, sd.values)
    np.testing.assert_allclose(
        lights.weights_for(nm, 7 * power, 10), cm.weights(light, 10), atol=1e-9
    )


@pytest.mark.parametrize(
    ("name", "said"),
    [("F11", "FL11"), ("d65", "D65"), ("led b3", "LED-B3"), ("shop lamp", "A, C, D50")],
)
def test_unknown_light_is_refused_with_names_that_come_close(name, said):
    with pytest.raises(InputError, match=re.escape(repr(name))) as fault:
        cm.weights(name, 10)
    assert said in str(fault.value)


def test_a_light_that_stops_short_is_refused():
    with pytest.raises(InputError, match="350-690"):
        cm.weights("ISO 7589 Studio Tungsten", 2)


@pytest.mark.parametrize("observer", [0, 5, "10", None])
def test_observer_is_2_or_10(observer):
    with pytest.raises(InputError, match="2 or 10"):
        cm.weights("D65", observer)


@pytest.mark.parametrize(
    ("nm", "values", "said"),
    [
        (GRID_NM, np.ones(30), "one length"),
        (GRID_NM[::-1], np.ones(31), "ascend"),
        (np.arange(400, 701, 20), np.ones(16), "10 nm"),
        (GRID_NM[1:], np.ones(30), "410-700"),
        (GRID_NM, np.full(31, np.nan), "missing"),
        (GRID_NM, -np.ones(31), "negative"),
        (GRID_NM, np.zeros(31), "zero"),
    ],
)
def test_a_bad_lamp_is_refused(nm, values, said):
    with pytest.raises(InputError, match=said):
        lights.weights_for(nm, values, 2)


def test_all_faults_of_a_lamp_are_told_at_once():
    with pytest.raises(InputError) as fault:
        lights.weights_for(GRID_NM[1:], -np.ones(30), 2)
    assert len(fault.value.faults) == 2


# ---- XYZ ----------------------------------------------------------------------------------

# Worst dE00 seen between this recipe and colour-science's plain call, whose lights are joined
# by straight lines; computed with 0.4.7 on other curves before this package was written.  For
# the fluorescent lights the figure is that of a step edge; saturated patches come halfway.
PLAIN_CALL = {"D50": 0.003, "D65": 0.003, "A": 0.003, "FL2": 0.13, "FL11": 0.13, "LED-B3": 0.05}


@pytest.mark.parametrize("observer", [2, 10])
@pytest.mark.parametrize(("light", "tolerance"), PLAIN_CALL.items())
def test_measured_chart_agrees_with_colour_science(light, tolerance, observer):
    """The 24 patches of ISO 17321-1, measured, as colour-science carries them."""
    R = chart(PATCHES)
    theirs = lab_of_colour(R, observer, colour.SDS_ILLUMINANTS[light])
    assert cm.de00(cm.Lab(R, light, observer), theirs).max() < tolerance


@pytest.mark.parametrize(("light", "observer"), BOTH)
def test_cie_samples_agree_when_colour_science_has_the_light_at_1_nm(light, observer):
    """CIE 13.3 test-colour samples: nothing but the light's interpolation sets us apart."""
    R = chart(SDS_TCS["CIE 1995"])
    fine = colour.SpectralDistribution(power_at_1_nm(light), FINE_NM)
    theirs = lab_of_colour(R, observer, fine)
    assert cm.de00(cm.Lab(R, light, observer), theirs).max() < 1e-3


@pytest.mark.parametrize("observer", [2, 10])
@pytest.mark.parametrize("light", ["A", "D65"])
@pytest.mark.parametrize(("edge_nm", "width_nm"), [(580, 12), (500, -15), (480, 10), (550, -20)])
def test_31_bands_are_as_good_as_301(light, observer, edge_nm, width_nm):
    """0.03 dE*ab: the most that reading every 10 nm cost on smooth curves (computed)."""

    def R(nm):
        return 0.05 + 0.85 / (1 + np.exp((edge_nm - np.clip(nm, 400, 700)) / width_nm))

    W = fine_table(light, observer)
    fine = cm.XYZ_to_Lab(R(FINE_NM) @ W, W.sum(axis=0))
    assert np.linalg.norm(cm.Lab(R(GRID_NM), light, observer) - fine) < 0.03


@pytest.mark.parametrize("R", [[0.5] * 30, 0.5, [[0.5] * 36]])
def test_a_spectrum_off_the_grid_is_refused(R):
    with pytest.raises(InputError, match="need 31"):
        cm.Lab(R, "D65", 10)
