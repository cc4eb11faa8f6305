"""The demo shop is what its script writes, and what its README says."""

import csv
import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import colour
import numpy as np
import pytest

DATA = Path(__file__).parent.parent / "data"
SHOP = DATA / "demo-shop"


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_demo_shop", DATA / "make_demo_shop.py")
    module = importlib.util.module_from_spec(spec)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "dont_write_bytecode", True)  # data/ travels in the wheel
        spec.loader.exec_module(module)
    return module


def rows(file: str) -> list[dict[str, str]]:
    with (SHOP / file).open(newline="", encoding="utf-8") as lines:
        return list(csv.DictReader(lines))


def spectrum(row: dict[str, str]) -> np.ndarray:
    return np.array([float(row[str(nm)]) for nm in range(400, 701, 10)])


def test_the_script_writes_the_stored_files(
    script: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(script, "FOLDER", tmp_path / "demo-shop")
    script.main()
    for made in (tmp_path / "demo-shop").rglob("*.*"):
        stored = SHOP / made.relative_to(tmp_path / "demo-shop")
        assert made.read_bytes() == stored.read_bytes(), made.name


def test_published_targets_are_unchanged() -> None:
    # CIE 13.3-1995 test-colour samples, as colour-science tabulates them.
    published = colour.quality.datasets.tcs.SDS_TCS_CIE1995
    found = {row["target"]: spectrum(row) for row in rows("targets.csv")}
    assert len(found) == 27 and len(published) == 14
    for name, sd in published.items():
        stored = found[f"CIE 13.3 {name}"]
        np.testing.assert_allclose(stored, sd[np.arange(400, 701, 10)], rtol=0, atol=1e-9)


def test_no_drawdown_or_film_holds_more_of_an_ink_than_its_limit() -> None:
    most = {row["ink"]: float(row["max_percent"] or 100) for row in rows("inks.csv")}
    assert min(most.values()) < 100
    for row in [*rows("drawdowns.csv"), *rows("films.csv")]:
        assert float(row["percent"]) <= most[row["ink"]], row["drawdown"]


def test_up_to_ten_drawdowns_for_each_of_sixteen_inks() -> None:
    inks = {row["ink"]: row for row in rows("inks.csv")}
    assert sorted(row["role"] for row in inks.values()) == ["black", "clear"] + 13 * ["colour"] + [
        "white"
    ]
    drawdowns: dict[str, dict[str, float]] = {}
    for row in rows("drawdowns.csv"):
        drawdowns.setdefault(row["drawdown"], {})[row["ink"]] = float(row["percent"])
    assert len(drawdowns) == 153  # 160 less those over a limit: 3 blue, 1 green, 3 violet
    assert all(abs(sum(parts.values()) - 100) < 0.01 for parts in drawdowns.values())
    for name, ink in inks.items():
        own = [d for key, d in drawdowns.items() if key.rsplit(" ", 1)[0] == name]
        in_clear = [d for d in own if set(d) == {name, "Ebb Clear"}]
        if ink["max_percent"]:
            assert 7 <= len(own) < 10 and {name: 100.0} not in own
        else:
            assert len(own) == 10 and {name: 100.0} in own
        assert ink["role"] == "clear" or len(in_clear) >= 2


def test_one_card_for_each_ink_over_black_and_white() -> None:
    films = rows("films.csv")
    inks = [row["ink"] for row in rows("inks.csv")]
    cards = ("black card", "white card")
    made = {row["drawdown"]: row["ground"] for row in films}
    assert made == {f"{ink} 60 um on {card}": card for ink in inks for card in cards}
    assert {row["thickness_um"] for row in films} == {"60"}
    for name in made:  # the ink alone, or let down in clear
        own = {row["ink"]: float(row["percent"]) for row in films if row["drawdown"] == name}
        assert sum(own.values()) == 100 and set(own) <= {name.split(" 60 um")[0], "Ebb Clear"}
    assert [row["drawdown"] for row in rows("film_spectra.csv")] == list(made)


def test_grounds_are_a_smooth_card_and_five_tees() -> None:
    grounds = {row["ground"]: row for row in rows("grounds.csv")}
    assert [row["surface"] for row in grounds.values()] == 2 * ["smooth"] + 5 * ["rough"]
    assert list(grounds)[2:] == ["white tee", "grey tee", "navy tee", "black tee", "red tee"]
    for card, level in (("black card", 0.03), ("white card", 0.84)):
        np.testing.assert_allclose(spectrum(grounds[card]), level, rtol=0.005)


def test_a_film_lies_between_its_ground_and_the_ink_that_hides() -> None:
    readings = [*rows("spectra.csv"), *rows("film_spectra.csv")]
    read = {row["drawdown"]: spectrum(row) for row in readings}
    for row in rows("inks.csv"):
        black, white = (
            read[f"{row['ink']} 60 um on {card} card"].mean() for card in ("black", "white")
        )
        assert black < white
        # A clear never hides: thick, it is as bright as a white card.  Nor was an ink with a
        # limit drawn down alone.
        if row["role"] != "clear" and not row["max_percent"]:
            hides = read[f"{row['ink']} 1"].mean()
            assert black < 1.02 * hides and white > 0.98 * hides


def test_every_drawdown_was_read_and_nothing_else_but_mixes() -> None:
    read = {row["drawdown"] for row in rows("spectra.csv")}
    mixes = {row["name"] for row in rows("mixes.csv")}
    assert {row["drawdown"] for row in rows("drawdowns.csv")} <= read
    assert len(read - {row["drawdown"] for row in rows("drawdowns.csv")}) == 2
    assert read - {row["drawdown"] for row in rows("drawdowns.csv")} < mixes


def test_the_example_batch_is_out_but_not_lost() -> None:
    target, proof = (
        spectrum(rows("example/target.csv")[0]),
        spectrum(rows("example/measured.csv")[0]),
    )
    shape = colour.SpectralShape(400, 700, 10)
    cmfs = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"].copy().align(shape)
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    weights = cmfs.values * light.values[:, None]
    XYZ = np.stack([target, proof]) @ (weights / weights[:, 1].sum())
    lab = colour.XYZ_to_Lab(XYZ, colour.XYZ_to_xy(weights.sum(axis=0)))
    assert 1.2 < float(colour.delta_E(lab[0], lab[1], method="CIE 2000")) < 3
    grams = [float(row["grams"]) for row in rows("example/weighed.csv")]
    assert sum(grams) == pytest.approx(503.0)
