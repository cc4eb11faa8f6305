"""Single-constant theory as a choice: kept in fit.json, and said by what uses it."""

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest

from matchkit.cli import main
from matchkit.files.fitted import write_fits
from matchkit.forms.inks import InksForm
from matchkit.forms.shops import open_shop
from matchkit.inks.palette import reflectance
from matchkit.matching.linear import linear_fractions
from matchkit.matching.solve import _linear_start
from matchkit.workflows import session as session_module
from matchkit.workflows.fitting_inks import InksFitted
from matchkit.workflows.session import Session


def test_single_constant_is_kept_and_said(seven_inks, tmp_path, capsys):
    folder = shutil.copytree(seven_inks, tmp_path / "shop")
    assert main(["fit", str(folder), "--theory", "single-constant", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["model"] == "single-constant"
    assert told["series"][0]["suspects"] == []  # the theory misses them, they were well made
    assert len(told["series"][0]["theories"]) == 6  # what it costs stands beside it
    assert main(["match", str(folder), "--lab", "70,20,30", "--json"]) == 0
    answer = capsys.readouterr()
    assert json.loads(answer.out)["matches"][0]["formulas"]
    assert "single-constant theory, which holds for tints in much white" in answer.err


def test_a_theory_that_is_none_is_refused(fitted_demo, capsys):
    assert main(["fit", str(fitted_demo), "--theory", "none"]) == 2
    assert "theory" in capsys.readouterr().err


def test_nnls_gives_the_solvers_linear_start(fitted_demo):
    """scipy's non-negative least squares is the outside reference: it knows nothing of subsets."""
    palette = next(iter(Session(fitted_demo).fits.values())).palette
    palette = replace(palette, K=palette.K / palette.S, S=np.ones_like(palette.S))
    rng, held = np.random.default_rng(17), []
    for _ in range(12):
        c = np.zeros(len(palette.inks))
        c[[0, *rng.choice(np.arange(1, len(c)), 3, replace=False)]] = rng.dirichlet([6, 1, 1, 1])
        R = reflectance(palette, c) * (1 + 0.02 * np.sin(np.arange(palette.K.shape[1])))
        found = linear_fractions(palette, R)
        inks = np.flatnonzero(found)
        start = _linear_start(palette, R, inks[None])[0]
        np.testing.assert_allclose(start, found[inks], atol=1e-9)
        held.append(len(inks))
    assert abs(found.sum() - 1) < 1e-12
    assert min(held) >= 2


def test_a_changed_folder_keeps_the_theory_that_was_chosen(fitted_demo, tmp_path):
    folder = shutil.copytree(fitted_demo, tmp_path / "shop")
    opened = open_shop(folder)
    shop, fits = Session(folder).files, Session(folder).fits
    single = {
        name: replace(fit, palette=replace(fit.palette, model="single-constant"))
        for name, fit in fits.items()
    }
    write_fits(folder, shop, single, theory="single-constant")
    now = opened.session()  # of a form whose cell ran before
    assert next(iter(now.fits.values())).palette.model == "single-constant"
    text = (folder / "spectra.csv").read_text(encoding="utf-8").splitlines()
    last = text[1].split(",")
    text[1] = ",".join([*last[:-1], f"{float(last[-1]) + 0.001:.4f}"])
    (folder / "spectra.csv").write_text("\n".join(text) + "\n", encoding="utf-8")
    asked = []
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(
            session_module, "fit_shop", lambda shop, theory: asked.append(theory) or single
        )
        changed = Session(folder)
        assert changed.fits and asked == ["single-constant"]
    told = {notice.code: notice.text for notice in changed.notices}
    assert "`matchkit fit --theory single-constant` keeps the result" in told["fit_anew"]
    assert "held-out median" in told["theory"]


def test_the_form_offers_the_theories_and_keeps_the_one_chosen(fitted_demo, tmp_path, monkeypatch):
    folder = shutil.copytree(fitted_demo, tmp_path / "shop")
    form = InksForm(open_shop(folder))
    assert form.theory.value == "best" and len(form.theory.options) == 3
    fits = Session(folder).fits
    asked = []

    def fit_at_once(session, theory):
        asked.append(theory)
        return InksFitted(fits=fits, films={}, theory=theory)

    monkeypatch.setitem(InksForm.refit.__globals__, "fit_inks", fit_at_once)
    form.theory.value = "single-constant"
    form.keep.click()
    assert asked == ["single-constant"] and not form.problems.value
    assert Session(folder).theory == "single-constant"
    assert InksForm(open_shop(folder)).theory.value == "single-constant"
