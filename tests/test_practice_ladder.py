"""The ladder, climbed by players of every sort, and by somebody who is colour-blind."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from test_practice_kinds import RIGHT

from matchkit.colorimetry.tristimulus import Lab
from matchkit.errors import InputError
from matchkit.inks.palette import reflectance
from matchkit.practice.colour import AXES, axis_of
from matchkit.practice.hints import Hint, finish, hint, take
from matchkit.practice.job import expect, start
from matchkit.practice.kinds import CHOICES, EYE, NUMBERS, Answered, standing
from matchkit.practice.ladder import SESSIONS, due, from_instrument, passed
from matchkit.practice.simulated_shop import (
    LIGHTS,
    OBSERVER,
    OPPOSITE,
    main_word,
    practice_shop,
)
from matchkit.workflows import practising
from matchkit.workflows.practising import (
    Learner,
    PracticeOptions,
    keep_job,
    ladder_of,
    mark_answers,
    practise,
)

PLAYS = 200
PLAYERS = (
    "perfect",
    "random",
    "wrong way",
    "numbers only",
    "always help",
    "short weight",
    "own ink",
)
DAY = "2030-01-02"


# ---- by answers alone


def climb(player, rng, plays=80):
    """The answers of a player who takes session after session, until each is passed."""
    answers, each = [], 0
    for session in SESSIONS:
        for _ in range(plays):
            if passed(session.key, answers):
                break
            each += 1
            answers += play_rows(player, session, each, answers, rng)
    return answers


def play_rows(player, session, seed, answers, rng):
    kind, chance = session.kind, {"random": None, "wrong way": 0.0}.get(player, 1.0)
    gauge = NUMBERS if player == "numbers only" or session.gauge == NUMBERS else EYE
    if kind == "job":
        made = chance == 1.0 and player != "short weight"
        right = rng.random() < 1 / 9 if chance is None else bool(chance)
        base = row("job", seed, 0, made and right, aided=player == "always help")
        return [replace(base, kind="pour", right=right), replace(base, kind="cause"), base] * 1
    axis = axis_of(seed) if kind == "see" else ""
    level = standing(kind, answers, gauge=gauge if axis else "", axis=axis).staircase.level
    p = 1 / CHOICES[kind] if chance is None else chance
    if player == "own ink" and kind == "fix":
        p = 1 / CHOICES[kind]  # measured in test_practice_kinds
    return [
        row(kind, seed, level, bool(rng.random() < p), gauge=gauge, aided=player == "always help")
    ]


def row(kind, seed, level, right, **more):
    return Answered(
        kind=kind, seed=seed, level=level, choice=0, right=right, score=float(right), **more
    )


@pytest.mark.parametrize("player", PLAYERS)
def test_only_the_perfect_player_passes_the_ladder(player, rng):
    answers = climb(player, rng)
    done = [passed(each.key, answers) for each in SESSIONS]
    assert all(done) == (player == "perfect"), done
    if player in ("random", "wrong way", "always help"):
        assert not any(done[1:])


def test_a_session_needs_ten_answers_without_help():
    answers = [row("sums", k, 5, True) for k in range(1, 11)]
    assert passed("sums", answers) and not passed("sums", answers[:9])
    assert not passed("sums", [replace(each, aided=True) for each in answers])


def test_a_miss_comes_back_after_one_day_and_after_three():
    miss = row("fix", 7, 2, False, date="2030-03-01")
    right = [replace(miss, right=True, date=f"2030-03-{day:02d}") for day in (2, 5)]
    assert due("fix", [miss], "2030-03-01") == []
    assert due("fix", [miss], "2030-03-02") == [(7, 2)]
    assert due("fix", [miss, right[0]], "2030-03-04") == []
    assert due("fix", [miss, right[0]], "2030-03-05") == [(7, 2)]
    assert due("fix", [miss, *right], "2031-01-01") == []
    learner = Learner(answers=(replace(miss, kind="sums"),))
    found = practise(PracticeOptions(kinds=("sums",), count=2, today="2030-03-02"), learner)
    assert [each.code for each in found.exercises] == ["sums-7-2", "sums-8-0"]


# ---- with true exercises and jobs


@cache
def made(kind, seed, level):
    from matchkit.practice.kinds import exercise

    return exercise(practice_shop(), kind, seed=seed, level=level)


def choose(player, each, rng):
    right = RIGHT[each.kind](each)
    if player == "random":
        return int(rng.integers(len(each.choices)))
    if player == "wrong way":
        return (right + 1) % len(each.choices)
    if player == "own ink" and each.kind == "fix":
        weights = dict(each.facts)["In the batch"]
        own = [k for k, c in enumerate(each.choices) if c.text.split(",")[0] in weights]
        return int(rng.choice(own))
    return right


def play_job(player, learner, seed, rng):
    batch = start(practice_shop(), seed=seed)
    while (advice := hint(batch)).action != "finish" and len(batch.readings) < 8:
        if player == "random":
            names = batch.shop.bench.names
            advice = replace(
                advice, grams=tuple((str(rng.choice(names)), g / 2) for _, g in advice.grams)
            )
        if player == "short weight" and advice.action == "weigh":
            advice = replace(advice, grams=tuple((name, 0.22 * g) for name, g in advice.grams))
        if player == "short weight" and "amount is short" in advice.why:
            break
        if advice.action == "add" and batch.readings:
            batch = expect(batch, word_for(batch, advice, player), 1.0)
        try:
            batch = take(batch, advice)
        except InputError:  # too little or too much: refused, and given up
            break
        if player == "always help":
            batch = replace(batch, hints=batch.hints + 1)
    cause = batch.hidden.incident.key if player not in ("random", "wrong way") else "film"
    if player == "random" and not batch.readings:
        return learner  # nothing that could be judged
    return keep_job(learner, batch, finish(batch, cause), cause, DAY)


def word_for(batch: object, advice: Hint, player: str) -> str:
    """What the palette says that the addition does."""
    more = batch.shown_g.copy()
    for name, g in advice.grams:
        more[batch.shop.bench.names.index(name)] += g
    both = np.stack([batch.shown_g, more])
    lab = Lab(
        reflectance(batch.shop.palette, both / both.sum(axis=1, keepdims=True)), LIGHTS[0], OBSERVER
    )
    word = main_word(*lab) or "lighter"
    return OPPOSITE[word] if player == "wrong way" else word


@pytest.mark.slow
@pytest.mark.parametrize("player", PLAYERS)
def test_only_the_perfect_player_passes_with_true_exercises(player, rng, monkeypatch):
    """200 plays each at most, shared over the sessions."""
    monkeypatch.setattr(
        practising, "exercise", lambda shop, kind, *, seed, level: made(kind, seed, level)
    )
    learner, plays = Learner(), 0
    for session in SESSIONS:
        share = plays + PLAYS // len(SESSIONS) + 20 * (session.kind == "see")
        while plays < share and not passed(session.key, learner.answers):
            plays += 1
            if session.kind == "job":
                if plays > share - 21:
                    break
                learner = play_job(player, learner, plays, rng)
                continue
            gauge = NUMBERS if player == "numbers only" or session.gauge == NUMBERS else EYE
            options = PracticeOptions(kinds=(session.kind,), gauge=gauge)
            each = practise(options, learner).exercises[0]
            found = mark_answers(
                [(each, choose(player, each, rng))], DAY, learner, gauge=gauge,
                aided=player == "always help",
            )  # fmt: skip
            learner = found.learner
    done = [done for _, done in ladder_of(learner).sessions]
    assert plays <= PLAYS + 40
    assert all(done) == (player == "perfect"), (player, done)


# ---- somebody who is colour-blind


def seen_by(each, matrix, rng, noise=0.4):
    """The word that an eye chooses from the swatches on the screen.

    `matrix` turns linear RGB into what that eye tells apart; small differences drown in the
    noise of judging.  Lab of the screen's colours is colour-science's.
    """
    import colour

    rgb = [[int(s.hex[k : k + 2], 16) / 255 for k in (1, 3, 5)] for s in each.swatches]
    linear = colour.cctf_decoding(np.array(rgb), function="sRGB") @ np.asarray(matrix).T
    XYZ = colour.RGB_to_XYZ(np.clip(linear, 0, 1), "sRGB")
    lab = colour.XYZ_to_Lab(XYZ) + noise * rng.standard_normal((2, 3))
    by = {"lighter": 0, "redder": 1, "yellower": 2}
    step = lab[1] - lab[0]
    C = np.hypot(*lab[1, 1:]) - np.hypot(*lab[0, 1:])
    seen = {"cleaner": C} | {word: step[k] for word, k in by.items()}
    seen |= {OPPOSITE[word]: -size for word, size in seen.items()}
    return int(np.argmax([seen[choice.text] for choice in each.choices]))


def practised(matrix, rng, axes, n):
    """The answers of an eye to `n` exercises in each of the directions, numbers hidden."""
    learner = Learner()
    for axis in axes:
        for seed in [k for k in range(1, 400) if axis_of(k) == axis][:n]:
            each = practise(PracticeOptions(kinds=("see",), gauge=EYE, seed=seed), learner)
            given = each.exercises[0]
            found = mark_answers([(given, seen_by(given, matrix, rng))], DAY, learner, gauge=EYE)
            learner = found.learner
    return learner.answers


def deuteranope():
    """Machado, Oliveira and Fernandes (2009), as colour-science carries it, severity 1."""
    import colour

    return colour.matrix_cvd_Machado2009("Deuteranomaly", 1.0)


@pytest.mark.parametrize(
    ("axes", "n"),
    [(("red-green",), 13), pytest.param(tuple(AXES), 25, marks=pytest.mark.slow)],
)
def test_a_deuteranope_is_told_which_directions_to_take_from_the_instrument(axes, n, rng):
    told = from_instrument(practised(deuteranope(), rng, axes, n))
    assert "red-green" in told
    assert not {"light", "yellow-blue"} & set(told)


@pytest.mark.parametrize(
    ("axes", "n"),
    [(("red-green",), 13), pytest.param(tuple(AXES), 25, marks=pytest.mark.slow)],
)
def test_a_usual_eye_is_told_nothing_of_the_sort(axes, n, rng):
    assert from_instrument(practised(np.eye(3), rng, axes, n)) == ()
