"""Metamerism and inconstancy against published examples and colour-science."""

import csv
from pathlib import Path

import colour
import numpy as np
import pytest
from published import CMCCAT2000_EXAMPLE, ISO_18314_4_EXAMPLE, ISO_18314_4_INDICES

from matchkit.colorimetry import metamerism as mm
from matchkit.colorimetry import tristimulus as cm
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import STORED
from matchkit.errors import InputError

D65 = ("D65", 10)
TESTS = {"A/10": ("A", 10), "FL11/10": ("FL11", 10), "D65/2": ("D65", 2)}

with (Path(__file__).parent / "authorities/metamer_example.csv").open(newline="") as lines:
    EXAMPLE = {
        name: np.array(column, dtype=float)
        for name, *column in zip(*csv.reader(lines), strict=True)
    }
STANDARD, METAMER, PARAMER, CORRECTED = (
    EXAMPLE[name] for name in ("R_standard", "R_metamer_D65_10", "R_paramer", "R_paramer_corrected")
)


def smooth_spectra(*shape: int, seed: int = 12) -> np.ndarray:
    """Invented reflectances, 0.05-0.95."""
    steps = np.random.default_rng(seed).normal(size=(*shape, 31)).cumsum(axis=-1) / 4
    return 0.05 + 0.9 / (1 + np.exp(-steps))


def euclid(lab_1, lab_2):
    return np.linalg.norm(np.asarray(lab_1) - np.asarray(lab_2), axis=-1)


# ---- the pair under ISO 18314-4 ------------------------------------------------------------

WHICH = ("target D65", "target A", "sample D65", "sample A")
XYZ_OF, LAB_OF = (
    dict(zip(WHICH, [row[k] for row in ISO_18314_4_EXAMPLE], strict=True)) for k in (1, 2)
)
FUNCTION = {"additive": mm.shifted, "multiplicative": mm.scaled}
WHITE_A_OF_COLOUR = 100 * colour.xy_to_XYZ(
    colour.CCS_ILLUMINANTS["CIE 1964 10 Degree Standard Observer"]["A"]
)


def corrected(correction, values):
    return FUNCTION[correction](values["target D65"], values["sample D65"], values["sample A"])


@pytest.mark.parametrize(("correction", "space", "index"), ISO_18314_4_INDICES)
def test_all_four_corrections_of_the_iso_18314_4_example(correction, space, index):
    if space == "Lab":
        ours = euclid(LAB_OF["target A"], corrected(correction, LAB_OF))
    else:
        # The white is colour-science's, as its docstring says.
        sample = cm.XYZ_to_Lab(corrected(correction, XYZ_OF), WHITE_A_OF_COLOUR)
        ours = euclid(cm.XYZ_to_Lab(XYZ_OF["target A"], WHITE_A_OF_COLOUR), sample)
    assert ours == pytest.approx(index, abs=1e-6)


@pytest.mark.parametrize(
    ("correction", "index"), [("multiplicative", 3.790678), ("additive", 4.69104)]
)
def test_the_same_with_the_white_of_e308(correction, index):
    """Computed with colour-science 0.4.7, white (111.144, 100, 35.200)."""
    white = [111.144, 100, 35.200]
    sample = cm.XYZ_to_Lab(corrected(correction, XYZ_OF), white)
    assert euclid(cm.XYZ_to_Lab(XYZ_OF["target A"], white), sample) == pytest.approx(
        index, abs=1e-5
    )


@pytest.mark.parametrize(
    ("correction", "index"), [("additive", 2.465420), ("multiplicative", 2.600618)]
)
def test_the_same_in_de00(correction, index):
    """Computed with colour-science 0.4.7 from the Lab of its docstring."""
    ours = cm.de00(LAB_OF["target A"], corrected(correction, LAB_OF))
    assert ours == pytest.approx(index, abs=1e-5)


@pytest.mark.parametrize("correction", ["additive", "multiplicative"])
def test_corrections_are_those_of_colour_science(correction):
    xyz = np.random.default_rng(1).uniform(5, 80, (4, 200, 3))
    target_0, sample_0, target, sample = xyz
    white = cm.white("A", 10)
    theirs = colour.difference.XYZ_to_metamerism_index(
        *(each / 100 for each in (sample, target, sample_0, target_0)),
        correction=correction,
        method="CIE 2000",
        illuminant=colour.XYZ_to_xy(white),
    )
    fixed = FUNCTION[correction](target_0, sample_0, sample)
    ours = cm.de00(cm.XYZ_to_Lab(target, white), cm.XYZ_to_Lab(fixed, white))
    np.testing.assert_allclose(ours, theirs, atol=1e-7)


