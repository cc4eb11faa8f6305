"""What a job took is learned from what was left of it, and offered at the next of its kind."""

import json

import pytest
from book_shop import SHOP, Clock, aim, candidate

from matchkit.book.containers import measure, weigh
from matchkit.book.entries import JobDetails, close, log_match
from matchkit.book.stock import keep_leftover
from matchkit.book.store import open_book
from matchkit.inks.shop import Ink
from matchkit.paper.jobsize import PrintJob
from matchkit.workflows.predicting import Formula
from matchkit.workflows.session import Session
from matchkit.workflows.sizing import SizedBy, ink_for_job

MESH = PrintJob(prints=100, area_cm2=1000, mesh_cm3_per_m2=60, transfer=0.5, fabric="Cotton tee")


class Shop(Session):
    """The shop of four inks, each of 1.25 g/ml, without its files."""

    settings = files = shop = shelf = SHOP.__class__(
        **vars(SHOP)
        | {
            "inks": tuple(
                Ink(**vars(ink) | {"density_g_per_ml": 1.25, "cost_per_kg": 10.0})
                for ink in SHOP.inks
            ),
            "currency": "EUR",
        }
    )


@pytest.fixture
def closed(tmp_path):
    """A batch of 500 g for MESH, approved; 50 g were left of it."""
    book = open_book(tmp_path, who="Ada", clock=Clock())
    shares = (0.95, 0.05, 0.0, 0.0)
    target, print_job = aim(*shares), SizedBy(job=MESH).to_book()
    batch = log_match(
        book, SHOP, target, candidate([475, 25, 0, 0], target), name="Cream",
        details=JobDetails(), print_job=print_job,
    ).batch  # fmt: skip
    weigh(book, SHOP, batch, {"White": 475.0, "Lemon": 25.0})
    measure(book, SHOP, batch, target.R)
    close(book, batch, "approved")
    return tmp_path, batch


def needed(folder, **said):
    session = Shop(folder)
    job = PrintJob(**{**vars(MESH), "prints": 200, **said})
    found = ink_for_job(session, Formula(amounts={"White": 1.0}), job)
    return found, [each.text for each in session.notices]


def test_the_next_job_of_a_mesh_and_fabric_can_count_on_what_the_last_took(closed):
    folder, batch = closed
    assert needed(folder)[1] == []  # nobody said what was left
    keep_leftover(open_book(folder), SHOP, batch, 50.0, "Old cream")
    # By hand: 450 g at 1.25 g/ml are 360 ml on 100 x 0.1 m2 = 10 m2, a film of 36 um; the figures
    # say 60 x 0.5 = 30 um, so a fifth on top.  200 prints take 720 ml, 900 g, 9 EUR.
    found, (offered,) = needed(folder)
    assert found.total_g == pytest.approx(750)
    assert "on Cotton tee (batch 1) took 36 um" in offered and "30 um are counted on" in offered
    found, _ = needed(folder, as_before=True)
    assert (found.total_g, found.cost) == (pytest.approx(900), pytest.approx(9))
    assert found.printed_g == pytest.approx(750) and found.currency == "EUR"
    assert needed(folder, loss=0.2)[1] == []  # it is counted on already
    assert needed(folder, fabric="Jute bag")[1] == needed(folder, mesh_cm3_per_m2=40)[1] == []
    (told,) = needed(folder, fabric="Jute bag", as_before=True)[1]
    assert "no closed job of this mesh and fabric" in told


def test_a_job_that_took_less_than_the_figures_say(closed):
    folder, batch = closed
    keep_leftover(open_book(folder), SHOP, batch, 200.0, "Old cream")  # 300 g are 24 um
    found, _ = needed(folder, as_before=True)
    assert found.total_g == pytest.approx(600) and found.loss_g == 0


def test_what_older_books_keep_of_a_job_is_read():
    kept = json.loads(SizedBy(job=MESH).to_book())
    for later in ("fabric", "as_before"):
        del kept["job"][later]
    old = SizedBy.from_book(json.dumps(kept))
    assert old is not None and old.job.fabric == "" and not old.job.as_before
