"""What an eye says: the vocabulary of `judge.direction`, both ways round.

Which word moves a colour which way is CIELAB's own meaning (a* red or green, b* yellow or
blue, C* clean or dull); the everyday forms of a sentence are common practice, no source.
"""

import numpy as np
import pytest
from small_bench import mixture, predicted, shop, target_of

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.colorimetry.words import direction
from matchkit.correcting.correct import Limits, correct
from matchkit.correcting.diagnose import infer
from matchkit.correcting.visual import WORDS, look_round, lots_that_explain, offset, parse
from matchkit.errors import InputError
from matchkit.simulator.simulate import opaque_R

TEAL = np.array([50.0, -25.0, -15.0])
ORANGE = np.array([60.0, 40.0, 40.0])
RED = np.array([45.0, 60.0, 0.0])
GREY = np.array([60.0, 0.0, 0.0])

CLOSEST = "closest"


def ways(text):
    return [(each.amount, each.way) for each in parse(text)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("a touch red, too dark", [("a touch", "redder"), ("", "darker")]),
        ("Slightly yellow.", [("a touch", "yellower")]),
        ("needs to be cleaner", [("", "duller")]),
        ("not red enough", [("", "greener")]),
        ("less blue", [("", "yellower")]),
        ("way too green", [("much", "greener")]),
        ("it needs more red, less blue", [("", "greener"), ("", "bluer")]),
        ("needs red and yellow", [("", "greener"), ("", "bluer")]),
        ("should be lighter, a touch redder", [("", "darker"), ("a touch", "greener")]),
        ("needs less yellow; too dark", [("", "yellower"), ("", "darker")]),
        ("looks a little muddy", [("a touch", "duller")]),
        ("no visible difference", []),
    ],
)
def test_sentences(text, expected):
    assert ways(text) == expected


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("purple", "'purple' is not understood"),
        ("", "nothing is not understood"),
        ("red and green", "redder and greener at once"),
        ("needs red, yellow", "does the batch look yellow, or should it be"),
        ("not red", "not ... enough"),
        ("red, very red", "said twice"),
        ("a touch", "holds 0 directions"),
        ("too red dark", "holds 2 directions"),
    ],
)
def test_what_is_not_plain_is_refused(text, part):
    with pytest.raises(InputError) as caught:
        parse(text)
    assert part in str(caught.value)


def test_a_strange_word_lists_the_known_ones():
    with pytest.raises(InputError) as caught:
        parse("too glossy")
    assert "lighter" in str(caught.value) and "a touch" in WORDS


@pytest.mark.parametrize(
    ("text", "standard", "lab"),
    [
        ("too dark", TEAL, (-1, 0, 0)),
        ("cleaner", ORANGE, (0, 1, 1)),
        ("too red", ORANGE, (0, 1, -1)),  # a turn of hue
        ("too yellow", ORANGE, (0, -1, 1)),
        ("too red", RED, (0, 1, 0)),  # beside a red, only more of it
        ("too blue", GREY, (0, 0, -1)),
    ],
)
def test_signs(text, standard, lab):
    mean, _ = offset(text, standard)
    assert [0 if abs(x) < 0.12 else int(np.sign(x)) for x in mean] == list(lab)


def test_amounts_grow_and_so_does_doubt():
    sizes, doubts = [], []
    for text in ("a touch dark", "dark", "much too dark"):
        mean, covariance = offset(text, TEAL)
        sizes.append(float(de00(TEAL, TEAL + mean)))
        doubts.append(covariance[0, 0])
    assert sizes == sorted(sizes) and doubts == sorted(doubts)
    assert sizes[0] < 0.5 < sizes[1] < 3 < sizes[2]  # the bounds of judge.direction


def test_a_grey_is_neither_clean_nor_dull():
    with pytest.raises(InputError, match="beside a grey"):
        offset("too dull", GREY)


