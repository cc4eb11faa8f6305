"""Single-constant theory as a choice: kept in fit.json, and said by what uses it."""

import json
import shutil
from dataclasses import replace

import numpy as np

from matchkit.cli import main
from matchkit.inks.palette import reflectance
from matchkit.matching.linear import linear_fractions
from matchkit.matching.solve import _linear_start
from matchkit.workflows.session import Session


def test_single_constant_is_kept_and_said(fitted_demo, tmp_path, capsys):
    folder = shutil.copytree(fitted_demo, tmp_path / "shop")
    assert main(["fit", str(folder), "--theory", "single-constant", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["model"] == "single-constant"
    assert len(told["series"][0]["theories"]) == 5  # what it costs stands beside it
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