# ---- the invented pair of metamer_example.csv ----------------------------------------------

# Test, correction (none: as measured), dE*ab, dE00; for SOURCE see authorities.
PARAMER_INDICES = [
    ("A/10", "multiplicative XYZ", 1.2439, 0.8661),
    ("A/10", "additive Lab", 1.2888, 0.9002),
    ("A/10", "parameric", 1.1950, 0.8354),
    ("FL11/10", "multiplicative XYZ", 2.5615, 1.7002),
    ("FL11/10", "additive Lab", 2.6093, 1.7425),
    ("FL11/10", "parameric", 2.5662, 1.6976),
    ("D65/2", "multiplicative XYZ", 1.0022, 0.7328),
    ("D65/2", "additive Lab", 1.0392, 0.7604),
    ("D65/2", "parameric", 0.8974, 0.6577),
]
RAW = [
    (METAMER, "A/10", 1.4804, 1.0340),
    (METAMER, "FL11/10", 2.6901, 1.7825),
    (METAMER, "D65/2", 1.0566, 0.7743),
    (PARAMER, "A/10", 1.8976, 1.3372),
    (PARAMER, "FL11/10", 2.9320, 2.0871),
    (PARAMER, "D65/2", 1.7213, 1.2795),
]


@pytest.mark.parametrize(("test", "correction", "_", "de00"), PARAMER_INDICES)
def test_special_index_of_the_paramer(test, correction, _, de00):
    ours = mm.special_index(
        STANDARD, PARAMER, reference=D65, test=TESTS[test], correction=correction
    )
    assert ours == pytest.approx(de00, abs=1e-4)


@pytest.mark.parametrize(("sample", "test", "de_ab", "de00"), RAW)
def test_the_uncorrected_pair(sample, test, de_ab, de00):
    seen = [cm.Lab(R, *TESTS[test]) for R in (STANDARD, sample)]
    assert euclid(*seen) == pytest.approx(de_ab, abs=1e-4)
    assert cm.de00(*seen) == pytest.approx(de00, abs=1e-4)


def test_the_paramer_differs_under_the_reference_too():
    assert cm.de00(cm.Lab(STANDARD, *D65), cm.Lab(PARAMER, *D65)) == pytest.approx(0.7154, abs=1e-4)


@pytest.mark.parametrize("correction", mm.CORRECTIONS)
@pytest.mark.parametrize(("test", "de00"), [("A/10", 1.0340), ("FL11/10", 1.7825)])
def test_for_the_exact_metamer_all_corrections_agree(correction, test, de00):
    view = {"reference": D65, "test": TESTS[test], "correction": correction}
    assert mm.special_index(STANDARD, METAMER, **view) == pytest.approx(de00, abs=1e-4)


def test_parameric_correction_is_that_computed_before():
    ours = mm.parameric(STANDARD, PARAMER, *D65)
    np.testing.assert_allclose(ours, CORRECTED, atol=5e-7)
    np.testing.assert_allclose(cm.XYZ(ours, *D65), cm.XYZ(STANDARD, *D65), atol=1e-12)


@pytest.mark.parametrize("correction", mm.CORRECTIONS)
def test_change_of_observer_is_the_index_from_10_to_2_degrees(correction):
    expected = next(row[3] for row in PARAMER_INDICES if row[:2] == ("D65/2", correction))
    ours = mm.observer_index(STANDARD, PARAMER, reference=D65, correction=correction)
    assert ours == pytest.approx(expected, abs=1e-4)


def test_change_of_observer_goes_both_ways():
    view = {"reference": ("D65", 2), "test": D65}
    ours = mm.observer_index(STANDARD, PARAMER, reference=("D65", 2))
    assert ours == mm.special_index(STANDARD, PARAMER, **view)


# ---- what must hold for any pair -----------------------------------------------------------


@pytest.mark.parametrize("light", STORED)
def test_matrix_R_is_a_projection_of_rank_3(light):
    """Cohen & Kappauf (1982), from memory: trace 3, idempotent, A'(I - R) = 0."""
    P, A = mm.matrix_R(light, 10), cm.weights(light, 10)
    assert np.trace(P) == pytest.approx(3, abs=1e-12)
    np.testing.assert_allclose(P @ P, P, atol=1e-14)
    np.testing.assert_allclose(A.T @ (np.eye(31) - P), 0, atol=1e-12)
    np.testing.assert_allclose(P, A @ np.linalg.solve(A.T @ A, A.T), atol=1e-12)


