"""What commands say about names that are nearly right, about little, and about what is done."""

import csv
import shutil

import pytest

from matchkit.cli import main
from matchkit.files.write import csv_text, data_folder

TEAL = ["wanted.csv", "--name", "Sea teal"]


@pytest.fixture
def said(fitted_demo, tmp_path, monkeypatch, capsys):
    """Words of a command on the demo shop, OURS; output and what was said beside."""
    shutil.copytree(fitted_demo, tmp_path / "OURS")
    shutil.copy(data_folder() / "demo-shop" / "targets.csv", tmp_path / "wanted.csv")
    (tmp_path / "r.csv").write_text("ink,grams\nQuay White,95\nKelp Green,5\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)

    def run(*words, status=0):
        capsys.readouterr()
        assert main([*words]) == status
        return capsys.readouterr()

    return run


@pytest.mark.parametrize(
    "words",
    [
        ["match", "OURS", *TEAL, "--without", "kelp green"],
        ["match", "OURS", *TEAL, "--without", "Kelp Gren"],
        ["plan", "OURS", "--ink", "Kelp Gren"],
        ["fit", "OURS", "--picture", "a.png", "--ink", "kelp gren"],
        ["correct", "OURS", *TEAL, "--weighed", "r.csv", "--without", "kelp green"],
        ["library", "OURS", "wanted.csv", "--into", "a.csv", "--without", "KELP GREEN"],
        ["book", "OURS", "count", "kelp green", "5"],
        ["book", "OURS", "lot", "Kelp Gren", "K9"],
        ["book", "OURS", "drift", "kelp green"],
    ],
)
def test_a_name_that_is_nearly_right_is_answered_with_the_right_one(words, said):
    if words[2] == "drift":
        said("book", "OURS", "count", "Kelp Green", "5")
    assert "did you mean 'Kelp Green'?" in said(*words, status=2).err


def test_other_names_are_hinted_at_too(said):
    used = said("match", "OURS", *TEAL, "--use", "leftover regata teal", status=2).err
    assert "did you mean 'Leftover regatta teal'?" in used
    over = ["--over", "Black tee", "--thickness", "60"]
    assert "did you mean 'black tee'?" in said("match", "OURS", *TEAL, *over, status=2).err
    said("book", "OURS", "count", "Kelp Green", "5")
    found = said("book", "OURS", "find", "--ink", "Kelp Gren").out
    assert found == "Nothing in the book fits that; did you mean 'Kelp Green'?\n"


def test_a_comparison_of_fewer_formulas_says_why(said):
    white = ["OURS/spectra.csv", "--name", "Quay White 1"]
    told = said("compare", "OURS", *white, "--match", "3").err
    assert "nly 1 formula (3 asked for): others add inks without coming closer" in told
    assert "less sure or mostly clear" in told


def test_a_finished_library_says_that_nothing_is_left(said, tmp_path):
    few = (tmp_path / "wanted.csv").read_text(encoding="utf-8").splitlines()[:3]
    (tmp_path / "few.csv").write_text("\n".join(few) + "\n", encoding="utf-8")
    words = ["library", "OURS", "few.csv", "--into", "a.csv", "--top", "2", "--max-inks", "2"]
    n = len({line.split(",")[0] for line in few[1:]})
    said(*words)
    whole = (tmp_path / "a.csv").read_bytes()
    assert f"{n} of {n} targets are there; nothing is left to do" in said(*words).err
    (tmp_path / "a.csv").write_bytes(whole[: whole.rstrip().rfind(b"\n") + 1])
    assert f"{n - 1} of {n} targets are there; going on" in said(*words).err
    assert (tmp_path / "a.csv").read_bytes() == whole


def test_a_plan_written_again_changes_nothing_and_keeps_no_copy(said, tmp_path):
    said("new", "NEW")
    words = ["plan", "NEW", "--write", "--rungs", "4"]
    said(*words)
    folder = tmp_path / "NEW"
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    waits = said(*words).err
    assert "wait for their readings" in waits and "kept as" not in waits
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    said("plan", "NEW", "--write", "--rungs", "5")
    assert any(path.name not in before for path in folder.iterdir())  # the old rows


def readings(path, change):
    """Rows of the demo's spectra, each changed by `change(name, row number, values)`."""
    with (data_folder() / "demo-shop" / "spectra.csv").open(encoding="utf-8") as file:
        head, *rows = csv.reader(file)
    kept = [[r[0], *change(r[0], k, [float(v) for v in r[1:]])] for k, r in enumerate(rows)]
    path.write_text(csv_text(["name", *head[1:]], kept), encoding="utf-8")


def test_many_deep_blacks_in_a_percent_file_are_gathered(said, tmp_path):
    readings(
        tmp_path / "p.csv",
        lambda name, k, R: [100 * v * (0.02 if "Black" in name else 1) for v in R],
    )
    lines = [x for x in said("import", "p.csv", "--preview").err.splitlines() if "darker" in x]
    more = [x for x in said("import", "p.csv", "--preview").err.splitlines() if "the same," in x]
    assert len(lines) == 3 and len(more) == 1


def test_an_outlier_is_told_once(said, tmp_path):
    readings(tmp_path / "o.csv", lambda name, k, R: [v * (0.8 if k == 2 else 1) for v in R])
    words = ["import", "o.csv", "OURS", "--name", "Quay White 1", "--replace"]
    assert "reading 3 of 3 lies" in said(*words, "--json").err
    readings(tmp_path / "o.csv", lambda name, k, R: [v * (0.7 if k == 2 else 1) for v in R])
    told = said(*words)
    assert (told.out + told.err).count("reading 3 of 3 lies") == 1
