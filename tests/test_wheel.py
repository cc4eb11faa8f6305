"""The wheel carries all it needs: built, unpacked elsewhere, run there."""

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory):
    """The wheel's content in a folder outside the checkout."""
    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    (wheel,) = out.glob("*.whl")
    folder = out / "site"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    return folder


def run(unpacked, here, *words):
    """A command of the unpacked package, in the folder `here`."""
    code = (
        f"import sys; sys.path.insert(0, {str(unpacked)!r})\n"
        f"import matchkit; assert matchkit.__file__.startswith({str(unpacked)!r})\n"
        f"from matchkit.cli import main; sys.exit(main({list(words)!r}))"
    )
    return subprocess.run(
        [sys.executable, "-B", "-c", code], cwd=here, capture_output=True, text=True, timeout=600
    )


def test_notebooks_shop_and_ticket_come_from_the_wheel(unpacked, tmp_path, fitted_demo):
    done = run(unpacked, tmp_path, "lab", "mine", "--copy-only")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "mine" / "01_start_here.ipynb").is_file()
    shop = tmp_path / "mine" / "demo-shop"
    shutil.copy(fitted_demo / "fit.json", shop)
    words = (str(shop), str(shop / "targets.csv"), "--name", "Sea teal", "--ticket", "ticket.html")
    done = run(unpacked, tmp_path, "match", *words)
    assert done.returncode == 0, done.stderr
    assert "Formula 1" in done.stdout
    assert (tmp_path / "ticket.html").is_file()


def test_the_templates_of_the_pages_travel_with_it(unpacked):
    folder = Path("matchkit/paper/templates")
    there = {path.name for path in (ROOT / folder).iterdir()}
    assert there == {path.name for path in (unpacked / folder).iterdir()}


def test_it_carries_no_rubbish(unpacked):
    names = [path.relative_to(unpacked).as_posix() for path in unpacked.rglob("*")]
    assert not [name for name in names if "__pycache__" in name or name.endswith("fit.json")]
