"""Over-pours and wrong inks, against arithmetic by hand and a general solver."""

import numpy as np
import pytest
from scipy.optimize import minimize
from small_bench import mixture, shop, target_of

from matchkit.colorimetry.difference import Target
from matchkit.correcting.container import bucket_of, seen_after
from matchkit.correcting.correct import Limits
from matchkit.correcting.overpour import over_pour
from matchkit.errors import InputError
from matchkit.inks.palette import reflectance

LIMITS = dict(tolerance_de00=1.0, resolution_g=0.01)


@pytest.fixture(scope="module")
def plan():
    """500 g of a green: 400 White, 60 Lemon, 40 Green."""
    return 500 * mixture(shop()[0], White=0.8, Lemon=0.12, Green=0.08)


@pytest.fixture(scope="module")
def palette():
    return shop()[2].palette


@pytest.fixture(scope="module")
def target(palette, plan):
    """The colour that the plan has by the palette."""
    return Target.from_spectrum(reflectance(palette, plan / plan.sum()), ("D65", "A", "FL11"), 10)


def grams(palette, **inks):
    out = np.zeros(len(palette.inks))
    for name, g in inks.items():
        out[palette.index(name.replace("_", " "))] = g
    return out


def test_the_rest_in_proportion_by_hand(palette, plan, target):
    # 440 g of White where 400 were asked for: everything times 1.1, so 66 and 44 to pour.
    rescue = over_pour(palette, plan, grams(palette, White=440), target, Limits(**LIMITS))
    assert rescue.over == ("White",) and rescue.wrong == ()
    np.testing.assert_allclose(rescue.scaled.rest_g, grams(palette, Lemon=66, Green=44), atol=1e-9)
    assert rescue.scaled.total_g == 550 and rescue.scaled.growth_g == 50
    assert rescue.scaled.de00[0] == pytest.approx(0, abs=1e-3)
    assert "pour Lemon 66.00 g, Green 44.00 g; 550.00 g in all" in rescue.scaled.words


def test_nothing_went_wrong(palette, plan, target):
    rescue = over_pour(palette, plan, grams(palette, White=400, Lemon=20), target, Limits(**LIMITS))
    assert rescue.over == () and rescue.wrong == ()
    (way,) = rescue.ways.values()
    assert way.growth_g == 0 and way.de00[0] < 0.05
    np.testing.assert_allclose(rescue.scaled.rest_g, grams(palette, Lemon=40, Green=40), atol=1e-9)


def test_two_steps_of_the_balance_are_no_over_pour(palette, plan, target):
    """0.02 g in a batch of 1159 g; a pour ends within two steps: common practice, no source."""
    plan = plan * 1159 / 500
    weighed = np.round(plan, 2) * (plan > 100)
    weighed[palette.index("White")] += 0.02
    rescue = over_pour(palette, plan, weighed, target, Limits(**LIMITS))
    assert rescue.over == () and list(rescue.ways) == ["scaled"]
    assert rescue.scaled.growth_g < 0.05
    weighed[palette.index("White")] += 5
    assert over_pour(palette, plan, weighed, target, Limits(**LIMITS)).over == ("White",)


@pytest.mark.parametrize(
    "held", [{"White": 400, "Lemon": 66}, {"White": 440}, {"Lemon": 60, "Green": 44}]
)
def test_no_general_solver_grows_the_batch_less(palette, plan, target, held):
    weighed = grams(palette, **held)
    bucket, left = bucket_of(palette, weighed), 500 - weighed.sum()
    rescue = over_pour(palette, plan, weighed, target, Limits(**LIMITS))

    def far(rest):
        return seen_after(bucket, target, rest)[2]

    n = len(weighed)
    of_the_plan = [(0, None if g else 0) for g in plan]
    least = np.inf
    for start in (rescue.scaled.rest_g, rescue.least_growth.rest_g, np.full(n, left / n)):
        answer = minimize(
            lambda r: r.sum() / 500, np.where(plan > 0, np.maximum(start, 0.01), 0),
            method="SLSQP", bounds=of_the_plan,
            constraints=[
                {"type": "ineq", "fun": lambda r: 0.3 - far(r)[0]},
                {"type": "ineq", "fun": lambda r: (r.sum() - left) / 100},
            ],
            options={"maxiter": 100},
        )  # fmt: skip
        if far(answer.x)[0] <= 0.301:
            least = min(least, answer.x.sum())
    assert rescue.least_growth.de00[0] <= 0.31
    assert rescue.least_growth.rest_g.sum() <= least + 0.5

    best = min(
        minimize(
            lambda r: float(far(r) @ target.share), start * left / start.sum(), method="SLSQP",
            bounds=[(0, None)] * n, options={"maxiter": 100},
            constraints={"type": "eq", "fun": lambda r: (r.sum() - left) / 100},
        ).fun
        for start in (np.maximum(rescue.scaled.rest_g, 0.01), np.full(n, 1.0))
    )  # fmt: skip
    assert rescue.same_size.total_g == pytest.approx(500, abs=0.02)
    assert float(rescue.same_size.de00 @ target.share) <= best + 0.25


