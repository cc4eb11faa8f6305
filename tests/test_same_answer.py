"""One job has one answer: asked at every door it gives the same facts, numbers and warnings.

The doors and what is read off them are in `doors` and `door_jobs`.  `DIFFER` lists where doors
part today, each with its reason; nothing else may, and what agrees again must leave the list.
"""

from collections.abc import Callable
from typing import Any

import pytest

pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")

from door_jobs import JOBS, answers
from doors import Absent, Room, make_shop, same

# Why doors part: the sentence, the door, the facts, the jobs.
DIFFER: tuple[tuple[str, str, tuple[str, ...], tuple[str, ...]], ...] = ()


def reasons(job: str, door: str) -> dict[str, str]:
    """Facts in which a door parts from the first that has the job, and why."""
    return {
        fact: why
        for why, where, facts, jobs in DIFFER
        if where == door and job in jobs
        for fact in facts
    }


def first(job: str) -> str:
    """The door that the others are held against."""
    return next(d for d, ask in JOBS[job].items() if ask and not isinstance(ask, Absent))


def cases() -> list[Any]:
    """Each job at each other door; those that part are expected to fail."""
    out = []
    for job, doors in JOBS.items():
        for door, ask in doors.items():
            if ask is None or door == first(job):
                continue
            why = [ask.why] if isinstance(ask, Absent) else reasons(job, door).values()
            told = "; ".join(dict.fromkeys(why))
            marks = [pytest.mark.xfail(strict=True, raises=AssertionError, reason=told)]
            out.append(pytest.param(job, door, marks=marks if told else [], id=f"{job}-{door}"))
    return out


@pytest.fixture(scope="module")
def ask(fitted_demo, tmp_path_factory) -> Callable[[str], dict[str, Any]]:
    """What all doors tell about a job, asked once."""
    made = make_shop(fitted_demo, tmp_path_factory.mktemp("made") / "shop")
    told: dict[str, dict[str, Any]] = {}

    def asked(job: str) -> dict[str, Any]:
        if job not in told:
            with pytest.MonkeyPatch.context() as patch:
                patch.setenv("MATCHKIT_FORMS_RAISE", "1")  # what is no one's mistake fails
                told[job] = answers(Room(made, tmp_path_factory.mktemp("room")), JOBS[job])
        return told[job]

    return asked


def parting(told: dict[str, Any], job: str, door: str) -> dict[str, tuple[Any, Any]]:
    """Facts that differ, as the first door and this one tell them."""
    for each in (told[first(job)], told[door]):
        if isinstance(each, Exception):
            raise each
    one, other = told[first(job)], told[door]
    both = {fact: (one.get(fact, "not told"), other.get(fact, "not told")) for fact in one | other}
    return {fact: pair for fact, pair in both.items() if pair[1] is not None and not same(*pair)}


@pytest.mark.parametrize(("job", "door"), cases())
def test_every_door_tells_the_same(ask, job, door):
    assert not isinstance(JOBS[job][door], Absent)
    assert parting(ask(job), job, door) == {}


@pytest.mark.parametrize("job", JOBS)
def test_doors_part_in_nothing_but_what_is_listed(ask, job):
    told = ask(job)
    found = {door: parting(told, job, door) for door in told if door != first(job)}
    listed = {door: set(reasons(job, door)) for door in found}
    unlisted = {
        (door, fact): pair
        for door, facts in found.items()
        for fact, pair in facts.items()
        if fact not in listed[door]
    }
    assert unlisted == {}
    agreed = {door: facts - found[door].keys() for door, facts in listed.items()}
    assert not any(agreed.values()), f"take off the list, these agree: {agreed}"


def test_the_list_names_jobs_and_doors_that_there_are():
    for why, door, _, jobs in DIFFER:
        for job in jobs:
            assert door in JOBS.get(job, {}), (why, job, door)
