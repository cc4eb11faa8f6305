"""Stills: what a form shows with its first entries, stored in the notebook as it is read.

Each function has the name of its form.  The stored texts and pictures tell of the demo
shop; of another shop a still says so in a sentence, since the form above shows the rest.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from matchkit.errors import InputError
from matchkit.files.recipe import read_recipe
from matchkit.files.spectrum import read_spectrum
from matchkit.forms.book_demo import with_book
from matchkit.forms.jobsize import EXAMPLE
from matchkit.forms.shops import OpenShop, fit_of, is_demo
from matchkit.practice.hints import finish, follow
from matchkit.practice.job import start
from matchkit.practice.kinds import exercise
from matchkit.practice.looks import answer_safety
from matchkit.practice.safety import SAFETY
from matchkit.practice.simulated_shop import practice_shop
from matchkit.report.book import batch_parts, day_parts, order_parts
from matchkit.report.check import check_parts
from matchkit.report.comparison import comparison_parts
from matchkit.report.corrections import correction_parts
from matchkit.report.formulas import formula_parts, overview_parts, prediction_parts, reach_parts
from matchkit.report.html import show
from matchkit.report.inks import fit_parts, history_parts, ink_parts, share_parts, tint_parts
from matchkit.report.parts import Part
from matchkit.report.plan import look_parts, plan_parts
from matchkit.report.practice import answer_parts, job_parts, outcome_parts, question_parts
from matchkit.report.printed import cover_parts, size_parts, ticket_page
from matchkit.workflows import looking_up, shelf
from matchkit.workflows.checking import check as look
from matchkit.workflows.comparing import compare as compare_recipes
from matchkit.workflows.comparing import formula_of
from matchkit.workflows.correcting_batch import Mixed
from matchkit.workflows.correcting_batch import correct as find
from matchkit.workflows.finding import find_formulas
from matchkit.workflows.fitting_inks import InksFitted, look_at
from matchkit.workflows.formulas import ANY_LEFTOVER, Search
from matchkit.workflows.ink_history import ink_history as history_of
from matchkit.workflows.ink_history import shares_in_tolerance
from matchkit.workflows.planning import PlanChoices, plan_drawdowns
from matchkit.workflows.predicting import Formula, Strokes, example_formula, predict
from matchkit.workflows.predicting import cover as over_garments
from matchkit.workflows.sizing import ink_for_job
from matchkit.workflows.today import day
from matchkit.workflows.wanted import example_wanted, wanted_listed, wanted_spectrum
from matchkit.workflows.weighing_out import TicketChoices
from matchkit.workflows.weighing_out import ticket as make_ticket

MANY, NEAR_DE00 = 60, 0.3  # formulas to choose a metameric pair from, and how near they are
OF_THE_DEMO = "The stored pictures are of the demo shop; for your own shop, use the form above."


def of_the_demo(
    opened: OpenShop, parts: Callable[[], Sequence[Part]], *, folded: bool = True
) -> None:
    """Show the parts of the demo shop; a sentence for any other, or one that lacks them."""
    try:
        shown = parts() if is_demo(opened) and opened.fits else []
    except InputError:  # what is called demo-shop here was changed
        shown = []
    if shown:
        show(shown, folded=folded)
    else:
        show([OF_THE_DEMO])


def match(opened: OpenShop, target: str) -> None:
    """Formulas for a colour of the shop's list, and the best one that hides, closely."""
    of_the_demo(opened, lambda: _found(opened, target, Search()))


def _found(opened: OpenShop, target: str, search: Search) -> list[Part]:
    session = opened.session()
    found = find_formulas(session, wanted_listed(session, target), search)
    closely = formula_parts(found, found.best_that_hides, closely=True)
    return [*session.notices, *reach_parts(found), *overview_parts(found), *closely]


def inks(opened: OpenShop, ink: str) -> None:
    """An ink, its ladder and its optics."""

    def parts() -> list[Part]:
        found = fit_of(opened, ink)
        return [*ink_parts(found, opened.shop.like_samples, ink), *tint_parts(found, ink, 10.0)]

    of_the_demo(opened, parts)


def fit(opened: OpenShop, ink: str) -> None:
    """How good the fit of an ink's series is."""

    def parts() -> list[Part]:
        return fit_parts(InksFitted(fits={"": fit_of(opened, ink)}, films={}))

    of_the_demo(opened, parts, folded=False)


def plan(opened: OpenShop, ink: str) -> None:
    """The drawdowns to make for a new ink."""
    of_the_demo(
        opened,
        lambda: plan_parts(plan_drawdowns(opened.session(), PlanChoices(new_ink=ink))),
    )


def readings(opened: OpenShop, ink: str) -> None:
    """An ink's readings in the shop's `spectra.csv`, looked at as an instrument's file."""

    def parts() -> list[Part]:
        look = look_at(opened.folder / "spectra.csv", opened.session())
        names = {drawdown.name for drawdown in opened.shop.drawdowns if ink in drawdown.inks}
        few = tuple(each for each in look.seen.spectra if each.name in names)
        return look_parts(replace(look, seen=replace(look.seen, spectra=few)), bars="")

    of_the_demo(opened, parts)


