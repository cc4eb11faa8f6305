"""Single-constant theory as a choice: kept in fit.json, and said by what uses it."""

import json
import shutil

from matchkit.cli import main


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
