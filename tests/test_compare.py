"""Recipes beside a target: against colour-science, and where the answer is known."""

import colour
import numpy as np
import pytest
from chart import PATCHES
from hypothesis import given, settings
from hypothesis import strategies as st

from matchkit.colorimetry import tristimulus as cm
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import MeasuredIlluminant, lamp, light_name
from matchkit.colorimetry.metamerism import inconstancy, observer_index, special_index
from matchkit.errors import InputError
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Ink
from matchkit.matching.compare import compare, limiting_ink
from matchkit.matching.rank import Candidate, least_metameric
from matchkit.matching.solve import minimise

CHART = np.array([sd[GRID_NM] for sd in PATCHES.values()])
CMFS_10 = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
# Every light of colour-science that reaches from 400 to 700 nm.
LIGHTS = [
    name
    for name, sd in colour.SDS_ILLUMINANTS.items()
    if sd.wavelengths[0] <= 400 and sd.wavelengths[-1] >= 700
]
STEP_NM = np.arange(380.0, 781.0, 5.0)
SHOP_FLOOR = lamp("shop floor", STEP_NM, 1 + np.exp(-(((STEP_NM - 450) / 12) ** 2)))


# ---- a palette whose spectra are known ------------------------------------------------------


def bump(centre_nm: float, width_nm: float) -> np.ndarray:
    return np.exp(-(((GRID_NM - centre_nm) / width_nm) ** 2))


INKS = {
    "White": ("white", np.full(31, 0.002), 1.0),
    "Black": ("black", np.full(31, 20.0), 0.2),
    "Yellow": ("colour", 6 * bump(420, 50), 0.4),
    "Red": ("colour", 6 * bump(510, 50), 0.4),
    "Plain blue": ("colour", 6 * bump(610, 60), 0.4),
    # As blue to the eye, but it lets the far red through.
    "Odd blue": ("colour", 6 * bump(600, 40), 0.4),
}
PALETTE = Palette(
    inks=tuple(Ink(name=name, role=role) for name, (role, _, _) in INKS.items()),
    K=np.array([K for _, K, _ in INKS.values()]),
    S=np.array([np.full(31, S) for _, _, S in INKS.values()]),
    crowding=np.zeros(len(INKS)),
    base=0.0,
    gain=0.96,
    k2=0.4,
)
TARGET = np.array([0.88, 0, 0.05, 0, 0.07, 0])
TARGET_R = reflectance(PALETTE, TARGET)


@pytest.fixture(scope="module")
def odd_recipe() -> np.ndarray:
    """The target matched under D65 with the wrong blue."""
    start = np.array([[0.86, 0, 0.05, 0.01, 0, 0.08]])
    F, found = minimise(PALETTE, Target.from_spectrum(TARGET_R, ["D65"], 10), start)
    assert F[0] < 0.01
    return found[0]


# ---- side by side ---------------------------------------------------------------------------


@pytest.mark.parametrize("light", LIGHTS)
def test_lab_under_every_light_of_colour_science(light):
    """The measured chart of ISO 17321-1; lights tabulated by 5 nm are taken to 1 nm by
    Sprague's interpolation, which colour-science offers, where ours is Lagrange's."""
    sd = colour.SDS_ILLUMINANTS[light].copy()
    if light != "D65":
        sd.interpolator = colour.SpragueInterpolator
    shape = colour.SpectralShape(400, 700, 10)
    spectra = [colour.SpectralDistribution(row, shape) for row in [*CHART, np.ones(31)]]
    XYZ = np.array([colour.sd_to_XYZ(each, CMFS_10, sd) for each in spectra])
    theirs = colour.XYZ_to_Lab(XYZ[:-1] / 100, colour.XYZ_to_xy(XYZ[-1]))
    recipes = [(str(i), R) for i, R in enumerate(CHART)]
    ours = [
        sample.lab[0] for sample in compare(CHART[0], recipes, lights=[light], observer=10).samples
    ]
    assert colour.delta_E(ours, theirs, method="CIE 2000").max() < 0.05