@pytest.mark.parametrize("correction", mm.CORRECTIONS)
def test_identical_spectra_have_no_index(correction):
    R = smooth_spectra(20)
    index = mm.special_index(R, R, reference=D65, test=("FL11", 2), correction=correction)
    np.testing.assert_allclose(index, 0, atol=1e-9)


def test_any_exact_metamers_agree_whatever_the_correction():
    """Made by parameric decomposition, then told by the two corrections that know no spectra."""
    R_1, R_2 = smooth_spectra(2, 40)
    exact = mm.parameric(R_1, R_2, "D50", 2)
    index = [
        mm.special_index(R_1, exact, reference=("D50", 2), test=("FL2", 10), correction=name)
        for name in mm.CORRECTIONS
    ]
    as_seen = cm.de00(*cm.Lab([R_1, exact], "FL2", 10))
    np.testing.assert_allclose(index, np.tile(as_seen, (3, 1)), atol=1e-8)


@pytest.mark.parametrize("correction", mm.CORRECTIONS)
def test_under_the_reference_itself_nothing_is_left(correction):
    R_1, R_2 = smooth_spectra(2, 40)
    view = {"reference": D65, "test": D65, "correction": correction}
    np.testing.assert_allclose(mm.special_index(R_1, R_2, **view), 0, atol=1e-9)


@pytest.mark.parametrize("correction", mm.CORRECTIONS)
def test_many_pairs_at_once(correction):
    R_1, R_2 = smooth_spectra(1, 5), smooth_spectra(4, 1, seed=13)
    view = {"reference": D65, "test": ("A", 10), "correction": correction}
    index = mm.special_index(R_1, R_2, **view)
    assert index.shape == (4, 5)
    one = mm.special_index(R_1[0, 3], R_2[2, 0], **view)
    assert index[2, 3] == pytest.approx(float(one), abs=1e-10)


def test_a_sample_that_reads_zero_is_left_as_it_is():
    R = np.full(31, 0.02)
    index = mm.special_index(R, 0 * R, reference=D65, test=("A", 10))
    assert index == pytest.approx(float(cm.de00(*cm.Lab([R, 0 * R], "A", 10))))


# ---- adaptation and inconstancy ------------------------------------------------------------


def test_cmccat2000_example():
    """D from the luminances as the transform's authors have it, average surround."""
    given = CMCCAT2000_EXAMPLE
    D = 0.08 * np.log10(given["L_A"]) + 0.76
    ours = mm.adapted(given["XYZ"], given["white"], given["to_white"], D=D)
    np.testing.assert_allclose(ours, given["corresponding"], atol=1e-6)


@pytest.mark.parametrize("transform", mm.TRANSFORMS)
def test_transforms_are_those_of_colour_science(transform):
    """Full adaptation is the rule of von Kries."""
    white, to_white = cm.white("FL11", 10), cm.white("D65", 10)
    XYZ = np.random.default_rng(2).random((200, 3)) * white
    theirs = colour.adaptation.chromatic_adaptation_VonKries(XYZ, white, to_white, transform)
    ours = mm.adapted(XYZ, white, to_white, transform=transform)
    np.testing.assert_allclose(ours, theirs, atol=1e-9)


def test_a_thousand_candelas_are_full_adaptation():
    """CMCCAT2000 takes D as 1 from 1000 cd/m2 on."""
    white, to_white = cm.white("A", 10), cm.white("D65", 10)
    XYZ = np.random.default_rng(2).random((200, 3)) * white
    theirs = colour.adaptation.chromatic_adaptation_CMCCAT2000(XYZ, white, to_white, 1000, 1000)
    np.testing.assert_allclose(mm.adapted(XYZ, white, to_white), theirs, atol=1e-9)


def test_a_grey_under_a_becomes_the_grey_under_d65():
    """Computed with colour-science 0.4.7: with D = 0.944 it does not (81.366, 85, 87.782)."""
    white, to_white = (111.144, 100, 35.200), (94.811, 100, 107.304)
    grey = 0.85 * np.array(white)
    full = mm.adapted(grey, white, to_white)
    part = mm.adapted(grey, white, to_white, D=0.08 * np.log10(200) + 0.76)
    assert full == pytest.approx([80.589, 85, 91.209], abs=1e-3)
    assert part == pytest.approx([81.366, 85, 87.782], abs=1e-3)


