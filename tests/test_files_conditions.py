"""How a file says it was measured, held against the shop (CIE 015, ISO 13655)."""

from dataclasses import replace

import numpy as np
import pytest
from broken_files import TWO, cgats, cxf
from small_shop import SPECTRA, wide

from matchkit.errors import InputError
from matchkit.files.readings import Stated, stated_in
from matchkit.files.spectrum import read_spectra, read_spectrum
from matchkit.inks.shop import GEOMETRIES, Shop

EXCLUDED, INCLUDED, ANNULAR = GEOMETRIES
SPHERE = Shop(name="", geometry=EXCLUDED, condition="UV included", observer=10, lights=("D65",))
PRESS = replace(SPHERE, geometry=ANNULAR, condition="M1")


@pytest.fixture
def write(tmp_path):
    def _write(head="", content=None):
        path = tmp_path / "target.txt"
        path.write_text(content or cgats(head=head))
        return path

    return _write


def faults_of(path, **more):
    with pytest.raises(InputError) as refusal:
        read_spectra(path, **more)
    assert all(fault.isprintable() for fault in refusal.value.faults)
    return refusal.value.faults


@pytest.mark.parametrize(
    ("key", "value", "expected"),
    [
        ("Geometry", "d/8 specular included", {"geometry": INCLUDED}),
        ("geometry", "d:8, specular component excluded", {"geometry": EXCLUDED}),
        ("MODE", "SCI", {"geometry": INCLUDED}),
        ("mode", "SPEX", {"geometry": EXCLUDED}),
        ("Measurement geometry", "di:8°", {"geometry": INCLUDED}),
        ("Measurement geometry", "8/d", {"geometry": "d/8"}),
        ("INSTRUMENTATION", "unspecified 45:0", {"geometry": ANNULAR}),
        ("geometry", "0/45c", {"geometry": ANNULAR}),
        ("geometry", "d/0", {"geometry": "d/0"}),
        ("Illumination", "M0_Incandescent", {"condition": "M0"}),
        ("MEASUREMENT_SOURCE", "M2, black backing", {"condition": "M2", "backing": "black"}),
        ("UV", "included", {"condition": "UV included"}),
        ("UV filter", "cut", {"condition": "UV excluded", "filter": "cut"}),
        ("FILTER", "UV cut", {"condition": "UV excluded", "filter": "UV cut"}),
        ("Sample backing", "White ceramic", {"backing": "white"}),
        ("Backing", "newsprint", {"backing": "newsprint"}),
        ("Filter", "none", {}),
        ("Customer", "45/0 M1 over black Ltd", {}),
        ("Measurement time", "12:45:00", {}),
        ("Measurement", "12:45:0", {}),
        ("geometry", "unknown", {}),
        ("Geometry", "", {}),
    ],
)
def test_words(key, value, expected):
    assert stated_in([(key, value)]) == (Stated(**expected), [])


def test_more_exact_words_win_and_contradictions_are_told():
    exact, faults = stated_in([("geometry", "d/8"), ("specular", "excluded"), ("uv", "included")])
    assert (exact.geometry, exact.condition, faults) == (EXCLUDED, "UV included", [])
    assert stated_in([("source", "M1"), ("uv", "included")])[0].condition == "M1"
    _, faults = stated_in([("source", "M0"), ("filter", "M2")])
    assert faults == ["states M0 and M2 as its condition; one file, one way of measuring"]


def test_a_long_value_takes_no_time():
    assert stated_in([("uv" + "-" * 10**6, "uv" + "-_" * 10**6)])[0].condition == ""


@pytest.mark.parametrize(
    ("shop", "head"),
    [
        (SPHERE, ""),
        (SPHERE, "GEOMETRY d/8"),
        (SPHERE, 'GEOMETRY "d/8 specular excluded"'),
        (SPHERE, "MEASUREMENT_SOURCE M0"),
        (SPHERE, "MEASUREMENT_SOURCE M1"),
        (replace(SPHERE, condition="UV excluded"), "FILTER M2"),
        (replace(SPHERE, condition="unknown"), "FILTER M2"),
        (PRESS, 'MEASUREMENT_SOURCE "M1 45/0"'),
        (PRESS, 'UV "included"'),
    ],
)
def test_what_agrees_is_taken_without_a_word(write, shop, head):
    spectra, notes = read_spectra(write(head), shop=shop)
    assert len(spectra) == 2
    assert notes == []


