"""Every kind of exercise, played by somebody who is always right, guesses, or errs.

The player who is always right doesn't look at the stored answer: CIEDE2000 is that of
colour-science, and sums are done by hand from the numbers in the question.
"""

import re
from pathlib import Path

import numpy as np
import pytest

from matchkit.colorimetry.illuminants import white
from matchkit.colorimetry.tristimulus import XYZ
from matchkit.errors import InputError
from matchkit.practice.colour import N_LEVELS, SIZES
from matchkit.practice.exercise import choice_of, mark
from matchkit.practice.kinds import (
    CHOICES,
    KINDS,
    Answered,
    answer,
    exercise,
    from_code,
    next_seed,
    standing,
)
from matchkit.practice.metamers import HOLDS_DE00
from matchkit.practice.simulated_shop import (
    LIGHTS,
    OBSERVER,
    OPPOSITE,
    hex_Lab,
    main_word,
    mixture,
    on_screen,
    practice_shop,
)
from matchkit.practice.staircase import Staircase, answered
from matchkit.simulator.simulate import opaque_R
from matchkit.workflows.practising import Learner, PracticeOptions, practise

N = 40


def next_exercise(kind, answers):
    """What a learner with those answers gets next."""
    return practise(PracticeOptions(kinds=(kind,)), Learner(answers=tuple(answers))).exercises[0]


@pytest.fixture(scope="module")
def played():
    """Exercises of each kind, over all levels."""
    return {
        kind: [exercise(practice_shop(), kind, seed=k, level=k % N_LEVELS) for k in range(1, N + 1)]
        for kind in KINDS
    }


def distance(lab_1, lab_2):
    import colour

    return colour.delta_E(lab_1, lab_2, method="CIE 2000")


# ---- the player who is always right


def undone(target, sample, word):
    """The sample's Lab with one part of its difference undone."""
    L, C, h = sample[0], np.hypot(*sample[1:]), np.arctan2(sample[2], sample[1])
    C_0, h_0 = np.hypot(*target[1:]), np.arctan2(target[2], target[1])
    if word in ("lighter", "darker"):
        L = target[0]
    elif word in ("cleaner", "duller"):
        C = C_0
    elif C_0 >= 6:  # a hue that can be turned; below, a* and b* stand for themselves
        h = h_0
    else:
        row = 1 if word in ("redder", "greener") else 2
        return np.array([target[k] if k == row else sample[k] for k in range(3)])
    return np.array([L, C * np.cos(h), C * np.sin(h)])


def rises(target, sample, word):
    """Whether the number that goes with a word goes up."""
    if word in ("cleaner", "duller"):
        return np.hypot(*sample[1:]) > np.hypot(*target[1:])
    row = {"lighter": 0, "darker": 0, "redder": 1, "greener": 1}.get(word, 2)
    return sample[row] > target[row]


def right_see(each):
    target, sample = (s.lab for s in each.swatches)
    words = [choice.text for choice in each.choices]
    left = [distance(target, undone(target, sample, word)) for word in words]
    word = words[int(np.argmin(left))]
    if rises(target, sample, word) != (word in ("lighter", "cleaner", "redder", "yellower")):
        word = OPPOSITE[word]
    return words.index(word)


def right_fix(each):
    target = each.swatches[0].lab
    return int(np.argmin([distance(target, s.lab) for s in each.after]))


def right_light(each):
    """From the rows that the question shows, and from nothing else; then by colour-science."""
    rows = [re.findall(r"[-+]?\d+\.\d+", value) for name, value in each.facts if "nm" in name]
    total = sum((float(s) - float(t)) * float(by) for t, s, by in rows)
    limit = float(re.search(r"less than ([\d.]+)", dict(each.facts)["It holds"])[1])
    found = 0 if abs(total) < limit else 1 if total > 0 else 2  # the first word goes up
    target, sample = (s.lab for s in each.after)
    assert (distance(target, sample) <= HOLDS_DE00) == (found == 0)
    if found:
        assert rises(target, sample, each.choices[1].text.split()[-1]) == (found == 1)
    return found