def test_a_wrong_ink_cannot_be_scaled_away(palette, plan, target):
    weighed = grams(palette, White=400, Magenta=1.0)
    rescue = over_pour(palette, plan, weighed, target, Limits(**LIMITS))
    assert rescue.wrong == ("Magenta",) and rescue.scaled is None
    best = rescue.least_growth
    assert best is None or best.de00[0] <= 0.31
    assert rescue.same_size.total_g == pytest.approx(500, abs=0.02)
    assert (rescue.same_size.rest_g >= 0).all()


def test_a_bucket_that_is_spoiled(palette):
    plan = 500 * mixture(shop()[0], White=0.98, Lemon=0.02)
    clean = target_of(shop()[0], plan / 500)
    rescue = over_pour(palette, plan, grams(palette, White=400, Black=60), clean, Limits(**LIMITS))
    assert rescue.least_growth is None
    assert rescue.same_size.de00[0] > 10 and "same_size" in rescue.ways  # no other way is any good


def test_a_plan_that_is_off_target_is_kept_to(palette, plan):
    # The target is out of reach; what was chosen is the plan's colour.
    far = target_of(shop()[0], mixture(shop()[0], White=0.7, Lemon=0.3))
    rescue = over_pour(palette, plan, grams(palette, White=440), far, Limits(**LIMITS))
    np.testing.assert_allclose(rescue.scaled.rest_g, grams(palette, Lemon=66, Green=44), atol=1e-9)
    off = rescue.scaled.de00[0] - rescue.least_growth.de00[0]
    assert abs(off) < 0.35 and rescue.scaled.de00[0] > 3


def test_no_way_pours_what_is_not_in_stock(palette, plan, target):
    """Of 435 g of White 420 are in the container already, and the stock does not know it yet."""
    held, white = grams(palette, White=420, Lemon=66), palette.index("White")
    free = over_pour(palette, plan, held, target, Limits(**LIMITS))
    assert free.scaled.rest_g[white] == pytest.approx(20.0)
    stock = np.full(len(palette.inks), np.inf)
    stock[white] = 435.0
    short = over_pour(palette, plan, held, target, Limits(**LIMITS, upper_g=stock))
    assert short.scaled is None and short.ways
    assert all(way.rest_g[white] <= 15.0 for way in short.ways.values())


def test_the_room_of_the_container(palette, plan, target):
    rescue = over_pour(
        palette, plan, grams(palette, White=440), target, Limits(**LIMITS, room_g=80.0)
    )
    assert not rescue.scaled.fits and "takes only 80 g more" in rescue.scaled.words
    assert rescue.same_size.fits


@pytest.mark.parametrize(
    ("plan_g", "in_g", "room", "part"),
    [
        ("plan", {"White": -1.0}, np.inf, "container: White is -1 g"),
        ("plan", {"White": np.nan}, np.inf, "container: White is nan g"),
        ("plan", {}, np.inf, "container: every weight is 0"),
        ("nothing", {"White": 1.0}, np.inf, "plan: every weight is 0"),
        ("plan", {"White": 1.0}, -5.0, "room: found -5 g"),
    ],
)
def test_bad_weights_are_refused(palette, plan, target, plan_g, in_g, room, part):
    plan_g = plan if plan_g == "plan" else 0 * plan
    with pytest.raises(InputError) as caught:
        over_pour(palette, plan_g, grams(palette, **in_g), target, Limits(**LIMITS, room_g=room))
    assert part in str(caught.value)