def test_what_direction_says_is_understood_with_the_right_signs():
    rng = np.random.default_rng(0)
    squared = []
    for _ in range(600):
        h, C = rng.uniform(0, 2 * np.pi), rng.choice([0.5, 4, 20, 50]) * rng.random()
        standard = np.array([rng.uniform(20, 90), C * np.cos(h), C * np.sin(h)])
        off = rng.standard_normal(3) * rng.choice([0.3, 1.0, 3.0])
        text = direction(standard, standard + off)
        if C < 1 and ("cleaner" in text or "duller" in text):
            continue
        mean, covariance = offset(text, standard)
        squared.append((off - mean) @ np.linalg.solve(covariance, off - mean))
        again = direction(standard, standard + mean).split(", ")
        said = text.split(", ")
        if said != ["no visible difference"]:
            first, names = said[0].split()[-1], {each.split()[-1] for each in again}
            hues = {"redder", "greener", "yellower", "bluer"}  # a turn of hue has two names
            assert first in names or (first in hues and names & hues)
            opposite = {"darker": "lighter", "redder": "greener", "yellower": "bluer"}
            for a, b in [*opposite.items(), *((b, a) for a, b in opposite.items())]:
                assert not (a in text and b in ", ".join(again))
    # The truth lies where the covariance says: chi-square with 3 degrees has mean 3.
    assert 1.0 < np.mean(squared) < 3.5


def test_correcting_by_words_helps_most_batches():
    bench, _, found, spread = shop(lot_spread_percent=5.0)
    palette, rng = found.palette, np.random.default_rng(4)
    before, after = [], []
    for k in range(12):
        c = mixture(bench, White=0.5, Scarlet=0.1 + 0.02 * k, Lemon=0.2, Green=0.05)
        target = target_of(bench, c)
        s = np.exp(0.06 * rng.standard_normal(len(c)))
        seen = Lab(opaque_R(bench, c, s), "D65", 10)
        told = look_round(direction(target.lab[0], seen), 500 * c, target)
        usual = (np.zeros(len(c)), np.diag(spread.log_strength**2))
        lots = lots_that_explain(palette, told, target, usual)
        belief = infer(palette, [told], spread, target=target, known=lots, slips=False)
        added = correct(
            palette,
            belief,
            target,
            spread,
            Limits(tolerance_de00=1.0, resolution_g=0.01),
            "closest",
        ).additions_g
        whole = (500 * c + added) / (500 + added.sum())
        before.append(float(de00(target.lab[0], seen)))
        after.append(float(de00(target.lab[0], Lab(opaque_R(bench, whole, s), "D65", 10))))
    before, after = np.array(before), np.array(after)
    assert np.median(after[before > 0.5]) < 0.55 * np.median(before[before > 0.5])


def believed(text, bench, found, spread, c):
    """dE00 from the target that is believed of a batch which weighs right and looks so."""
    target, palette = target_of(bench, c), found.palette
    grams = np.array([500 * c[bench.names.index(name)] for name in palette.names])
    told = look_round(text, grams, target)
    usual = (np.zeros(len(grams)), np.diag(spread.log_strength**2))
    lots = lots_that_explain(palette, told, target, usual)
    assert (np.diag(lots[1]) >= np.diag(usual[1])).all()
    belief = infer(palette, [told], spread, target=target, refuse=False, known=lots, slips=False)
    lab = Lab(predicted(palette, belief, grams), "D65", 10)
    return float(de00(target.lab[0], lab)), lab - target.lab[0]


@pytest.mark.parametrize(
    ("way", "axis", "sign"), [("red", 1, 1), ("dark", 0, -1), ("green", 1, -1)]
)
def test_the_stronger_the_word_the_further_off_a_batch_is_believed(way, axis, sign):
    bench, _, found, spread = shop()
    c = mixture(bench, White=80, Scarlet=8, Lemon=6, Black=2)
    sizes = []
    for text in (f"a touch {way}", f"too {way}", f"much too {way}"):
        size, off = believed(text, bench, found, spread, c)
        assert off[axis] * sign > 0
        sizes.append(size)
    # The words stand for 0.35, 1.3 and 4; an ink can't move a colour anyhow.
    assert 0.15 < sizes[0] < 0.6
    assert 0.7 < sizes[1] < 1.6
    assert 1.8 < sizes[2] < 5.0


def test_an_eye_that_sees_nothing_leaves_all_as_it_is():
    bench, _, found, spread = shop()
    size, _ = believed("looks right", bench, found, spread, mixture(bench, White=80, Scarlet=8))
    assert size < 0.15