def test_every_number_is_that_of_its_own_function():
    lights = ["D50", "D65", "A", SHOP_FLOOR]
    seen = compare(CHART[3], [("one", CHART[4]), ("two", CHART[5])], lights=lights, observer=2)
    assert seen.light_names == ("D50", "D65", "A", "shop floor")
    for sample, R in zip(seen.samples, CHART[4:6], strict=True):
        for k, light in enumerate(lights):
            target, lab = cm.Lab([CHART[3], R], light, 2)
            view = {"reference": ("D50", 2), "test": (light, 2)}
            np.testing.assert_allclose(sample.lab[k], lab)
            np.testing.assert_allclose(sample.de00[k], cm.de00(target, lab))
            np.testing.assert_allclose(sample.delta[k], cm.delta_LCH(target, lab))
            index = special_index(CHART[3], R, **view)
            np.testing.assert_allclose(sample.metamerism[k], index, atol=1e-9)
            np.testing.assert_allclose(sample.inconstancy[k], inconstancy(R, light, 2), atol=1e-9)
        assert sample.metamerism[0] == pytest.approx(0, abs=1e-9)
        assert sample.inconstancy[1] == pytest.approx(0, abs=1e-9)
        assert sample.worst == np.argmax(sample.de00)
        change = observer_index(CHART[3], R, reference=("D50", 2))
        assert sample.observer_change == pytest.approx(float(change))


def test_the_target_beside_itself():
    seen = compare(TARGET_R, [("same", TARGET_R)], lights=["D65", "A", "FL11"], observer=10)
    (sample,) = seen.samples
    assert sample.words == ("no visible difference",) * 3
    for numbers in (sample.de00, sample.delta, sample.metamerism, sample.observer_change):
        np.testing.assert_allclose(numbers, 0, atol=1e-9)


def test_words_follow_the_light(odd_recipe):
    recipes = [("odd", reflectance(PALETTE, odd_recipe))]
    seen = compare(TARGET_R, recipes, lights=["D65", "A", "FL11"], observer=10)
    (sample,) = seen.samples
    assert sample.words[0] == "no visible difference"
    assert sample.words[1:] == ("duller", "cleaner")
    assert sample.delta[1, 1] < -0.5 and sample.delta[2, 1] > 0.5
    assert seen.light_names[sample.worst] == "FL11"


def test_the_method_is_kept_with_the_numbers():
    seen = compare(CHART[0], [("x", CHART[1])], lights=["D65", "A"], observer=10)
    assert (seen.correction, seen.transform) == ("multiplicative XYZ", "CMCCAT2000")


def test_all_doubled_names_are_told_at_once():
    recipes = [("x", CHART[1]), ("y", CHART[2]), ("x", CHART[3])]
    with pytest.raises(InputError) as fault:
        compare(CHART[0], recipes, lights=["A", "D65", "A"], observer=10)
    assert [line.split(";")[0] for line in fault.value.faults] == [
        "recipe 'x' comes twice",
        "light 'A' comes twice",
    ]
    with pytest.raises(InputError, match="no light is named"):
        compare(CHART[0], recipes[:2], lights=[], observer=10)


# ---- which ink ------------------------------------------------------------------------------


def test_the_odd_ink_is_blamed_and_the_right_one_named(odd_recipe):
    swaps = limiting_ink(PALETTE, odd_recipe, TARGET_R, first="D65", test="FL11", observer=10)
    before = special_index(
        TARGET_R, reflectance(PALETTE, odd_recipe), reference=("D65", 10), test=("FL11", 10)
    )
    assert before > 1
    assert (swaps[0].ink, swaps[0].instead) == ("Odd blue", "Plain blue")
    assert swaps[0].gain == pytest.approx(float(before), abs=0.02)
    assert swaps[0].index < 0.02 and swaps[0].de00 < 0.01
    np.testing.assert_allclose(swaps[0].fractions, TARGET, atol=2e-3)
    assert [swap.gain for swap in swaps] == sorted((swap.gain for swap in swaps), reverse=True)
    assert len({swap.ink for swap in swaps}) == len(swaps)


def test_an_ink_that_is_not_to_be_used_is_not_offered(odd_recipe):
    upper = np.ones(6)
    upper[PALETTE.index("Plain blue")] = 0
    view = {"first": "D65", "test": "A", "observer": 10}
    swaps = limiting_ink(PALETTE, odd_recipe, TARGET_R, upper=upper, **view)
    assert "Plain blue" not in {swap.instead for swap in swaps}


def test_no_ink_limits_a_match():
    view = {"first": "D65", "test": "FL11", "observer": 10}
    assert limiting_ink(PALETTE, TARGET, TARGET_R, **view) == []
    assert limiting_ink(PALETTE, np.full(6, 1 / 6), TARGET_R, **view) == []


# ---- ranks ----------------------------------------------------------------------------------


def candidate(name: str, de00: list[float], cost: float | None, n_ink: int = 3) -> Candidate:
    inks = tuple(f"{name} {i}" for i in range(n_ink))
    return Candidate(
        inks=inks,
        grams=(1.0,) * n_ink,
        R=TARGET_R,
        lab=np.zeros((2, 3)),
        de00=np.array(de00),
        F=de00[0],
        cost_per_kg=cost,
    )


