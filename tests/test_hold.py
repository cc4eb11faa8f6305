"""Two-stage weighing: its odds against simulated jobs, its second stage on the bench."""

from dataclasses import replace

import numpy as np
import pytest
from small_bench import mixture, shop, target_of

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.correcting.correct import Limits, correct
from matchkit.correcting.diagnose import Round, f_inverse, infer
from matchkit.correcting.hold_back import hold_back, share_for
from matchkit.errors import InputError
from matchkit.fitting.constants import f_scale
from matchkit.inks.palette import reflectance
from matchkit.matching.probability import Spread, spread_of
from matchkit.simulator.simulate import draw_lots, opaque_R, read, weigh


def plan_and_target(**shares):
    """A plan of 500 g and the colour it has by the palette."""
    plan = 500 * mixture(shop()[0], **shares)
    R = reflectance(shop()[2].palette, plan / 500)
    return plan, Target.from_spectrum(R, ("D65", "A", "FL11"), 10)


def finished(palette, first_g, R, target, spread, tolerance):
    """What the correction that comes closest adds to a first pour that was measured, (n_ink,)."""
    first = Round(grams=first_g, R=R)
    belief = infer(palette, [first], spread, target=target, refuse=False)
    limits = Limits(tolerance_de00=tolerance, resolution_g=0.01)
    how = correct(palette, belief, target, spread, limits, "closest")
    return how.additions_g


def test_strong_inks_are_weighed_to_the_share():
    palette, spread = shop()[2].palette, shop()[3]
    plan, target = plan_and_target(White=0.8, Lemon=0.12, Green=0.08)
    held = hold_back(palette, plan, target, spread, 1.0, resolution_g=0.01)
    assert set(held.inks) <= {"Lemon", "Green"} and "Green" in held.inks
    # By hand: 40 g of Green at 90 % are 36 g now and 4 g to come; White goes in whole.
    i = palette.index("Green")
    assert held.first_g[i] == pytest.approx(36.0) and held.then_g[i] == pytest.approx(4.0)
    assert held.first_g[0] == plan[0] and held.then_g[0] == 0
    np.testing.assert_allclose(held.first_g + held.then_g, plan, atol=1e-6)
    assert held.chance_two_stage >= held.chance_one_stage - 0.01


def test_the_share_leaves_three_standard_deviations_in_hand():
    # 1 / (1 + 3 * 0.03) = 0.917 and 1 / (1 + 3 * 0.05) = 0.870, down to steps of 5 %.
    assert share_for(0.03) == pytest.approx(0.9) and share_for(0.05) == pytest.approx(0.85)
    palette, spread = shop()[2].palette, shop()[3]
    plan, target = plan_and_target(White=0.8, Lemon=0.12, Green=0.08)
    held = hold_back(palette, plan, target, spread, 1.0, resolution_g=0.01, share=None)
    assert held.share == share_for(0.03)
    with pytest.raises(InputError, match="share held at first"):
        hold_back(palette, plan, target, spread, 1.0, resolution_g=0.01, share=1.0)


def test_a_plan_far_from_its_target_is_promised_nothing_of_two_stages():
    palette, spread = shop()[2].palette, shop()[3]
    plan, _ = plan_and_target(White=0.8, Lemon=0.12, Green=0.08)
    _, elsewhere = plan_and_target(White=0.5, Lemon=0.5)
    held = hold_back(palette, plan, elsewhere, spread, 1.0, resolution_g=0.01)
    assert held.inks and held.chance_two_stage == held.chance_one_stage < 0.01


def test_where_nothing_is_touchy_nothing_is_held():
    palette, spread = shop()[2].palette, shop()[3]
    plan, target = plan_and_target(White=1.0)
    held = hold_back(palette, plan, target, spread, 1.0, resolution_g=0.01)
    assert held.inks == () and held.chance_two_stage == held.chance_one_stage
    np.testing.assert_array_equal(held.first_g, plan)


