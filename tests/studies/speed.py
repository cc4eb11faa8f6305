"""How fast the solver is beside what a Python user would do, and how its time grows.

    python -m tests.studies.speed            measures all of it (five minutes) and stores it;
                                             data/make_pictures.py then draws its growth

Every ratio is taken in one run on one machine, on targets of a bench with other inks than
the palette's; seconds are those of the machine that stored the table.  One process.
"""

import json
import shutil
import subprocess
import sys
import tempfile
import time
from itertools import combinations
from pathlib import Path
from statistics import median

import numpy as np

from matchkit.colorimetry.difference import Target
from matchkit.inks.shop import Shop
from matchkit.matching import match as match_module
from matchkit.matching import solve as solve_module
from matchkit.matching.solve import count_subsets, is_exhaustive, solve
from tests.benchmarks import rivals

STORED = Path(__file__).with_suffix(".json")
DEMO = Path(__file__).parents[2] / "data" / "demo-shop"
SEED, OTHER = 8201, 8202  # used for nothing else
TEN = 10
MANY_LIGHTS = ("D65", "A", "FL11", "D50", "FL2", "C", "FL7", "D55", "D75", "E")
TIGHT = {"MOST": 20_000, "PARENTS": 3_000}  # so that 5 of 24 is more than is looked at whole


def seconds(work, repeats=3):
    """The least of a few runs: noise only ever adds."""
    least = np.inf
    for _ in range(repeats):
        started = time.perf_counter()
        work()
        least = min(least, time.perf_counter() - started)
    return least


def cpu_s(work):
    """Processor seconds of one run, which other programs on the machine hardly change."""
    started = time.process_time()
    work()
    return time.process_time() - started


def times_as_long(one, other, pairs=3):
    """How many times as long `one` takes as `other`: the median of pairs run in turn."""
    return median(cpu_s(one) / cpu_s(other) for _ in range(pairs))


def match_beside_solve(n_ink=16, repeats=3):
    """What a whole match costs, chances and ranking too, over what its solving costs."""
    found, targets, spent = rivals.fit_of(n_ink, SEED), rivals.targets_of(OTHER), 0.0
    shop = Shop(
        name="", geometry="d/8 specular included", condition="", observer=10,
        lights=("D65", "A", "FL11"), inks=found.palette.inks,
    )  # fmt: skip

    def timed(*args, **asked):
        nonlocal spent
        started = time.process_time()
        solved = solve(*args, **asked)
        spent += time.process_time() - started
        return solved

    match_module.solve, ratios = timed, []
    try:
        for _ in range(repeats):
            spent = 0.0
            whole = cpu_s(lambda: [match_module.match(shop, {"": found}, t) for t in targets])
            ratios.append(whole / spent)
    finally:
        match_module.solve = solve
    return median(ratios)


