"""Mixing: the formula, its slope, strengths, and what a palette leaves out."""

from dataclasses import replace

import numpy as np
import pytest
from bench_inks import columns, textbook
from hypothesis import given
from hypothesis import strategies as st

from matchkit.errors import InputError
from matchkit.inks.palette import (
    DEEP_AT,
    Palette,
    deepen,
    mixture_K_S,
    reflectance,
    reflectance_jacobian,
    role_words,
    strength_jacobian,
    subset,
    surface_slope,
)
from matchkit.optics.kubelka_munk import film_R, k_over_s


def some(palette: Palette, rng: np.random.Generator, n: int = 5) -> np.ndarray:
    return rng.dirichlet(np.full(len(palette.inks), 0.4), n)


def test_watercolours_mix_as_kubelka_and_munk_say() -> None:
    # Curtis et al. (1997), Figure 5: K and S add by amount, and a thick film of the mixture
    # reads what their layer equation gives for a hundredfold layer.
    table = columns("curtis1997.csv")
    K, S = table["K"].reshape(12, 3), table["S"].reshape(12, 3)
    c = np.full(12, 1 / 12)
    expected = film_R(c @ K, c @ S, 1000.0, 0.3)
    np.testing.assert_allclose(reflectance(textbook(K, S), c), expected, atol=1e-9)


def test_an_ink_alone_is_its_own_k_over_s() -> None:
    K, S = np.array([[0.25, 4.05], [1.0, 0.5]]), np.array([[1.0, 1.0], [2.0, 0.1]])
    R = reflectance(textbook(K, S), np.eye(2))
    np.testing.assert_allclose(k_over_s(R), K / S, rtol=1e-12)


def test_white_crowds_by_its_own_share() -> None:
    # The formula of the module, worked by hand: 0.5 / (1 + 0.4 * 0.5) + 0.5 * 0.2.
    palette = Palette(
        inks=textbook(np.ones((2, 1)), np.ones((2, 1)), ["white", "colour"]).inks,
        K=np.array([[0.0], [1.0]]),
        S=np.array([[1.0], [0.2]]),
        crowding=np.array([0.4, 0.0]),
        base=0.0,
        gain=1.0,
        k2=0.0,
    )
    K, S = mixture_K_S(palette, [0.5, 0.5])
    assert K.tolist() == [0.5]
    assert float(S[0]) == pytest.approx(0.5 / 1.2 + 0.1)


def test_slope_is_that_of_finite_differences(palette: Palette, rng: np.random.Generator) -> None:
    c, h = some(palette, rng) + 0.01, 1e-6
    R, slope = reflectance_jacobian(palette, c)
    np.testing.assert_allclose(R, reflectance(palette, c), atol=1e-12)
    for i in range(len(palette.inks)):
        step = h * np.eye(len(palette.inks))[i]
        by_hand = (reflectance(palette, c + step) - reflectance(palette, c - step)) / (2 * h)
        np.testing.assert_allclose(slope[:, i], by_hand, rtol=1e-5, atol=1e-7)


def test_what_is_an_ink_s_own_by_hand_and_its_slopes(palette: Palette) -> None:
    # The formula of the module: of half white, a quarter clear and a quarter colour, the colour
    # is 1 + 0.2 * 0.5 times as strong and scatters 1 + 0.4 * 0.25 times as much on top.
    inks = textbook(np.ones((3, 1)), np.ones((3, 1)), ["white", "clear", "colour"]).inks
    own = np.array([[0.004, 0.0, 0.008], [0.0, 0.0, 0.2], [0.0, 0.0, 0.4]])
    plain = {"crowding": np.zeros(3), "base": 0.0, "gain": 1.0, "k2": 0.0}
    few = Palette(inks=inks, K=np.eye(3)[:, 2:], S=np.ones((3, 1)), own=own, **plain)
    K, S = mixture_K_S(few, [0.5, 0.25, 0.25])
    assert (K[0], S[0]) == pytest.approx((0.25 * 1.1, 0.75 + 0.25 * 1.1 * 1.1))
    R = reflectance(replace(few, own=np.zeros((3, 1))), [0.0, 0.0, 1.0])
    assert reflectance(few, [0.0, 0.0, 1.0]) == pytest.approx(R + 0.008)
    n, h = len(palette.inks), 1e-6
    whole = replace(palette, own=np.linspace(-1, 1, 3 * n).reshape(3, n) * [[0.01], [0.2], [0.4]])
    c = np.full(n, 1 / n)
    moved = [reflectance(whole, c + h * np.array([[1], [-1]]) * row) for row in np.eye(n)]
    by_hand = [(up - down) / (2 * h) for up, down in moved]
    np.testing.assert_allclose(reflectance_jacobian(whole, c)[1], by_hand, rtol=1e-5, atol=1e-7)


def test_slope_with_strengths(palette: Palette, rng: np.random.Generator) -> None:
    c, h, s = some(palette, rng, 1)[0] + 0.01, 1e-6, rng.uniform(0.9, 1.1, len(palette.inks))
    _, slope = reflectance_jacobian(palette, c, s)
    for i in (0, 1, 5):
        step = h * np.eye(len(palette.inks))[i]
        by_hand = (reflectance(palette, c + step, s) - reflectance(palette, c - step, s)) / (2 * h)
        np.testing.assert_allclose(slope[i], by_hand, rtol=1e-5, atol=1e-7)