def right_sums(each):
    """By hand, from the numbers that the question and its table show."""
    table = {k: float(v.split()[0]) for k, v in each.facts if re.fullmatch(r"[\d.]+ g", v)}
    q, numbers = each.question, [float(n) for n in re.findall(r"\d+(?:\.\d+)?", each.question)]
    if q.startswith("A ticket makes"):
        value = table[re.search(r"How much (.*)\?", q)[1]] * numbers[1] / numbers[0]
    elif q.startswith("You weigh"):
        names = list(table)
        last = re.search(r"after (.*)\?", q)[1]
        value = sum(list(table.values())[: names.index(last) + 1])
    elif q.startswith("You poured"):
        value = table[re.search(r"How much (.*) in all", q)[1]] * numbers[0] / numbers[1]
    elif "letdown instead" in q:
        ink_g, letdown_g = numbers[:2]
        value = table[re.search(r"How much (.*) do you", q)[1]] - (letdown_g - ink_g)
    else:
        density, ml, empty = numbers
        value = ml * (1 - empty / 100) * density
    offered = np.array([float(choice.text.split()[0]) for choice in each.choices])
    best = int(np.argmin(np.abs(offered / value - 1)))
    assert offered[best] == pytest.approx(value, rel=2e-3, abs=0.02)
    return best


RIGHT = {"see": right_see, "fix": right_fix, "light": right_light, "sums": right_sums}


@pytest.mark.parametrize("kind", KINDS)
def test_a_perfect_player_is_always_right(played, kind):
    for each in played[kind]:
        marked = mark(each, RIGHT[kind](each))
        assert marked.right, f"{each.code}: {marked.words}"
        assert marked.score == 1
        assert marked.words.startswith("Right")


@pytest.mark.parametrize("kind", KINDS)
def test_a_random_player_is_near_chance(played, kind, rng):
    right = [mark(e, int(rng.integers(len(e.choices)))).right for e in played[kind]]
    chance = 1 / len(played[kind][0].choices)
    # Four standard deviations of a binomial share.
    assert np.mean(right) == pytest.approx(chance, abs=4 * np.sqrt(chance * (1 - chance) / N))
    # Nor does always taking the same letter help much.
    share = np.bincount([e.answer for e in played[kind]]) / N
    assert share.max() < chance + 4 * np.sqrt(chance * (1 - chance) / N)


@pytest.mark.parametrize("kind", KINDS)
def test_a_wrong_way_player_is_corrected_with_the_right_words(played, kind):
    for each in played[kind]:
        right = each.choices[each.answer].text
        for k in range(len(each.choices)):
            if k == each.answer:
                continue
            marked = mark(each, k)
            assert not marked.right
            assert marked.score < 1
            assert marked.words.startswith("No: ")
            assert wanted_words(kind, each, right) in marked.words


def wanted_words(kind, each, right):
    if kind == "see":
        return right
    if kind == "fix":
        name, g = right.rsplit(", ", 1)
        return f"{g} {name}"
    if kind == "sums":
        return right
    target, sample = (s.lab for s in each.after)
    holds = distance(target, sample) <= HOLDS_DE00
    return "it still matches" if holds else f"it differs: under {each.after[0].light}"


def test_the_wrong_way_round_is_named_as_such(played):
    for each in played["see"]:
        right = each.choices[each.answer].text
        words = [choice.text for choice in each.choices]
        told = mark(each, words.index(OPPOSITE[right])).words
        assert f"not {OPPOSITE[right]} but {right}" in told


def test_the_right_ink_alone_is_worth_half(played):
    for each in played["fix"]:
        ink = each.choices[each.answer].text.split(",")[0]
        for choice in each.choices:
            if choice.text.startswith(f"{ink},"):
                assert choice.worth == (
                    1.0 if choice.text == each.choices[each.answer].text else 0.5
                )
            else:
                assert choice.worth == 0


