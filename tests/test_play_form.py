"""The sliders: colours against colour-science, the pace of a move, and any shop."""

import re
import time

import numpy as np
import pytest

pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")

from matchkit import forms
from matchkit.forms.play import PlayForm
from matchkit.inks.palette import reflectance
from matchkit.practice.simulated_shop import LIGHTS, OBSERVER, practice_shop


@pytest.fixture
def given(monkeypatch):
    monkeypatch.setenv("MATCHKIT_FORMS_RAISE", "1")
    return PlayForm({"invented": practice_shop().palette}, LIGHTS[0], OBSERVER)


def test_a_move_shows_the_colour_and_an_arrow_for_each_ink_at_once(given):
    """L*a*b* by colour-science's own sum over the spectrum."""
    import colour

    palette = practice_shop().palette
    given.sliders[palette.index("Scarlet")].value = 25.0
    c = np.zeros(len(palette.inks))
    c[palette.index("White")], c[palette.index("Scarlet")] = 0.8, 0.2
    R = reflectance(palette, c)
    sd = colour.SpectralDistribution(R, np.arange(400, 701, 10))
    light = colour.SDS_ILLUMINANTS["D65"]
    cmfs = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
    xy = colour.CCS_ILLUMINANTS["CIE 1964 10 Degree Standard Observer"]["D65"]
    L, a, b = colour.XYZ_to_Lab(colour.sd_to_XYZ(sd, cmfs, light, method="ASTM E308") / 100, xy)
    shown = [float(n) for n in re.search(
        r"L\* ([-\d.]+)  a\* ([-\d.]+)  b\* ([-\d.]+)", given.picture.value).groups()]  # fmt: skip
    assert shown == pytest.approx([L, a, b], abs=0.3)
    assert all(name in given.picture.value for name in palette.names)
    assert len(given.trail) == 2


def test_a_move_takes_less_than_a_tenth_of_a_second(given):
    slider = given.sliders[3]
    took = []
    for g in range(1, 12):
        began = time.process_time()
        slider.value = float(g)
        took.append(time.process_time() - began)
    assert np.median(took) < 0.1  # of processor time


def test_an_empty_container_is_told_and_white_comes_back(given):
    given.sliders[0].value = 0.0
    assert "empty" in given.picture.value
    given._open()
    assert "100.0 g" in given.picture.value


def test_it_opens_on_a_shop_and_without_one():
    assert forms.play() is not None
    assert forms.play(forms.open_shop("demo-shop")) is not None