@pytest.mark.parametrize("transform", mm.TRANSFORMS)
@pytest.mark.parametrize("light", STORED)
@pytest.mark.parametrize("observer", [2, 10])
def test_greys_are_constant(transform, light, observer):
    greys = np.linspace(0.02, 1, 8)[:, None] * np.ones(31)
    index = mm.inconstancy(greys, light, observer, transform=transform)
    np.testing.assert_allclose(index, 0, atol=1e-9)


def test_under_d65_everything_is_constant():
    np.testing.assert_allclose(mm.inconstancy(smooth_spectra(10), "D65", 2), 0, atol=1e-9)


# Computed with colour-science 0.4.7 before this package was written: light and, by
# transform, the index in dE00 and in CMC(2:1).
# The curves were not kept.  These four were found again from the dE00 columns alone: of a hundred
# thousand edges and bands with round numbers each is the only one to give its three values
# to the last digit; the CMC columns were not looked at.
CURVES = {
    "red": 0.04 + 0.76 / (1 + np.exp((600 - GRID_NM) / 12)),
    "yellow": 0.05 + 0.80 / (1 + np.exp((505 - GRID_NM) / 10)),
    "blue": 0.05 + 0.45 * np.exp(-(((GRID_NM - 450) / 40) ** 2)),
    "green": 0.05 + 0.35 * np.exp(-(((GRID_NM - 530) / 35) ** 2)),
}
INCONSTANCY = [
    ("red", "A", "CMCCAT2000", 6.3253, 3.7497),
    ("red", "A", "CAT02", 5.7764, 3.6148),
    ("red", "A", "CAT16", 8.5195, 5.0441),
    ("yellow", "A", "CMCCAT2000", 3.4715, 4.0869),
    ("yellow", "A", "CAT02", 2.9188, 3.6549),
    ("yellow", "A", "CAT16", 4.6755, 5.3871),
    ("blue", "A", "CMCCAT2000", 2.7536, 2.2482),
    ("blue", "A", "CAT02", 1.2427, 0.8710),
    ("blue", "A", "CAT16", 5.0972, 4.5966),
    ("green", "FL11", "CMCCAT2000", 2.0954, 2.4639),
    ("green", "FL11", "CAT02", 2.1690, 2.7334),
    ("green", "FL11", "CAT16", 2.4553, 3.0237),
]


@pytest.mark.parametrize(("curve", "light", "transform", "de00", "cmc"), INCONSTANCY)
def test_inconstancy_of_four_curves(curve, light, transform, de00, cmc):
    R = CURVES[curve]
    ours = mm.inconstancy(R, light, 10, transform=transform)
    assert ours == pytest.approx(de00, abs=1e-4)
    ours = mm.inconstancy(R, light, 10, transform=transform, formula="CMC(2:1)")
    assert ours == pytest.approx(cmc, abs=1e-4)


def test_inconstancy_is_that_of_colour_science_put_together():
    """Its own weights, white, transform at full adaptation, and CIEDE2000."""
    R = smooth_spectra(6)
    cmfs = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
    shape = colour.SpectralShape(400, 700, 10)
    spectra = [colour.SpectralDistribution(row, shape) for row in [*R, np.ones(31)]]
    seen = {
        light: np.array(
            [colour.sd_to_XYZ(sd, cmfs, colour.SDS_ILLUMINANTS[light]) for sd in spectra]
        )
        for light in ("A", "D65")
    }
    white, home = seen["A"][-1], seen["D65"][-1]
    carried = colour.adaptation.chromatic_adaptation_CMCCAT2000(
        seen["A"][:-1], white, home, 1000, 1000
    )
    lab = [
        colour.XYZ_to_Lab(XYZ / 100, colour.XYZ_to_xy(home)) for XYZ in (seen["D65"][:-1], carried)
    ]
    theirs = colour.delta_E(*lab, method="CIE 2000")
    np.testing.assert_allclose(mm.inconstancy(R, "A", 10), theirs, atol=0.01)


# ---- what is refused -----------------------------------------------------------------------


def test_unknown_choices_are_named():
    with pytest.raises(InputError, match="correction is 'none'; write multiplicative XYZ"):
        mm.special_index(STANDARD, PARAMER, reference=D65, test=D65, correction="none")
    with pytest.raises(InputError, match="transform is 'Bradford'; write CMCCAT2000"):
        mm.inconstancy(STANDARD, "A", 10, transform="Bradford")
    with pytest.raises(InputError, match="formula is 'CIE94'"):
        mm.inconstancy(STANDARD, "A", 10, formula="CIE94")