@pytest.mark.parametrize(
    ("shop", "head", "reason"),
    [
        (
            SPHERE,
            "GEOMETRY 45/0",
            "measured 45/0, but this shop measures d/8 specular excluded; no",
        ),
        (
            PRESS,
            "MODE SPIN",
            "measured d/8 specular included, but this shop measures 45/0; no rule",
        ),
        (PRESS, "GEOMETRY d/8", "measured d/8, but this shop measures 45/0; no rule"),
        (SPHERE, "GEOMETRY d/0", "measured d/0, but this shop measures"),
        (
            SPHERE,
            "MODE SPIN",
            "`matchkit import --index 1.5` (of most resins: common practice, no source)",
        ),
        (SPHERE, "FILTER M2", "measured with M2, but this shop measures with UV included; measure"),
        (PRESS, "FILTER M0", "measured with M0, but this shop measures with M1; measure again, or"),
        (PRESS, "FILTER M3", "measured with M3, but this shop measures with M1; polarising takes"),
    ],
)
def test_what_does_not_agree_is_refused_once_for_the_file(write, shop, head, reason):
    (fault,) = faults_of(write(head), shop=shop)
    assert fault.startswith("target.txt: 'Lemon', 'White': ")
    assert reason in fault


def test_a_glossy_film_of_known_index_is_converted(write):
    """Its surface sends back ((n - 1) / (n + 1))^2 = 0.04 for n = 1.5 (Fresnel)."""
    spectra, notes = read_spectra(write("MODE SPIN"), shop=SPHERE, index=1.5)
    np.testing.assert_allclose(spectra[1].readings, np.array(SPECTRA["White"]) - 0.04, atol=2e-5)
    assert {each.geometry for each in spectra} == {EXCLUDED}
    assert notes == [
        "target.txt: 'Lemon', 'White': turned into d/8 specular excluded for a glossy film of"
        " index 1.5; a matte film would need another reading"
    ]
    back, _ = read_spectra(write("MODE SPEX"), shop=replace(SPHERE, geometry=INCLUDED), index=1.5)
    np.testing.assert_allclose(back[1].readings, np.array(SPECTRA["White"]) + 0.04, atol=2e-5)


def test_a_film_too_dark_to_be_glossy_is_not_converted(write):
    dark = cgats({"Black": SPECTRA["Black"]}, head="MODE SPIN")
    faults = faults_of(write(content=dark), shop=SPHERE, index=1.5)
    assert faults[0].startswith(
        "target.txt: 'Black': without what a surface of index 1.5 mirrors, -0.028 is left"
    )


def test_what_does_not_fluoresce_reads_alike_in_m0_to_m2(write):
    spectra, notes = read_spectra(write("FILTER M0"), shop=PRESS, not_fluorescent=True)
    assert len(spectra) == 2
    assert notes == [
        "target.txt: 'Lemon', 'White': taken as measured with M1, since you say that nothing"
        " fluoresces"
    ]
    assert "polarising" in faults_of(write("FILTER M3"), shop=PRESS, not_fluorescent=True)[0]


def both_ways():
    """One name read with the specular part included and excluded."""
    inside = wide({"Lemon": [R + 0.04 for R in TWO["Lemon"]]}).splitlines()
    outside = wide(TWO).splitlines()
    rows = [row.replace(",", ",SPIN,", 1) for row in inside[1:]]
    rows += [row.replace(",", ",SPEX,", 1) for row in outside[1:]]
    return "\n".join([inside[0].replace(",", ",geometry,", 1), *rows])


def test_of_several_ways_the_shops_is_taken(write):
    content = both_ways().replace("SPIN", INCLUDED).replace("SPEX", EXCLUDED)
    path = write(content=content)
    spectra, notes = read_spectra(path, shop=SPHERE)
    assert [each.name for each in spectra] == ["Lemon", "White"]
    np.testing.assert_allclose(spectra[0].R, SPECTRA["Lemon"][0], atol=6e-5)
    assert "'Lemon': readings left out: measured d/8 specular included" in notes[0]
    assert read_spectra(path, shop=SPHERE, index=1.5)[1] == [
        "target.txt: 'Lemon': readings left out: the shop's own way is there too"
    ]
    assert "'Lemon' was measured in 2 ways: d/8 specular included; d/8" in faults_of(path)[0]


def test_cxf_states_what_is_checked(write):
    path = write(content=cxf())
    assert read_spectrum(path, "White", shop=SPHERE)[0].geometry == EXCLUDED
    assert "no rule turns one into the other" in faults_of(path, shop=PRESS)[0]


def test_a_spectrum_that_is_chosen_is_judged_alone(write):
    rows = wide(TWO).splitlines()
    rows = [rows[0].replace(",", ",geometry,", 1), rows[1].replace(",", ",45/0,", 1)] + [
        row.replace(",", ",SPEX,", 1) for row in rows[2:]
    ]
    path = write(content="\n".join(rows).replace("SPEX", EXCLUDED))
    assert read_spectrum(path, "White", shop=SPHERE)[0].name == "White"
    assert "'Lemon': measured 45/0" in faults_of(path, shop=SPHERE)[0]
    with pytest.raises(InputError, match="no 'Lemmon'; it holds 'Lemon', 'White'; did you mean"):
        read_spectrum(path, "Lemmon", shop=SPHERE)
