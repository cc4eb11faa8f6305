"""The white tile and the kept drawdown, day by day."""

import numpy as np
import pytest
from small_shop import SPECTRA

from matchkit.errors import InputError
from matchkit.files.health import health, keep_reading, read_kept
from matchkit.inks.shop import Shop

SHOP = Shop(
    name="", geometry="d/8 specular excluded", condition="unknown", observer=10, lights=("D65",)
)
TILE = np.array(SPECTRA["White"])
DRAWN = np.array(SPECTRA["Lemon"])


@pytest.fixture
def keep(tmp_path):
    def _keep(kind, readings, date, name=None):
        keep_reading(tmp_path, kind=kind, name=name or f"our {kind}", readings=readings, date=date)

    return _keep


def test_the_first_reading_is_what_later_ones_are_held_against(tmp_path, keep):
    keep("tile", TILE, "2026-03-02")
    keep("drawdown", DRAWN, "2026-03-02")
    assert health(read_kept(tmp_path), SHOP, "2026-03-02").advice.startswith("first readings kept")
    keep("tile", TILE - 0.001, "2026-03-03")
    keep("drawdown", DRAWN, "2026-03-03")
    found = health(read_kept(tmp_path), SHOP, "2026-03-03")
    assert found.advice == "the spectrophotometer has not drifted"
    assert [each.kind for each in found.histories] == ["tile", "drawdown"]
    assert found.histories[0].dates == ("2026-03-02", "2026-03-03")
    assert found.histories[0].drifts[0].de00 == 0
    keep("tile", 0.97 * TILE, "2026-03-09")
    keep("drawdown", 0.97 * DRAWN, "2026-03-09")
    assert health(read_kept(tmp_path), SHOP, "2026-03-09").advice.startswith(
        "tile and drawdown have both moved: the instrument"
    )


def test_only_the_drawdown_moved(tmp_path, keep):
    for day, factor in (("2026-03-02", 1.0), ("2026-03-20", 0.96)):
        keep("tile", TILE, day)
        keep("drawdown", factor * DRAWN, day)
    found = health(read_kept(tmp_path), SHOP, "2026-03-20")
    assert found.advice.startswith("only the reference drawdown has moved: it is soiled")
    assert "darker" in found.histories[1].drifts[1].words
    later = health(read_kept(tmp_path), SHOP, "2026-05-20")
    assert later.advice.startswith("last looked at 61 days ago; read tile and drawdown again.")


def test_rows_of_a_day_are_averaged_and_days_are_in_order(tmp_path, keep):
    keep("tile", TILE - 0.02, "2026-03-09")
    keep("tile", TILE, "2026-03-02")
    keep("tile", TILE + 0.02, "2026-03-09")
    (history,) = health(read_kept(tmp_path), SHOP, "2026-03-09").histories
    assert history.dates == ("2026-03-02", "2026-03-09")
    assert history.drifts[1].de00 < 0.01


def test_a_new_tile_starts_a_history_of_its_own(tmp_path, keep):
    keep("tile", TILE, "2026-03-02", "old")
    keep("tile", 0.9 * TILE, "2026-03-09", "new")
    found = health(read_kept(tmp_path), SHOP, "2026-03-09")
    assert [each.name for each in found.histories] == ["old", "new"]
    assert found.advice.startswith("first readings kept")


def test_nothing_kept_yet(tmp_path):
    assert read_kept(tmp_path) == []
    assert health([], SHOP, "2026-03-02").advice.startswith("no white tile and no reference")


def test_what_is_refused_writes_nothing(tmp_path, keep):
    with pytest.raises(InputError) as refusal:
        keep("tiel", TILE + 0.5, "2.3.2026", "../x")
    assert [fault.partition(":")[0] for fault in refusal.value.faults] == [
        "'../x'",
        "'../x'",
        "kind is 'tiel'; write tile or drawdown",
        "name '../x' is a path to another folder; write a plain name",
        "date is '2.3.2026'; write year-month-day, such as 2026-03-02",
    ]
    assert list(tmp_path.iterdir()) == []


def test_a_file_with_faults_is_left_as_it_is(tmp_path, keep):
    keep("tile", TILE, "2026-03-02")
    path = tmp_path / "instrument.csv"
    bad = path.read_text().replace("2026-03-02,tile", "yesterday,tiel", 1)
    path.write_text(bad)
    with pytest.raises(InputError) as refusal:
        keep("tile", TILE, "2026-03-09")
    assert [fault.partition(";")[0] for fault in refusal.value.faults] == [
        "instrument.csv row 2: date is 'yesterday'",
        "instrument.csv row 2: kind is 'tiel'",
    ]
    assert path.read_text() == bad
