"""README's pictures: one script makes them all, and what they show is what the code gives now."""

import json
import re
import runpy
from pathlib import Path

import pytest

pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")

DATA = Path(__file__).parents[1] / "data"
PICTURES = DATA / "pictures"
LARGEST_BYTES = 64_000  # README is read on phones
PAGE, TICKET = "page.png", "ticket.png"


@pytest.fixture(scope="module")
def script():
    return runpy.run_path(str(DATA / "make_pictures.py"))


@pytest.fixture(scope="module")
def kept():
    return json.loads((PICTURES / "sources.json").read_text(encoding="utf-8"))


def test_the_pictures_kept_are_those_of_readme(kept):
    texts = (DATA.parent / "README.md", DATA.parent / "tests" / "studies" / "README.md")
    readme = "".join(path.read_text(encoding="utf-8") for path in texts)
    named = re.findall(r"\]\((?:\.\./\.\./)?data/pictures/([^)]+)\)", readme)
    assert sorted(path.name for path in PICTURES.glob("*.png")) == sorted(named) == sorted(kept)


def test_they_show_what_the_code_gives_now(script, kept):
    """Words and numbers; the page's are read from its widgets, without a browser."""
    for name, shown in script["sources"]().items():
        assert shown == kept[name], f"{name} is out of date: run python data/make_pictures.py"


def test_without_a_browser_the_page_is_kept_and_the_others_drawn(
    script, tmp_path, capsys, monkeypatch
):
    """By name: another version of the drawing library may give other bytes."""
    old = {PAGE: ["as it was"], TICKET: ["the ticket"], "gone.png": []}
    (tmp_path / "sources.json").write_text(json.dumps(old), encoding="utf-8")
    for name in (PAGE, TICKET):
        (tmp_path / name).write_bytes(b"old")
    monkeypatch.setattr(script["driving"], "CHROMIUM", None)
    script["make_pictures"](tmp_path)
    said = f"{PAGE} and {TICKET} are kept as they are: no Chromium is installed\n"
    assert capsys.readouterr().err == said
    assert (tmp_path / PAGE).read_bytes() == b"old"
    shown = json.loads((tmp_path / "sources.json").read_text(encoding="utf-8"))
    assert shown[PAGE] == ["as it was"]
    assert {path.name for path in tmp_path.glob("*.png")} == set(shown)
    for folder in (tmp_path, PICTURES):
        pictures = [
            folder / name for name in shown if folder == PICTURES or name not in (PAGE, TICKET)
        ]
        assert all(path.read_bytes().startswith(b"\x89PNG") for path in pictures)
        assert all(path.stat().st_size < LARGEST_BYTES for path in pictures)