def test_strength_leaves_a_masstone_and_acts_like_more_ink_in_a_tint(palette: Palette) -> None:
    # Strength multiplies K and S together: 1.1 of a colour's strength is 1.1 of its amount.
    n = len(palette.inks)
    strong = np.ones(n)
    strong[4] = 1.1
    alone = np.eye(n)[4]
    np.testing.assert_allclose(reflectance(palette, alone, strong), reflectance(palette, alone))
    tint, more = np.zeros(n), np.zeros(n)
    tint[[0, 4]] = 0.95, 0.05
    more[[0, 4]] = 0.95, 0.055
    np.testing.assert_allclose(reflectance(palette, tint, strong), reflectance(palette, more))
    assert (reflectance(palette, tint, strong) < reflectance(palette, tint) + 1e-12).all()


def test_a_palette_carries_its_strengths_and_a_caller_overrides_them(palette: Palette) -> None:
    n = len(palette.inks)
    s = np.linspace(0.9, 1.1, n)
    lots = replace(palette, strengths=s)
    c = np.full(n, 1 / n)
    np.testing.assert_array_equal(reflectance(lots, c), reflectance(palette, c, s))
    np.testing.assert_array_equal(reflectance(lots, c, np.ones(n)), reflectance(palette, c))


def test_each_mixture_may_have_its_own_strengths(
    palette: Palette, rng: np.random.Generator
) -> None:
    c, s = some(palette, rng, 3), rng.uniform(0.9, 1.1, (3, len(palette.inks)))
    together = reflectance(palette, c, s)
    for row in range(3):
        np.testing.assert_allclose(together[row], reflectance(palette, c[row], s[row]))


def test_slope_by_log_strength_is_that_of_finite_differences(
    palette: Palette, rng: np.random.Generator
) -> None:
    c, h, s = some(palette, rng, 2), 1e-6, rng.uniform(0.9, 1.1, len(palette.inks))
    slope = strength_jacobian(palette, c, s)
    for i in range(len(palette.inks)):
        step = np.exp(h * np.eye(len(palette.inks))[i])
        by_hand = (reflectance(palette, c, s * step) - reflectance(palette, c, s / step)) / (2 * h)
        np.testing.assert_allclose(slope[:, i], by_hand, rtol=1e-5, atol=1e-8)


@given(q=st.floats(1e-6, 1e4), deep=st.floats(0.4, 5))
def test_deepening_keeps_tints_and_scales_the_deepest(q: float, deep: float) -> None:
    deeper, slope = deepen(np.array(q), deep)
    assert min(1, deep) * q * (1 - 1e-12) <= deeper <= max(1, deep) * q * (1 + 1e-12)
    h = 1e-5 * q
    by_hand = (deepen(np.array(q + h), deep)[0] - deepen(np.array(q - h), deep)[0]) / (2 * h)
    assert float(slope) == pytest.approx(float(by_hand), rel=1e-5)
    assert slope > 0


def test_deepening_has_its_limits() -> None:
    q = np.array([1e-6, 1 / DEEP_AT, 1e7])
    np.testing.assert_allclose(deepen(q, 1.6)[0] / q, [1, 1.3, 1.6], rtol=1e-5)
    np.testing.assert_allclose(deepen(q, 1.0)[0], q, rtol=1e-12)


@pytest.mark.parametrize("q", [1e-6, 0.02, 1.0, 60.0])
def test_surface_slope_is_that_of_finite_differences(q: float) -> None:
    there, h = {"base": 0.03, "gain": 0.96, "k2": 0.45}, 1e-5 * q
    R, slope = surface_slope(np.array(q), **there)
    up, down = (surface_slope(np.array(q + by), **there)[0] for by in (h, -h))
    assert float(slope) == pytest.approx(float((up - down) / (2 * h)), rel=1e-4)
    assert 0.03 < R <= 0.99


@given(st.lists(st.floats(0, 1), min_size=6, max_size=6).filter(lambda c: sum(c) > 1e-6))
def test_no_mixture_reads_outside_0_to_1(few: Palette, parts: list[float]) -> None:
    R = reflectance(few, np.array(parts) / sum(parts))
    assert np.isfinite(R).all() and (R > 0).all() and (R < 1).all()


def test_a_subset_mixes_as_the_whole_does(palette: Palette, rng: np.random.Generator) -> None:
    keep = [7, 0, 3]
    lots = replace(palette, strengths=np.linspace(0.9, 1.1, len(palette.inks)))
    c = rng.dirichlet(np.ones(3), 4)
    whole = np.zeros((4, len(palette.inks)))
    whole[:, keep] = c
    np.testing.assert_allclose(reflectance(subset(lots, keep), c), reflectance(lots, whole))
    assert subset(lots, keep).names == tuple(palette.names[i] for i in keep)


def test_a_subset_forgets_nothing_else(palette: Palette) -> None:
    small = subset(palette, [0, 1])
    for name in ("base", "gain", "k2", "deep", "model"):
        assert getattr(small, name) == getattr(palette, name)


def test_an_unknown_ink_is_told_with_the_known_ones(palette: Palette) -> None:
    with pytest.raises(InputError, match=r"no fitted ink is called 'Lemmon'; the inks are White"):
        palette.index("Lemmon")
    assert palette.index(palette.names[3]) == 3


def test_amounts_for_another_number_of_inks_are_refused(palette: Palette) -> None:
    with pytest.raises(InputError, match="3 amounts for 16 inks"):
        reflectance(palette, [0.2, 0.3, 0.5])


def test_a_clear_under_another_role_is_told(palette: Palette) -> None:
    assert role_words(palette) == []
    for name, role in (("Clear", "colour"), ("Lemon", "clear")):
        inks = tuple(replace(i, role=role) if i.name == name else i for i in palette.inks)
        (line,) = role_words(replace(palette, inks=inks))
        assert line.startswith(f"{name} ")
        assert role in line
