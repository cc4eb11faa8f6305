"""How much ink a job needs: by the figures that are said, or by what closed jobs took."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace

from matchkit.errors import InputError, did_you_mean
from matchkit.inks.recipe import cost_per_kg, density_g_per_ml
from matchkit.paper import jobsize
from matchkit.paper.weighing import Container
from matchkit.workflows.predicting import Formula, apart
from matchkit.workflows.session import Session

ALIKE = 0.02  # what earlier jobs took is not told where it is so near to what is counted on


@dataclass(frozen=True, kw_only=True)
class SizedBy:
    """What a batch is sized by: a print job, and the density in g/ml that was said, if any."""

    job: jobsize.PrintJob
    density: float | None = None

    @staticmethod
    def from_book(text: str) -> "SizedBy | None":
        """What the record book keeps; None where it keeps nothing."""
        if not text:
            return None
        kept = json.loads(text)
        return SizedBy(job=jobsize.PrintJob(**kept["job"]), density=kept["density"])

    def to_book(self) -> str:
        """As the record book keeps it."""
        return json.dumps(asdict(self))

    def grams(self, session: Session, formula: Formula) -> float:
        """The batch of a formula that the job needs, in whole grams."""
        return jobsize.whole_g(ink_for_job(session, formula, self.job, density=self.density))


def ink_for_job(
    session: Session,
    formula: Formula,
    job: jobsize.PrintJob,
    *,
    container: Container | None = None,
    density: float | None = None,
) -> jobsize.JobSize:
    """How much of a formula a job needs; only the shelf is read, no measurement.

    `density` in g/ml stands in for what ``inks.csv`` does not know.  What closed jobs of the
    same mesh and fabric took is offered in a notice.  InputError where no density is known.
    """
    if not job.as_before and (taken := taken_before(session, job)):
        counted = jobsize.laid_um(replace(job, strokes=1)) * (1 + job.loss)
        if abs(counted / taken.um - 1) > ALIKE:
            ours = f"{counted:.3g} um are counted on here: say 'as before' to count on theirs"
            session.note("taken_before", f"{taken.words}; {ours}")
    return sized(session, formula, job, container=container, density=density)


def sized(
    session: Session,
    formula: Formula,
    job: jobsize.PrintJob,
    *,
    container: Container | None = None,
    density: float | None = None,
) -> jobsize.JobSize:
    """As `ink_for_job`, and nothing is offered."""
    job = as_before(session, job)
    held, shelf = apart(session, formula), {ink.name: ink for ink in session.shelf.inks}
    if unknown := [name for name in held if name not in shelf]:
        raise InputError(
            [f"{name!r}: not in inks.csv{did_you_mean(name, shelf)}" for name in unknown]
        )
    known = density or density_of(session, held)
    if known is None:
        lacking = ", ".join(name for name in held if shelf[name].density_g_per_ml is None)
        raise InputError(
            f"the density of {lacking} is not known: fill in density_g_per_ml of inks.csv, or"
            " give the density of the mixture"
        )
    total = sum(held.values())
    cost = cost_per_kg([shelf[name] for name in held], [g / total for g in held.values()])
    return jobsize.job_size(
        job, density_g_per_ml=known, container=container, cost_per_kg=cost,
        currency=session.settings.currency,
    )  # fmt: skip


def density_of(session: Session, held: Mapping[str, float]) -> float | None:
    """Density in g/ml of amounts by ink; None where that of one is not known."""
    shelf, total = {ink.name: ink for ink in session.shelf.inks}, sum(held.values())
    if not {*held} <= {*shelf}:
        return None
    return density_g_per_ml([shelf[name] for name in held], [g / total for g in held.values()])


# ---- what closed jobs took


@dataclass(frozen=True, kw_only=True)
class TakenBefore:
    """What approved jobs of one mesh and fabric took: um a full stroke, laid down and lost.

    It is by what was poured and what was left of them; flooding the screen is counted apart.
    """

    batches: tuple[int, ...]
    um: float
    on: str

    @property
    def words(self) -> str:
        """Which jobs took how much."""
        named = ", ".join(map(str, self.batches))
        batches = "batch" if len(self.batches) == 1 else "batches"
        return (
            f"closed jobs {self.on} ({batches} {named}) took {self.um:.3g} um of ink a stroke,"
            " loss counted, by what was left of them"
        )


def taken_before(session: Session, job: jobsize.PrintJob) -> TakenBefore | None:
    """What closed jobs of the job's mesh (or film) and fabric took; None where none tells."""
    if session.book is None:
        return None
    from matchkit.book.work import printed_jobs

    batches, used, printed = [], 0.0, 0.0
    for each in printed_jobs(session.book):
        kept = SizedBy.from_book(each.print_job)
        if kept is None or _kind(kept.job) != _kind(job):
            continue
        density = kept.density or density_of(session, each.poured_g)
        used_g = sum(each.poured_g.values()) - each.left_g - kept.job.screen_g
        if density and used_g > 0:
            batches.append(each.batch)
            used += used_g / density
            printed += 1 / jobsize.taken_um(kept.job, 1.0)  # ml that a film of 1 um takes
    if not batches:
        return None
    on = f"with this {'film' if job.mesh_cm3_per_m2 is None else 'mesh'}"
    on += f" on {job.fabric}" if job.fabric else ""
    return TakenBefore(batches=tuple(sorted(batches)), um=used / printed, on=on)


def as_before(session: Session, job: jobsize.PrintJob) -> jobsize.PrintJob:
    """A job that is to count on closed ones with what those took; any other as it is."""
    if not job.as_before:
        return job
    taken = taken_before(session, job)
    if taken is None:
        session.note(
            "none_taken",
            "no closed job of this mesh and fabric tells what it took, so the figures count as"
            " they are said: write down what is left of a job, or 0",
        )
        return replace(job, as_before=False)
    session.note("taken_before", f"{taken.words}; that is used")
    return jobsize.as_taken(job, taken.um)


def _kind(job: jobsize.PrintJob) -> tuple[float | None, float | None, str]:
    """What jobs have in common that take alike."""
    return job.mesh_cm3_per_m2, job.wet_um, job.fabric.strip().casefold()