def weigh(opened: OpenShop, batch_g: float = 500.0) -> None:
    """The shop's example batch, weighed out."""

    def parts() -> list[Part]:
        session = opened.session()
        formula, wanted = example_formula(session), example_wanted(session)
        return prediction_parts(predict(session, formula, wanted=wanted, batch_g=batch_g))

    of_the_demo(opened, parts)


def ticket(opened: OpenShop, batch_g: float) -> None:
    """The ticket of the shop's example batch, small amounts from letdowns."""

    def parts() -> list[Part]:
        session, choices = opened.session(), TicketChoices(letdowns=True)
        formula, wanted = example_formula(session), example_wanted(session)
        made = make_ticket(session, formula, choices, wanted=wanted, batch_g=batch_g)
        return [ticket_page(replace(made, date=""))]

    of_the_demo(opened, parts, folded=False)


def compare(opened: OpenShop, target: str, lights: tuple[str, ...] = ()) -> None:
    """Two formulas that match under the first light: best and worst under the other `lights`."""

    def parts() -> list[Part]:
        session = opened.session()
        R = session.targets[target]
        wanted = wanted_spectrum(session, target, R, lights=lights, other_weight=0.0)
        found = find_formulas(session, wanted, Search(top=MANY)).match.formulas
        near = [each for each in found if each.de00[0] < NEAR_DE00 and not each.mostly_clear]
        near.sort(key=lambda each: each.de00[1:].max())
        two = {"steady formula": near[0], "metameric formula": near[-1]}
        recipes = [formula_of(name, each) for name, each in two.items()]
        return comparison_parts(compare_recipes(session, wanted, recipes))

    of_the_demo(opened, parts)


def leftovers(opened: OpenShop, target: str, mix: str = "", batch_g: float = 1000.0) -> None:
    """How much of the shelf a colour of the shop's list can use up."""
    search = Search(batch_g=batch_g, leftover=mix or ANY_LEFTOVER)
    of_the_demo(opened, lambda: _found(opened, target, search))


def check(opened: OpenShop) -> None:
    """The shop's example: its first drawdown against its target."""

    def parts() -> list[Part]:
        session = opened.session()
        measured = read_spectrum(opened.folder / "example" / "measured.csv")[0]
        return check_parts(look(session, example_wanted(session), measured.readings))

    of_the_demo(opened, parts)


def correct(opened: OpenShop) -> None:
    """The shop's example: what to add to it, and the chance before and after."""

    def parts() -> list[Part]:
        folder, session = opened.folder / "example", opened.session()
        measured = read_spectrum(folder / "measured.csv")[0]
        written = read_recipe(folder / "weighed.csv", grams_only=True)
        held = dict(zip(written.inks, written.grams or (), strict=True))
        rounds = [Mixed(grams=held, R=measured.R)]
        return correction_parts(find(session, example_wanted(session), rounds))

    of_the_demo(opened, parts)


def book(opened: OpenShop, batch: int) -> None:
    """Today's jobs by the shop's book, what happened to one batch, and what runs low."""

    def parts() -> list[Part]:
        session = with_book(opened).session()
        today, orders = day(session), shelf.reorder(session)
        return [
            *day_parts(today),
            *batch_parts(looking_up.show(session, batch)),
            *order_parts(orders),
        ]

    of_the_demo(opened, parts)


def ink_history(opened: OpenShop, ink: str) -> None:
    """How strong an ink's lots have run, and how many batches were in tolerance."""

    def parts() -> list[Part]:
        session = with_book(opened).session()
        shares = [share_parts(shares_in_tolerance(session, by)) for by in ("mixer", "ink")]
        return [*history_parts(history_of(session, ink)), *shares[0], *shares[1]]

    of_the_demo(opened, parts)


def practise(kind: str, seed: int = 1, level: int = 2) -> None:
    """One exercise of a kind ("see", "fix", "light", "sums") with its answer."""
    each = exercise(practice_shop(), kind, seed=seed, level=level)
    show([*question_parts(each), *answer_parts(each, each.answer)], folded=True)


def practise_job(seed: int = 1) -> None:
    """A whole job, played by the hints."""
    batch = start(practice_shop(), seed=seed)
    for each in SAFETY:
        batch, _ = answer_safety(batch, each.key, each.answer)
    batch = follow(batch)
    show([*job_parts(batch), *outcome_parts(batch, finish(batch))], folded=True)


def cover(
    opened: OpenShop, ink: str = "", *, stroke_um: float = 50.0, underbase_um: float = 50.0
) -> None:
    """An ink, or the shop's example batch, printed over each of its garments."""

    def parts() -> list[Part]:
        session = opened.session()
        formula = Formula(amounts={ink: 1.0}) if ink else example_formula(session)
        strokes = Strokes(stroke_um=stroke_um, underbase_um=underbase_um)
        return cover_parts(over_garments(session, formula, strokes))

    of_the_demo(opened, parts, folded=not ink)


hold = cover  # as it was once called


def jobsize(opened: OpenShop) -> None:
    """How much of the shop's example batch an example job needs."""

    def parts() -> list[Part]:
        session = opened.session()
        return size_parts(ink_for_job(session, example_formula(session), EXAMPLE))

    of_the_demo(opened, parts)
