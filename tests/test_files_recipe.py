"""Recipe files: grams or percents, never both."""

import pytest

from matchkit.errors import InputError
from matchkit.files.recipe import read_recipe
from matchkit.inks.shop import Mix

SHELF = ["White", "Lemon", "Old cream"]


@pytest.fixture
def write(tmp_path):
    def _write(content):
        path = tmp_path / "job 12.csv"
        path.write_text(content, encoding="utf-8")
        return path

    return _write


def test_grams(write):
    recipe = read_recipe(write("ink,grams\nWhite,300\nLemon,100\nOld cream,0\n"), SHELF)
    assert (recipe.name, recipe.inks, recipe.grams) == ("job 12", ("White", "Lemon"), (300, 100))
    assert recipe.fractions == (0.75, 0.25)


def test_percents_come_without_grams_and_are_made_to_sum_to_100(write):
    recipe = read_recipe(write("Ink;Percent\nWhite;74,9\nLemon;25\n"))
    assert recipe.grams is None
    assert recipe.fractions == pytest.approx((74.9 / 99.9, 25 / 99.9))


def test_any_ink_will_do_when_none_are_given(write):
    assert read_recipe(write("ink,grams\nUnheard of,1\n")).inks == ("Unheard of",)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (
            "ink,grams\nWhite,1\nLemmon,2\n",
            "row 3: ink 'Lemmon' is not in the shop's inks; did you",
        ),
        ("ink,grams\nWhite,1\nWhite,2\n", "row 3: ink 'White' is already in row 2"),
        ("ink,grams\nWhite,-1\n", "row 2: grams is -1; write 0 or more"),
        ("ink,grams\nWhite,0\nLemon,0\n", "row 2: grams sum to 0; weigh something"),
        ("ink,grams\nWhite,\n", "row 2: grams: nothing is there"),
        ("ink,grams\n,5\n", "row 2: ink is empty"),
        ("ink,grams\n", "no inks under the header"),
        ("ink,grams,percent\nWhite,1,100\n", "columns 'percent' and 'grams' are both there"),
        ("ink,amount\nWhite,1\n", "no column 'percent' or 'grams'"),
        ("ink,percent\nWhite,90\nLemon,5\n", "row 2: percents sum to 95; expected 100 +- 0.1"),
        ("ink,grams\nWhite,12,5\nLemon,3,5\n", "row 2: 3 cells under 2 columns; decimal commas"),
        ("ink;grams\nWhite;1,234\n", "'1,234' can be read as 1234 or as 1,2340"),
        ("ink;grams\nWhite;12,5\nLemon;3.5\n", "use two decimal marks"),
        (
            "ink,grams\nWhite,1e300\nLemon,1e308\n",
            "row 2: grams sum to 1e+308, more than any batch",
        ),
        ("", "the file is empty"),
    ],
)
def test_faults(write, content, reason):
    with pytest.raises(InputError) as refusal:
        read_recipe(write(content), SHELF)
    assert refusal.value.faults[0].startswith("job 12.csv")
    assert reason in refusal.value.faults[0]


def test_all_faults_in_one_go(write):
    with pytest.raises(InputError) as refusal:
        read_recipe(write("ink,grams\nWhit,1\nLemon,-2\nLemon,x\n"), SHELF)
    assert len(refusal.value.faults) == 4


def test_where_weights_are_needed_percents_are_refused(write):
    with pytest.raises(InputError, match="weights are needed here; write ink,grams"):
        read_recipe(write("ink,percent\nWhite,100\n"), grams_only=True)
    assert read_recipe(write("ink,grams\nWhite,100\n"), grams_only=True).grams == (100,)


CREAM = Mix(name="Old cream", inks=("White", "Lemon"), fractions=(0.95, 0.05))


def test_a_mix_is_taken_apart_and_told(write):
    path = write("ink,grams\nOld cream,200\nLemon,30\n")
    recipe = read_recipe(path, ["White", "Lemon"], mixes=[CREAM])
    assert (recipe.inks, recipe.grams) == (("White", "Lemon"), pytest.approx((190, 40)))
    assert recipe.fractions == pytest.approx((190 / 230, 40 / 230))
    assert (recipe.poured, recipe.shares) == (("Old cream", "Lemon"), (200 / 230, 30 / 230))
    assert recipe.notes == ("Old cream is a mix: taken as 95 % White, 5 % Lemon",)
    assert read_recipe(write("ink,grams\nLemon,30\n"), ["Lemon"], mixes=[CREAM]).notes == ()


def test_a_mix_with_an_ink_that_was_not_fitted_is_refused(write):
    with pytest.raises(
        InputError, match=r"job 12.csv: 'Old cream' is a mix that holds 'Lemon', of"
    ):
        read_recipe(write("ink,grams\nOld cream,200\n"), ["White"], mixes=[CREAM])


def test_a_mix_is_of_the_series_of_its_inks(write):
    path = write("ink,grams\nOld cream,200\nReef,30\n")
    series = {"White": "plastisol", "Lemon": "plastisol", "Reef": "water-based"}
    with pytest.raises(InputError) as refusal:
        read_recipe(path, series, mixes=[CREAM])
    assert refusal.value.faults == (
        "job 12.csv row 2: inks of different series in one mixture: 'Old cream' (plastisol),"
        " 'Reef' (water-based); series are never mixed",
    )