def test_an_ink_that_is_in_the_batch_is_no_better_a_guess_than_any(played, rng):
    """At most five points more often right than a uniform choice among the answers shown."""
    right = []
    for each in played["fix"]:
        weights = dict(each.facts)["In the batch"]
        own = [k for k, c in enumerate(each.choices) if f"{c.text.split(',')[0]} " in weights]
        right.append((each.answer in own) / len(own))
    assert np.mean(right) <= 1 / 6 + 0.05


# ---- what is asked


def test_differences_are_as_large_as_the_level_says(played):
    """By CIEDE2000 of colour-science; the hardest are 0.5 dE00."""
    assert SIZES["see"][-1] == 0.5
    for kind in ("see", "fix"):
        for each in played[kind]:
            size = distance(each.swatches[0].lab, each.swatches[1].lab)
            assert size == pytest.approx(SIZES[kind][each.level], rel=0.11)


def test_pairs_match_under_the_first_light_and_stand_clear_of_the_limit(played):
    for each in played["light"]:
        assert distance(each.swatches[0].lab, each.swatches[1].lab) <= 0.5
        away = distance(each.after[0].lab, each.after[1].lab)
        assert away > 1.2 * HOLDS_DE00 or away < HOLDS_DE00 / 1.2
        assert each.after[0].light != LIGHTS[0]


def test_no_other_addition_is_nearly_as_good(played):
    for each in played["fix"]:
        target = each.swatches[0].lab
        away = np.array([distance(target, s.lab) for s in each.after])
        assert away[each.answer] == pytest.approx(0, abs=1e-6)
        assert np.delete(away, each.answer).min() > 0.3 * SIZES["fix"][each.level]


def test_sums_offer_four_different_numbers(played):
    for each in played["sums"]:
        assert len({choice.text for choice in each.choices}) == 4
        assert each.swatches == ()


@pytest.mark.parametrize("kind", ["see", "fix", "light"])
def test_a_screen_can_show_every_swatch(played, kind):
    """Inside sRGB by colour-science, adapted by Bradford's transform."""
    import colour

    for each in played[kind]:
        for s in (*each.swatches, *each.after):
            w = white(s.light, OBSERVER)
            rgb = colour.XYZ_to_sRGB(
                XYZ(s.R, s.light, OBSERVER) / 100,
                illuminant=colour.XYZ_to_xy(w / 100),
                chromatic_adaptation_transform="Bradford",
            )
            assert rgb.min() > -0.004
            assert rgb.max() < 1.004


def test_what_a_screen_makes_of_it_still_goes_the_right_way(played):
    """With the steps of 8 bits; Lab of a web colour by colour-science."""
    import colour

    for each in played["see"]:
        shown = [
            colour.XYZ_to_Lab(
                colour.sRGB_to_XYZ(np.array([int(s.hex[i : i + 2], 16) for i in (1, 3, 5)]) / 255)
            )
            for s in each.swatches
        ]
        assert hex_Lab(each.swatches[0].hex) == pytest.approx(shown[0], abs=0.05)
        assert main_word(*shown) == each.choices[each.answer].text


def test_a_colour_off_the_screen_is_known_to_be():
    """A narrow band of green: its red is far below 0 in any RGB; by colour-science too."""
    import colour

    band = np.exp(-(((np.arange(400, 701, 10) - 520) / 15) ** 2))
    rgb = colour.XYZ_to_sRGB(XYZ(band, "D65", OBSERVER) / 100)
    assert rgb.min() < -0.05
    assert not on_screen(band)
    shop, rng = practice_shop(), np.random.default_rng(1)
    c = np.array([mixture(shop, rng) for _ in range(10)])
    assert np.all(on_screen(opaque_R(shop.bench, c)))
    assert len(np.unique(c.round(6), axis=0)) == 10  # no two of them are the same