def against_scipy(n_ink=24, largest=4, each=2, n_random=300):
    """Time per subset and what is lost, ours and one subset at a time by scipy."""
    palette, targets = rivals.palette_of(n_ink, SEED), rivals.targets_of(OTHER, each)
    n = count_subsets(n_ink, largest)
    rng = np.random.default_rng(SEED)
    every = [c for m in range(1, largest + 1) for c in combinations(range(n_ink), m)]
    ours, slsqp, squares, nnls, evolved, worse = [], [], [], [], [], []
    for target in targets:
        ours.append(seconds(lambda target=target: solve(palette, target, max_inks=largest)) / n)
        found = solve(palette, target, max_inks=largest)
        picked = [every[i] for i in rng.choice(len(every), n_random // len(targets), replace=False)]
        started = time.perf_counter()
        theirs = [rivals.by_slsqp(palette, target, inks) for inks in picked]
        slsqp.append((time.perf_counter() - started) / len(picked))
        started = time.perf_counter()
        for inks in picked[:5]:
            rivals.by_least_squares(palette, target, inks)
        squares.append((time.perf_counter() - started) / 5)
        worse.append(loss(palette, target, found, theirs))
        for kept, rival in ((nnls, rivals.by_nnls), (evolved, rivals.by_evolution)):
            started = time.perf_counter()
            F, _ = rival(palette, target, largest)
            kept.append((time.perf_counter() - started, F - found.F[0]))
    more = seconds(lambda: solve(palette, targets[0], max_inks=largest + 1), 2)
    first = seconds(lambda: solve(palette, targets[0], max_inks=largest))
    return {
        "n_ink": n_ink, "largest": largest, "subsets": n, "targets": len(targets),
        "ours_us": 1e6 * median(ours), "slsqp_us": 1e6 * median(slsqp),
        "least_squares_us": 1e6 * median(squares),
        "slsqp_ratio": median(b / a for a, b in zip(ours, slsqp, strict=True)),
        "slsqp_least_ratio": min(b / a for a, b in zip(ours, slsqp, strict=True)),
        "worse_by": max(worse),
        "nnls_s": median(t for t, _ in nnls), "nnls_loss": [F for _, F in nnls],
        "evolution_s": median(t for t, _ in evolved), "evolution_loss": [F for _, F in evolved],
        "one_more_ink": more / first, "one_more_subsets": count_subsets(n_ink, largest + 1),
    }  # fmt: skip


def loss(palette, target, found, theirs):
    """How much better scipy does than our ten best: on their inks, and on its own subsets."""
    ten = list(zip(found.F[:TEN], found.fractions[:TEN], strict=True))
    again = [
        F - rivals.by_slsqp(palette, target, np.flatnonzero(c), start)[0]
        for F, c in ten
        for start in (None, c[c > 0])
    ]
    known = {tuple(np.flatnonzero(c)) for c in found.fractions}
    missed = [
        float(found.F[:TEN][-1] - F)
        for F, c in theirs
        if tuple(np.flatnonzero(c > 1e-6)) not in known
    ]
    return max(0.0, *again, *missed)


def growth():
    """Seconds against inks, largest formula and lights; the rest held at 16, 4, 3."""
    R = rivals.target_spectra(OTHER)
    out = {"inks": [], "max inks": [], "lights": []}
    for n_ink in (8, 12, 16, 24, 32, 40):
        palette = rivals.palette_of(n_ink, SEED)
        out["inks"].append((n_ink, _mean_s(palette, R, rivals.LIGHTS, 4)))
    palette = rivals.palette_of(16, SEED)
    for largest in (2, 3, 4, 5, 6):
        out["max inks"].append((largest, _mean_s(palette, R, rivals.LIGHTS, largest)))
    for n in (1, 2, 3, 5, 10):
        out["lights"].append((n, _mean_s(palette, R, MANY_LIGHTS[:n], 4)))
    return out


def _mean_s(palette, R, lights, largest):
    targets = [Target.from_spectrum(each, lights, rivals.OBSERVER) for each in R]
    return float(
        np.mean([seconds(lambda t=t: solve(palette, t, max_inks=largest)) for t in targets])
    )


def exponent(points):
    """Slope of log time against log size over the upper half of the sizes."""
    x, y = np.log(np.array(points[len(points) // 2 - 1 :])).T
    return float(np.polyfit(x, y, 1)[0])


def grows(name, points):
    """In words."""
    if name == "max inks":
        (_, before), (_, after) = points[-2:]
        return f"last one more: {after / before:.1f} x"
    return f"power {exponent(points):.1f}"


def beyond(n_ink=24, largest=5, each=5):
    """What is lost, and gained in time, where only grown subsets are looked at."""
    palette = rivals.palette_of(n_ink, SEED)
    best, ten, ratio = [], [], []
    for target in rivals.targets_of(OTHER + 1, each):
        started = time.perf_counter()
        whole = solve(palette, target, max_inks=largest)
        middle = time.perf_counter()
        kept = {name: getattr(solve_module, name) for name in TIGHT}
        try:
            for name, value in TIGHT.items():
                setattr(solve_module, name, value)
            assert not is_exhaustive(n_ink, largest)
            now = time.perf_counter()
            grown = solve(palette, target, max_inks=largest)
            ratio.append((middle - started) / (time.perf_counter() - now))
        finally:
            for name, value in kept.items():
                setattr(solve_module, name, value)
        best.append(float(grown.F[0] - whole.F[0]))
        n = min(TEN, len(grown.F), len(whole.F))
        ten.append(float((grown.F[:n] - whole.F[:n]).max()))
    return {
        "targets": len(best),
        "best_loss": max(best),
        "ten_loss": max(ten),
        "ratio": median(ratio),
    }


def starts():
    """Seconds from process start: an empty interpreter, the package, the help, one match."""
    with tempfile.TemporaryDirectory() as folder:
        shop = shutil.copytree(DEMO, Path(folder) / "shop")
        _quiet([sys.executable, "-m", "matchkit", "fit", str(shop)])
        return _starts(shop)


def _starts(shop):
    python = sys.executable
    match = (
        "from matchkit.cli import main; import sys;"
        f"main(['match', {str(shop)!r}, {str(shop / 'targets.csv')!r}, '--name', 'Clotted cream',"
        " '--json']); assert 'colour' not in sys.modules"
    )
    commands = {
        "an empty interpreter": [python, "-c", ""],
        "import matchkit": [python, "-c", "import matchkit"],
        "matchkit --help": [python, "-m", "matchkit", "--help"],
        "one match": [python, "-c", match],
    }
    return {name: seconds(lambda c=c: _quiet(c), 5) for name, c in commands.items()}


def _quiet(command):
    subprocess.run(command, check=True, capture_output=True)


def peak_mb():
    """Peak memory of a process that looks at every formula of up to 5 of 24 inks."""
    code = (
        "from tests.studies import speed; from tests.benchmarks import rivals;"
        "speed.solve(rivals.palette_of(24, 1), rivals.targets_of(2)[0], max_inks=5);"
        "import resource; print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    return int(done.stdout) / 1024


def measure():
    return {
        "against scipy": against_scipy(),
        "growth": growth(),
        "match over solve": match_beside_solve(),
        "beyond": beyond(),
        "starts": starts(),
        "peak_mb": peak_mb(),
    }


def markdown(found):
    """README's words and tables."""
    a, g, b, s = (found[key] for key in ("against scipy", "growth", "beyond", "starts"))
    lines = [
        f"Every formula of up to {a['largest']} of {a['n_ink']} inks under three lights,"
        f" {a['subsets']:,} subsets, {a['targets']} targets:",
        "",
        "| way | per subset | for one target | beside ours |",
        "|---|---|---|---|",
        f"| all subsets at once (`solve`) | {a['ours_us']:.0f} us | {_whole(a, 'ours_us')} | 1 |",
        f"| SLSQP, a subset at a time | {a['slsqp_us'] / 1e3:.1f} ms | {_whole(a, 'slsqp_us')} |"
        f" {a['slsqp_ratio']:.0f} x (least {a['slsqp_least_ratio']:.0f} x) |",
        f"| `least_squares`, a subset at a time | {a['least_squares_us'] / 1e3:.0f} ms |"
        f" {_whole(a, 'least_squares_us')} | {a['least_squares_us'] / a['ours_us']:.0f} x |",
        f"| NNLS on linear K/S, then polished | | {a['nnls_s']:.2g} s | F worse by"
        f" {_range(a['nnls_loss'])} |",
        f"| differential evolution on all inks, then polished | | {a['evolution_s']:.2g} s |"
        f" F worse by {_range(a['evolution_loss'])} |",
        "",
        f"SLSQP, on the inks of our ten best and on 300 subsets drawn at random, never found F"
        f" lower by more than {a['worse_by']:.4f}. Up to {a['largest'] + 1} inks"
        f" ({a['one_more_subsets']:,} subsets) take {a['one_more_ink']:.1f} times as long. Peak"
        f" memory {found['peak_mb']:.0f} MB.",
        "",
        "| time for one target | " + " | ".join("" for _ in range(5)) + " | grows as |",
        "|---|" + "---|" * 6,
    ]
    for name, points in g.items():
        shown = points[-5:]
        cells = [f"{x}: {_time(t)}" for x, t in shown]
        lines.append(f"| {name} | " + " | ".join(cells) + f" | {grows(name, points)} |")
    lines += [
        "",
        f"Of a size with more than {solve_module.MOST:,} subsets only those are looked at that"
        f" add an ink to one of the {solve_module.PARENTS:,} best formulas of one ink fewer, and"
        f" `match` says so. What that may lose, tried where the whole can still be looked at (5 of"
        f" 24 inks, {b['targets']} targets): best {b['best_loss']:.4f}, best ten"
        f" {b['ten_loss']:.4f} dE00.",
        "",
        *(
            [
                f"A whole match, chances and ranking of all candidates too, costs"
                f" {100 * (found['match over solve'] - 1):.0f} % more than its solving.",
                "",
            ]
            if "match over solve" in found  # tables stored before have no such line
            else []
        ),
        "From process start: "
        + ", ".join(f"{name} {_time(t)}" for name, t in s.items())
        + " (demo shop with `fit.json`; colour-science is not imported).",
    ]
    return "\n".join(lines)


def _whole(a, key):
    return _time(a[key] / 1e6 * a["subsets"])


def _time(s):
    return f"{s:.2g} s" if s < 100 else f"{s / 60:.0f} min"


def _range(losses):
    return f"{min(losses):.2f}-{max(losses):.2f}"


if __name__ == "__main__":
    found = measure()
    STORED.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    print(markdown(found))
