"""How much ink a job needs: from prints and mesh to grams, containers and cost.

    volume per print = printed area x ink laid down x strokes
    grams            = prints x volume per print x density, plus what never reaches a garment

Ink laid down is either the theoretical ink volume of the mesh (from its data sheet) times
the share of it that the print takes, or a wet thickness that was measured.  1 cm3 per m2
is a film of 1 um.  Nothing is assumed in secret: every number is an input, and
`assumptions` says each in a sentence.

Units: cm2, um, g, ml.  US units are exact by definition: 1 in = 2.54 cm, 1 oz =
28.349523125 g, 1 US fl oz = 29.5735295625 ml.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from math import ceil, isfinite

from matchkit.errors import InputError, raise_any
from matchkit.paper.weighing import Container

CM2_PER_IN2 = 2.54**2
G_PER_OZ = 28.349523125
G_PER_LB = 16 * G_PER_OZ
ML_PER_US_FL_OZ = 29.5735295625
ML_PER_US_GAL = 128 * ML_PER_US_FL_OZ
UM_PER_MIL = 25.4
LEAST_TRANSFER = 0.01  # less is a share where a percentage was asked for
MOST_LOSS = 5.0


@dataclass(frozen=True, kw_only=True)
class PrintJob:
    """What is printed, and how.  Either `mesh_cm3_per_m2` or `wet_um` is given.

    `area_cm2` is the size of the artwork and `coverage` the share of it that is this
    colour; `transfer` is the share of the mesh's ink that one stroke leaves on the
    garment.  A flash and a second stroke lay down `later_stroke` of the first.  `loss` is
    what stays behind, as a share of the ink on the garments, and `screen_g` what it takes
    to flood the screen, whatever the number of prints.  `fabric` is what is printed, as the
    shop calls it.  With `as_before` the ink laid down and the loss are those that closed jobs
    of the same mesh and fabric had, where the record book knows any.
    """

    prints: int
    area_cm2: float
    coverage: float = 1.0
    mesh_cm3_per_m2: float | None = None
    transfer: float | None = None
    wet_um: float | None = None
    strokes: int = 1
    later_stroke: float = 1.0
    loss: float = 0.0
    screen_g: float = 0.0
    fabric: str = ""
    as_before: bool = False

    def __post_init__(self) -> None:
        faults = [*_size_faults(self), *_film_faults(self)]
        raise_any(faults)


@dataclass(frozen=True, kw_only=True)
class JobSize:
    """What a job needs.  `containers` is how many of `container`, or None if none was named."""

    per_print_g: float
    printed_g: float
    loss_g: float
    total_g: float
    total_ml: float
    containers: int | None
    container: str
    cost: float | None
    currency: str
    assumptions: tuple[str, ...]

    def to_dict(self) -> dict[str, object]:
        """The numbers as plain data, as ``matchkit jobsize --json`` prints them."""
        digits = {"per_print_g": 6}
        return {
            key: round(value, digits.get(key, 4)) if isinstance(value, float) else value
            for key, value in asdict(self).items()
        } | {"assumptions": list(self.assumptions)}


def laid_um(job: PrintJob) -> float:
    """The wet film that all strokes lay down, um, which is cm3 per m2.

    >>> laid_um(PrintJob(prints=1, area_cm2=100, mesh_cm3_per_m2=60, transfer=0.5, strokes=2))
    60.0
    """
    if job.wet_um is not None:
        first = job.wet_um
    else:
        assert job.mesh_cm3_per_m2 is not None and job.transfer is not None
        first = job.mesh_cm3_per_m2 * job.transfer
    return first * (1 + (job.strokes - 1) * job.later_stroke)


def taken_um(job: PrintJob, used_ml: float) -> float:
    """The film, um a full stroke, that a job took of `used_ml`: laid down and lost, all in.

    >>> round(taken_um(PrintJob(prints=100, area_cm2=100, wet_um=30), 36.0), 6)
    36.0
    """
    strokes = 1 + (job.strokes - 1) * job.later_stroke
    return used_ml * 1e4 / (job.prints * job.area_cm2 * job.coverage * strokes)


def as_taken(job: PrintJob, um: float) -> PrintJob:
    """The job as if a stroke took `um` in all: the rest of what it lays down is its loss.

    >>> as_taken(PrintJob(prints=100, area_cm2=100, wet_um=30), 36.0).loss
    0.2
    """
    share = um / laid_um(replace(job, strokes=1))
    less = min(share, 1.0)  # less than the figures say was laid down at all
    return replace(
        job,
        transfer=job.transfer and job.transfer * less,
        wet_um=job.wet_um and job.wet_um * less,
        loss=round(min(max(share - 1, 0.0), MOST_LOSS), 4),
        as_before=False,
    )


def job_size(
    job: PrintJob,
    *,
    density_g_per_ml: float,
    container: Container | None = None,
    cost_per_kg: float | None = None,
    currency: str = "",
) -> JobSize:
    """Grams to mix, containers to mix them in, cost; InputError if the density is no ink's.

    >>> job = PrintJob(prints=500, area_cm2=1200, coverage=0.25, mesh_cm3_per_m2=60, transfer=0.6)
    >>> round(job_size(job, density_g_per_ml=1.25).total_g, 6)
    675.0
    """
    if not 0.3 <= density_g_per_ml <= 10:
        raise InputError(
            f"density: found {density_g_per_ml:g} g/ml; an ink is about 1 to 1.5, common "
            "practice, no source (US pounds per gallon: times 0.1198)"
        )
    per_print_ml = job.area_cm2 * job.coverage * laid_um(job) * 1e-4
    per_print_g = per_print_ml * density_g_per_ml
    printed_g = job.prints * per_print_g
    loss_g = job.loss * printed_g + job.screen_g
    total_g = printed_g + loss_g
    total_ml = total_g / density_g_per_ml
    return JobSize(
        per_print_g=per_print_g,
        printed_g=printed_g,
        loss_g=loss_g,
        total_g=total_g,
        total_ml=total_ml,
        containers=None if container is None else how_many(total_ml, container),
        container="" if container is None else container.name,
        cost=None if cost_per_kg is None else cost_per_kg * total_g / 1000,
        currency=currency,
        assumptions=assumptions(job, density_g_per_ml, container),
    )


def assumptions(
    job: PrintJob, density_g_per_ml: float, container: Container | None = None
) -> tuple[str, ...]:
    """Every number that went in, a sentence each."""
    on = f" on {job.fabric}" if job.fabric else ""
    lines = [
        f"{job.prints} prints{on}, artwork {_figures(job.area_cm2)} cm2"
        f" ({_figures(job.area_cm2 / CM2_PER_IN2)} in2),"
        f" {100 * job.coverage:g} % of it in this colour"
    ]
    if job.wet_um is not None:
        lines.append(
            f"one stroke lays down {job.wet_um:.4g} um ({job.wet_um / UM_PER_MIL:.3g} mil) of wet"
            " ink, as measured"
        )
    else:
        assert job.transfer is not None
        lines.append(
            f"the mesh holds {job.mesh_cm3_per_m2:g} cm3 per m2 (its data sheet), and"
            f" {100 * job.transfer:g} % of that stays on the garment"
        )
    if job.strokes > 1:
        lines.append(
            f"{job.strokes} strokes, each after the first {100 * job.later_stroke:g} % of it"
        )
    lines.append(f"{100 * job.loss:g} % of the printed ink on top for loss")
    lines.append(f"{job.screen_g:g} g to flood the screen")
    lines.append(
        f"density {density_g_per_ml:.4g} g/ml"
        f" ({density_g_per_ml * ML_PER_US_GAL / G_PER_LB:.4g} lb per US gallon)"
    )
    if container is not None:
        lines.append(
            f"{container.name}: {_figures(container.volume_ml)} ml"
            f" ({_figures(container.volume_ml / ML_PER_US_FL_OZ)} US fl oz), filled to"
            f" {100 * (1 - container.headroom):g} % so that it can be stirred"
        )
    return tuple(lines)


def whole_g(found: JobSize) -> float:
    """The grams to mix, to a whole gram: rather a gram too much than one too few."""
    return float(ceil(round(found.total_g, 6)))


def summary(found: JobSize, batch_g: float | None = None) -> tuple[str, ...]:
    """What a job needs, a sentence each; `batch_g` is mixed, if that is settled."""
    settled = batch_g is not None and batch_g != whole_g(found)
    lines = [
        f"{'The job needs' if settled else 'Mix'} {whole_g(found):.0f} g"
        f" ({found.total_g / G_PER_OZ:.1f} oz), {found.total_ml:.0f} ml"
        f" ({found.total_ml / ML_PER_US_FL_OZ:.1f} US fl oz)",
        f"on the garments {found.printed_g:.0f} g, {found.per_print_g:.3g} g each;"
        f" left behind {found.loss_g:.0f} g",
    ]
    if found.containers is not None:
        lines.append(f"{found.containers} x {found.container}")
    if found.cost is not None:
        lines.append(f"cost {money_text(found.cost, found.currency)}")
    return tuple(lines)


def money_text(amount: float, currency: str) -> str:
    """An amount of money, with its currency where the shop states one.

    >>> money_text(3.456, "EUR"), money_text(3.456, "")
    ('3.46 EUR', '3.46')
    """
    return f"{amount:.2f} {currency}".rstrip()


def _figures(value: float) -> str:
    """Four figures, and never a power of ten."""
    return f"{value:.0f}" if value >= 1000 else f"{value:.4g}"


def how_many(total_ml: float, container: Container) -> int:
    """How many of a container so much takes, room to stir left in each."""
    room_ml = container.volume_ml * (1 - container.headroom)
    return max(1, ceil(total_ml / room_ml - 1e-9))


def _size_faults(job: PrintJob) -> Sequence[str]:
    numbers = (job.prints, job.strokes)
    faults = [f"{v!r}: write a whole number, 1 or more" for v in numbers if int(v) != v or v < 1]
    for name, value, most in (
        ("area_cm2", job.area_cm2, 1e6),
        ("coverage", job.coverage, 1.0),
        ("later_stroke", job.later_stroke, 2.0),
    ):
        if not 0 < value <= most:
            faults.append(f"{name}: found {value:g}; need more than 0, at most {most:g}")
    for name, value, most in (("loss", job.loss, MOST_LOSS), ("screen_g", job.screen_g, 1e6)):
        if not 0 <= value <= most:
            faults.append(f"{name}: found {value:g}; need 0 to {most:g}")
    return faults


def _film_faults(job: PrintJob) -> Sequence[str]:
    """Mesh and transfer, or a wet thickness; not both, not neither."""
    mesh = job.mesh_cm3_per_m2 is not None
    if mesh == (job.wet_um is not None):
        return ["ink laid down: give the mesh's volume and a transfer, or a wet thickness: one"]
    if mesh != (job.transfer is not None):
        return ["transfer: the share of the mesh's ink that stays on the garment goes with a mesh"]
    faults = []
    for name, value, most in (
        ("mesh_cm3_per_m2", job.mesh_cm3_per_m2, 1000.0),
        ("wet_um", job.wet_um, 1000.0),
        ("transfer", job.transfer, 1.0),
    ):
        if value is not None and not (isfinite(value) and 0 < value <= most):
            faults.append(f"{name}: found {value:g}; need more than 0, at most {most:g}")
    if not faults and job.transfer is not None and job.transfer < LEAST_TRANSFER:
        faults.append(f"transfer: {100 * job.transfer:g} % is too little; six tenths are 60 %")
    return faults
