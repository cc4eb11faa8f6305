"""README's pictures: the script that draws them runs, and what it draws is here."""

import runpy
from pathlib import Path

DATA = Path(__file__).parents[1] / "data"
NAMES = ["compare.png", "ladder.png", "moves.png"]
LARGEST_BYTES = 60_000  # README is read on phones


def test_the_script_draws_what_is_kept(tmp_path):
    """By name: another version of the drawing library may give other bytes."""
    script = runpy.run_path(str(DATA / "make_pictures.py"))
    script["make_pictures"](tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == NAMES
    for folder in (tmp_path, DATA / "pictures"):
        kept = [folder / name for name in NAMES]
        assert all(path.read_bytes().startswith(b"\x89PNG") for path in kept)
        assert all(path.stat().st_size < LARGEST_BYTES for path in kept)
