"""``fit.json``: used for what it was made of, refused for anything else."""

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest

from matchkit.files.fitted import FILE, fit_content, read_fits, write_fits
from matchkit.files.shop import read_shop
from matchkit.files.text import read_text
from matchkit.fitting.fit import VERSION
from matchkit.forms.shops import open_shop
from matchkit.inks.palette import reflectance
from matchkit.optics.film import Film
from matchkit.workflows import fitting_inks
from matchkit.workflows.fitting_inks import fit_inks, keep_fits
from matchkit.workflows.session import Session

# K, S of every third ink at 550 nm, as the fitting code of each version finds them.
FOUND = {
    1: (
        [2.809244e-03, 1.324939e-02, 2.891732e00, 1.770273e00, 4.691526e00, 2.111662e00],
        [1.0, 0.341654, 0.180966, 0.37044, 0.392743, 0.213221],
    ),
    2: (
        [0.002809999, 0.01325168, 2.892268, 1.770576, 4.692351, 2.112039],
        [1.0, 0.341618, 0.180916, 0.370387, 0.392647, 0.213174],
    ),
    3: (
        [0.002809999, 0.01325168, 2.892268, 1.770576, 4.692351, 2.112039],
        [1.0, 0.341618, 0.180916, 0.370387, 0.392647, 0.213174],
    ),
    4: (
        [0.002809999, 0.01325168, 2.892268, 1.770576, 4.692351, 2.112039],
        [1.0, 0.341618, 0.180916, 0.370387, 0.392647, 0.213174],
    ),
    5: (
        [0.002809999, 0.01325168, 2.892268, 1.770576, 4.692351, 2.112039],
        [1.0, 0.341618, 0.180916, 0.370387, 0.392647, 0.213174],
    ),
}


@pytest.fixture(scope="module")
def shop(fitted_demo):
    return read_shop(fitted_demo)


@pytest.fixture
def folder(fitted_demo, tmp_path):
    return shutil.copytree(fitted_demo, tmp_path / "shop")


def why(folder):
    return read_fits(folder, read_shop(folder), fit_content(folder))[1]


def mend(folder):
    """Another number in one reading, and another encoding of the file."""
    text = read_text(folder / "spectra.csv")
    (folder / "spectra.csv").write_text(text.replace("0.8", "0.7", 1), encoding="utf-16")


def test_a_file_mended_while_the_inks_are_fitted_is_seen(folder, monkeypatch):
    """The digest is that of what was read, so the fit is not taken for the mended folder's."""
    kept, _ = read_fits(folder, read_shop(folder), fit_content(folder))

    def slow_fit(shop, theory):
        mend(folder)
        return kept["series"]

    monkeypatch.setattr(fitting_inks, "fit_shop", slow_fit)
    monkeypatch.setattr(fitting_inks, "film_fits", lambda shop, theory: kept["films"])
    session = Session(folder)
    keep_fits(session, fit_inks(session))
    assert why(folder) == f"{FILE} is of other drawdowns"


def test_what_is_written_otherwise_and_says_the_same_keeps_the_fit(folder):
    text = (folder / "spectra.csv").read_text(encoding="utf-8")
    (folder / "spectra.csv").write_text(text, encoding="utf-16")
    assert why(folder) == ""
    mend(folder)
    assert why(folder) == f"{FILE} is of other drawdowns"


def test_a_shop_that_was_opened_before_is_read_again_before_it_is_fitted(folder, monkeypatch):
    """As a form does whose cell ran an hour ago."""
    opened = open_shop(folder)
    mend(folder)
    kept, _ = read_fits(folder, opened.shop, fit_content(folder))
    seen = []
    monkeypatch.setattr(
        fitting_inks, "fit_shop", lambda shop, theory: seen.append(shop) or kept["series"]
    )
    monkeypatch.setattr(fitting_inks, "film_fits", lambda shop, theory: kept["films"])
    session = opened.session()
    keep_fits(session, fit_inks(session))
    R = [np.concatenate([d.readings for d in s.drawdowns]) for s in (seen[0], read_shop(folder))]
    np.testing.assert_array_equal(*R)
    found, said = read_fits(folder, read_shop(folder), fit_content(folder))
    assert said == "" and found["films"]


def changed(content, kind, way):
    ink = content[kind][0]["inks"][0]
    if way == "deep":
        return "[" * 100_000
    if way == "unlike":
        return json.dumps([content])
    if way == "missing":
        del content[kind][0]["scores"]
    elif way == "short":
        ink["K"] = ink["K"][:30]
    elif way == "version":
        content["fitting"] = 0
    elif way == "other light":
        content[kind][0]["light"] = "A"
    elif way == "unknown ink":
        ink["ink"] = "Nobody's"
    else:
        ink["S"][3] = {"nan": float("nan"), "zero": 0, "huge": 10**400, "text": "a"}[way]
    return json.dumps(content)


@pytest.mark.parametrize("kind", ["series", "films"])
@pytest.mark.parametrize(
    "way",
    ["deep", "unlike", "missing", "short", "other light", "unknown ink",
     "nan", "zero", "huge", "text", "version"],
)  # fmt: skip
def test_a_fit_that_can_t_be_right_is_not_used(fitted_demo, shop, tmp_path, kind, way):
    content = json.loads((fitted_demo / FILE).read_text(encoding="utf-8"))
    (tmp_path / FILE).write_text(changed(content, kind, way), encoding="utf-8")
    says = "is of another version" if way == "version" else "can't be read"
    assert read_fits(tmp_path, shop, fit_content(tmp_path)) == ({}, f"{FILE} {says}")


def test_the_version_of_the_fitting_code_is_that_of_its_results(fitted_demo, shop):
    """Where this fails, `VERSION` is raised and the new numbers are noted beside it."""
    (fit,) = read_fits(fitted_demo, shop, fit_content(fitted_demo))[0]["series"].values()
    K, S = FOUND[VERSION]
    np.testing.assert_allclose(fit.palette.K[::3, 15], K, rtol=1e-3)
    np.testing.assert_allclose(fit.palette.S[::3, 15], S, rtol=1e-3)


def test_a_fit_of_drawdowns_that_show_their_card_is_kept_with_the_card(folder, shop):
    ((series, fit),) = read_fits(folder, shop, fit_content(folder))[0]["series"].items()
    film = Film(R_g=np.linspace(0.7, 0.8, 31), thickness_um=100.0)
    shows = replace(fit, palette=replace(fit.palette, film=film))
    write_fits(folder, shop, {series: shows})
    kept = read_fits(folder, shop, fit_content(folder))[0]["series"][series]
    np.testing.assert_allclose(
        reflectance(kept.palette, np.eye(len(shop.inks))),
        reflectance(shows.palette, np.eye(len(shop.inks))),
    )