@pytest.mark.parametrize("kind", KINDS)
def test_every_exercise_has_its_words_and_numbers(played, kind):
    for each in played[kind]:
        assert each.hint and each.explanation and each.facts
        assert each.question.endswith(("?", "..."))
        told = " ".join(value for _, value in each.facts)
        if kind in ("see", "fix"):  # of the light, the rows by wavelength tell more
            assert all(s.numbers in told for s in each.swatches)
        assert "no visible difference dE00" not in each.explanation


def test_exercises_differ_and_come_back_by_their_code(played):
    for kind in KINDS:
        texts = {(each.question, each.facts) for each in played[kind]}
        assert len(texts) > 0.7 * N
    again = from_code(practice_shop(), "see-7-7")
    assert again.facts == played["see"][6].facts
    assert again.code == "see-7-7"


@pytest.mark.parametrize("code", ["see", "see-1", "see-1-9", "look-1-1", "see--1-1", "see-a-1", ""])
def test_a_code_that_is_none_is_refused(code):
    with pytest.raises(InputError):
        from_code(practice_shop(), code)


def test_a_letter_that_is_no_choice_is_refused(played):
    each = played["sums"][0]
    assert choice_of(each, " B ") == 1
    for letter in ("", "e", "bc", "1"):
        with pytest.raises(InputError, match="letter from a to d"):
            choice_of(each, letter)
    with pytest.raises(InputError, match="no such choice"):
        mark(each, 7)


# ---- a learner


def test_a_learner_with_a_limit_settles_at_it(rng):
    """One who tells 1.5 dE00 and more three times in four, and guesses below."""
    p = 0.25 + 0.75 / (1 + np.exp(-6 * np.log(SIZES["see"] / 1.5)))
    answers, level = [], 0
    for seed in range(1, 300):
        right = bool(rng.random() < p[level])
        answers.append(row("sums", seed, level, right))
        level = standing("sums", answers).staircase.level
    p_there = np.interp(standing("sums", answers).threshold, range(N_LEVELS), p)
    assert p_there == pytest.approx(0.5**0.5, abs=0.1)  # two right down, one wrong up: p^2 = 1/2


def row(kind, seed, level, right, **more):
    return Answered(
        kind=kind, seed=seed, level=level, choice=0, right=right, score=float(right), **more
    )


def by_staircase(rng, kind, n, p, **more):
    """The answers of somebody who is right with a chance of p at every level."""
    answers, staircase = [], Staircase(n_levels=N_LEVELS)
    for seed in range(1, n + 1):
        right = bool(rng.random() < p)
        answers.append(row(kind, seed, staircase.level, right, **more))
        staircase = answered(staircase, right)
    return answers


@pytest.mark.parametrize("kind", KINDS)
def test_a_guesser_is_told_so(kind, rng):
    """At most one guesser in twenty is given a threshold, of 200 who answer 100 questions."""
    told = []
    for _ in range(200):
        stands = standing(kind, by_staircase(rng, kind, 100, 1 / CHOICES[kind]))
        told.append((stands.threshold is not None, stands.guessing))
    assert np.mean([threshold for threshold, _ in told]) <= 0.05
    assert np.mean([guessing for _, guessing in told]) > 0.2  # others stand at the easiest level


def test_an_answer_with_a_hint_moves_no_level():
    answers = [row("sums", k, 0, True, aided=True) for k in range(9)]
    stands = standing("sums", answers)
    assert (stands.n_right, stands.staircase.level) == (9, 0)


def test_a_new_learner_starts_easy_and_sees_nothing_twice():
    assert standing("see", []).staircase.level == 0
    first = next_exercise("fix", [])
    second = next_exercise("fix", [answer(first, first.answer)])
    assert (first.seed, second.seed) == (1, 2)
    assert next_seed("see", [answer(first, 0)]) == 1
    seats = {Learner(path=Path(f"{name}-practice.jsonl")).first_seed for name in ("Ana", "Bo")}
    assert len(seats) == 2  # side by side they get other questions
