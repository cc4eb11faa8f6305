"""Where the customer gave Lab values only: check and correct with --lab, and who refuses it."""

import json
import shutil

import numpy as np
import pytest

from matchkit.cli import main
from matchkit.colorimetry.tristimulus import Lab
from matchkit.files.spectrum import read_spectrum
from matchkit.files.write import data_folder

EXAMPLE = data_folder() / "demo-shop" / "example"
TARGET, WEIGHED, MEASURED = (EXAMPLE / f"{n}.csv" for n in ("target", "weighed", "measured"))


@pytest.fixture(scope="module")
def shop(fitted_demo, tmp_path_factory):
    folder = tmp_path_factory.mktemp("lab") / "shop"
    shutil.copytree(fitted_demo, folder)
    return folder


@pytest.fixture
def run(capsys):
    def _run(*words):
        capsys.readouterr()
        try:
            status = main([str(word) for word in words])
        except SystemExit as stop:
            status = stop.code
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        return status, said.out, said.err

    return _run


@pytest.fixture
def ask(run):
    def _ask(*words):
        status, out, err = run(*words, "--json")
        assert status == 0, err
        return json.loads(out)

    return _ask


def wanted(light, observer):
    """The Lab of the demo's target, as a customer would send it."""
    lab = Lab(read_spectrum(TARGET)[0].R, light, observer)
    return ",".join(f"{value:.6f}" for value in lab)


@pytest.mark.parametrize("first", [True, False])
def test_check_by_lab_says_what_the_spectrum_says_under_that_light(shop, ask, first):
    by_spectrum = ask("check", shop, TARGET, MEASURED)
    lab = ["--lab", wanted("D65", 10)]
    words = [*lab, MEASURED] if first else [MEASURED, *lab]
    told = ask("check", shop, *words)
    assert list(told["de00"]) == ["D65"] == list(told["delta"])
    assert told["observer"] == 10
    assert told["passed"] == by_spectrum["passed"]
    assert told["de00"]["D65"] == pytest.approx(by_spectrum["de00"]["D65"], abs=2e-4)
    assert told["delta"]["D65"]["words"] == by_spectrum["delta"]["D65"]["words"]
    assert told["spread_de00"] == pytest.approx(by_spectrum["spread_de00"])
    assert "observer" not in by_spectrum


def test_check_by_lab_under_another_light_and_observer_agrees_with_colour_science(shop, ask):
    """colour-science 0.4 gives Lab and CIEDE2000 by its own code."""
    import colour

    R = read_spectrum(MEASURED)[0].R
    sd = colour.SpectralDistribution(dict(zip(range(400, 701, 10), R.tolist(), strict=True)))
    name = "CIE 1931 2 Degree Standard Observer"
    XYZ = colour.sd_to_XYZ(
        sd,
        colour.MSDS_CMFS[name],
        colour.SDS_ILLUMINANTS["D50"],
        method="ASTM E308",
    )
    own = colour.XYZ_to_Lab(XYZ / 100, colour.CCS_ILLUMINANTS[name]["D50"])
    told = ask("check", shop, "--lab", "52.5,-40,4", "--light", "D50", "--observer", "2", MEASURED)
    theirs = colour.delta_E(np.array([52.5, -40, 4]), own, method="CIE 2000")
    assert told["observer"] == 2 and list(told["de00"]) == ["D50"]
    assert told["de00"]["D50"] == pytest.approx(float(theirs), abs=0.1)


def test_check_by_lab_in_words(shop, run):
    status, out, err = run("check", shop, "--lab", wanted("D50", 2), MEASURED, "--light", "D50",
                           "--observer", 2)  # fmt: skip
    assert status == 0
    assert "under D50, tolerance 1" in out.splitlines()[1]
    assert "Only Lab values, under D50 and 2 degrees: other lights can't be judged" in err


def test_correct_by_lab_adds_what_it_adds_by_the_spectrum(shop, ask):
    """A correction looks at the first light alone, so the two must agree."""
    words = ["--weighed", WEIGHED, "--measured", MEASURED]
    by_spectrum = ask("correct", shop, TARGET, *words)
    told = ask("correct", shop, "--lab", wanted("D65", 10), *words)
    assert told["observer"] == 10 and "observer" not in by_spectrum
    for key in ("de00_before", "lab", "de00"):
        assert list(told[key]) == ["D65"]
    grams = {each["ink"]: each["grams"] for each in told["additions"]}
    theirs = {each["ink"]: each["grams"] for each in by_spectrum["additions"]}
    assert grams == pytest.approx(theirs, abs=0.03)
    assert told["de00"]["D65"] == pytest.approx(by_spectrum["de00"]["D65"], abs=0.02)
    assert told["can_be_saved"]


def test_correct_by_lab_under_another_light_from_readings_words_and_an_over_pour(shop, ask, run):
    lab = ["--lab", wanted("D50", 2), "--light", "D50", "--observer", 2, "--weighed", WEIGHED]
    for more in (["--measured", MEASURED], ["--looks", "too dark"], ["--measured-lab", "54,-43,3"],
                 ["--plan", WEIGHED], []):  # fmt: skip
        answer = ask("correct", shop, *lab, *more)
        if "ways" not in answer:
            assert list(answer["de00"]) == ["D50"] and answer["observer"] == 2
    assert "under D50" in run("correct", shop, *lab, "--measured", MEASURED)[1]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["check", "SHOP", MEASURED], "give the target as a spectrum file or as --lab L,a,b"),
        (["check", "SHOP", TARGET, MEASURED, "--lab", "50,1,2"], "one of the two"),
        (["check", "SHOP", TARGET, MEASURED, "--light", "D50"], "go with --lab"),
        (["check", "SHOP", MEASURED, "--lab", "50,1"], "need L,a,b"),
        (["check", "SHOP", MEASURED, "--lab", "50,1,2", "--light", "moon"], "moon"),
        (["check", "SHOP", MEASURED, "--lab", "50,1,2", "--observer", "5"], "choose from 2, 10"),
        (["check", "SHOP", MEASURED, "--lab", "50,1,2", "--picture", "a.png"], "no spectrum"),
        (["check", "SHOP", MEASURED, "--lab", "50,1,2", "--name", "A"], "--name"),
        (["correct", "SHOP", "--weighed", WEIGHED], "give the target as a spectrum file"),
        (["correct", "SHOP", "--lab", "50,1,2", "--weighed", WEIGHED, "--picture", "a.png"],
         "no spectrum"),
        (["compare", "SHOP", "--lab", "50,1,2", WEIGHED], "`matchkit check` take --lab"),
    ],
)  # fmt: skip
def test_what_a_lab_cannot_do_is_said(shop, run, words, expected):
    status, out, err = run(*(shop if word == "SHOP" else word for word in words))
    assert status == 2 and not out
    assert expected in err