def test_the_steady_come_first():
    pool = [
        candidate("near at home", [0.0, 2.0], 10),
        candidate("steady", [0.6, 0.7], 20),
        candidate("as steady, cheaper", [0.3, 0.75], 12),
        candidate("as steady, fewer inks", [0.2, 0.78], None, n_ink=2),
    ]
    ranked = least_metameric(pool)
    assert [each.inks[0][:-2] for each in ranked] == [
        "as steady, fewer inks",
        "as steady, cheaper",
        "steady",
        "near at home",
    ]
    assert ranked[3] is pool[0]
    assert least_metameric([]) == []


# ---- a measured light -----------------------------------------------------------------------


def test_a_lamp_stands_wherever_a_name_does():
    sd = colour.SDS_ILLUMINANTS["FL7"]
    same = lamp("booth", sd.wavelengths, 3 * sd.values)
    assert light_name(same) == "booth"
    np.testing.assert_allclose(cm.white(same, 10), cm.white("FL7", 10), atol=1e-9)
    np.testing.assert_allclose(cm.Lab(CHART, same, 2), cm.Lab(CHART, "FL7", 2), atol=1e-9)
    assert cm.hex_colours(CHART, same, 10) == cm.hex_colours(CHART, "FL7", 10)
    pair = {"reference": ("D65", 10)}
    ours = special_index(CHART[0], CHART[1], test=(same, 10), **pair)
    assert ours == pytest.approx(float(special_index(CHART[0], CHART[1], test=("FL7", 10), **pair)))


def test_equal_lamps_share_one_table():
    again = lamp("shop floor", STEP_NM, np.array(SHOP_FLOOR.power))
    assert again == SHOP_FLOOR
    assert cm.weights(again, 10) is cm.weights(SHOP_FLOOR, 10)


def test_a_bad_lamp_is_refused_by_its_name():
    with pytest.raises(InputError, match="lamp 'window': found 410-700 nm"):
        lamp("window", GRID_NM[1:], np.ones(30))
    with pytest.raises(InputError, match="lamp is called 'D65'"):
        MeasuredIlluminant(name="D65", wavelengths_nm=tuple(GRID_NM), power=(1.0,) * 31)
    with pytest.raises(InputError, match="lamp is called ' '"):
        lamp(" ", GRID_NM, np.ones(31))


# ---- the outline of a tolerance -------------------------------------------------------------

coordinates = st.tuples(st.floats(0, 100), st.floats(-90, 90), st.floats(-90, 90))


@settings(derandomize=True, deadline=None, max_examples=50)
@given(coordinates, st.sampled_from([0.5, 1.0, 2.0]), st.sampled_from(["ab", "LC"]))
def test_the_outline_is_one_ciede2000_away(lab, radius, plane):
    """By colour-science's formula, a thousandth of the radius at most."""
    outline = cm.de00_contour(lab, radius, plane, n=24)
    theirs = colour.delta_E(np.array(lab), outline, method="CIE 2000")
    # Exactly half a turn of hue apart, rounding decides which way round the mean hue lies.
    turn = np.abs(np.arctan2(outline[:, 2], outline[:, 1]) - np.arctan2(lab[2], lab[1]))
    told = np.abs(turn - np.pi) > 1e-6
    np.testing.assert_allclose(theirs[told], radius, atol=1e-3)
    if plane == "ab":
        np.testing.assert_array_equal(outline[:, 0], lab[0])
    else:  # the plane through the neutral axis and the centre
        side = outline[:, 1] * lab[2] - outline[:, 2] * lab[1]
        np.testing.assert_allclose(side, 0, atol=1e-6)


def test_the_outline_goes_once_round_and_is_no_circle():
    centre = np.array([45.0, 20.0, -60.0])
    steps = cm.de00_contour(centre, 1.0, "ab")[:, 1:] - centre[1:]
    angles = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    assert (np.diff(angles) > 0).all() and 6 < np.ptp(angles) < 2 * np.pi
    lengths = np.hypot(*steps.T)
    assert lengths.max() > 1.8 * lengths.min()


@pytest.mark.parametrize("centre", [(50, 0, 0), (50, 0.3, 0.2), (0, 0, 0), (100, 0, 0)])
@pytest.mark.parametrize("plane", ["ab", "LC"])
def test_the_outline_of_a_grey(centre, plane):
    outline = cm.de00_contour(centre, 1.0, plane)
    np.testing.assert_allclose(cm.de00(centre, outline), 1, atol=1e-3)


def test_an_unknown_plane_is_named():
    with pytest.raises(InputError, match="plane is 'xy'; write ab or LC"):
        cm.de00_contour([50, 0, 0], 1.0, "xy")