@pytest.mark.parametrize(
    "shares",
    [
        pytest.param({"White": 0.85, "Magenta": 0.1, "Sky_blue": 0.05}, marks=pytest.mark.slow),
        {"White": 0.1, "Scarlet": 0.5, "Green": 0.1, "Lemon": 0.3},
    ],
)
def test_both_chances_are_those_of_simulated_jobs(shares):
    # Lots 6 % apart and a crude fit, so that both chances are far from 0 and 1.
    palette = shop()[2].palette
    plan, target = plan_and_target(**shares)
    n, tolerance, model_f = len(plan), 0.6, 4e-3
    rng = np.random.default_rng(11)
    kernel = np.exp(-(((GRID_NM[:, None] - GRID_NM) / 40) ** 2) / 2)
    root = np.linalg.cholesky(kernel + 1e-9 * np.eye(len(GRID_NM))) * model_f
    error = _as_Lab(palette, plan, root)
    spread = Spread(log_strength=np.full(n, 0.06), pour_g=0.03, fit_Lab=lambda *_: error)
    held = hold_back(palette, plan, target, spread, tolerance, resolution_g=0.01, share=0.85)
    one, two = [], []
    for _ in range(50):
        s = np.exp(0.06 * rng.standard_normal(n))
        first_wrong, other = root @ rng.standard_normal((2, len(GRID_NM), 1))
        first_wrong, other = first_wrong[:, 0], other[:, 0]
        stays = held.first_g.sum() / plan.sum()  # as `diagnose` has it
        later_wrong = stays * first_wrong + np.sqrt(1 - stays**2) * other

        def seen(g, wrong, s=s):
            return f_inverse(f_scale(reflectance(palette, g / g.sum(), s))[0] + wrong)

        def poured(g):
            return np.where(g > 0, np.maximum(g + 0.03 * rng.standard_normal(n), 0), 0)

        def far(R):
            lab = Lab(R, "D65", 10) + 0.05 * rng.standard_normal(3)
            return float(de00(target.lab[0], lab))

        one.append(far(seen(poured(plan), first_wrong)))
        true = poured(held.first_g)
        R = f_inverse(
            f_scale(seen(true, first_wrong))[0] + 4e-4 * rng.standard_normal(len(GRID_NM))
        )
        second = finished(palette, held.first_g, R, target, spread, tolerance)
        two.append(far(seen(true + poured(second), later_wrong)))
    # 50 jobs tell a chance to 0.07 (one standard error).
    assert held.chance_one_stage == pytest.approx(np.mean(np.array(one) <= tolerance), abs=0.12)
    assert held.chance_two_stage == pytest.approx(np.mean(np.array(two) <= tolerance), abs=0.12)
    assert held.chance_two_stage > held.chance_one_stage + 0.1


def _as_Lab(palette, plan, root):
    """Covariance in Lab of a model error with the root `root` on the f scale."""
    rng = np.random.default_rng(0)
    f = f_scale(reflectance(palette, plan / plan.sum()))[0]
    R = f_inverse(f + rng.standard_normal((4000, len(f))) @ root.T)
    return np.cov(Lab(R, "D65", 10).T)


def test_the_second_stage_brings_batches_in_on_the_bench():
    bench, _, found, _ = shop()
    palette, rng = found.palette, np.random.default_rng(9)
    usual = spread_of(palette, found.error, 0.01)
    spread = replace(usual, log_strength=np.full(len(palette.inks), 0.06), pour_g=0.03)
    c = mixture(bench, White=0.6, Magenta=0.1, Lemon=0.25, Green=0.05)
    target, plan = target_of(bench, c), 500 * c
    held = hold_back(palette, plan, target, spread, 1.0, resolution_g=0.01, share=None)
    before, after, totals = [], [], []
    for _ in range(12):
        s = draw_lots(rng, len(c), 0.06)

        def drawn(g, s=s):
            return read(opaque_R(bench, g / g.sum(), s), rng, repeats=3).mean(axis=0)

        before.append(de00(target.lab[0], Lab(drawn(weigh(plan, rng)[0]), "D65", 10)))
        true, shown = weigh(held.first_g, rng)
        second = finished(palette, shown, drawn(true), target, spread, 1.0)
        assert (second >= 0).all()
        true = true + weigh(second, rng)[0]
        after.append(de00(target.lab[0], Lab(drawn(true), "D65", 10)))
        totals.append(float((shown + second).sum()))
    assert max(after) < 0.5 and np.median(after) < 0.4 * np.median(before)
    assert np.median(totals) < 502
