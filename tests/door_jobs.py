"""Twenty jobs, and how each is asked at every door: see `doors`."""

import contextlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import unescape
from typing import Any

import numpy as np
from doors import (
    CHECKED,
    FORMULA,
    GROUND,
    LAB,
    LOTS,
    PRINT_UM,
    TARGET,
    Absent,
    Adapter,
    Facts,
    Known,
    Room,
    by_library,
    by_name,
    candidate_facts,
    chances_told,
    check_drawdown,
    cured,
    handed,
    judged,
    lots_told,
    seen,
    sensitive,
    slips_told,
    spoken,
    strengths_told,
    warned,
)

from matchkit.colorimetry.difference import Target
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.inks.drawdowns import rows
from matchkit.matching.garment import Strokes
from matchkit.matching.probability import chance_text
from matchkit.paper.jobsize import PrintJob
from matchkit.paper.ticket_sheet import ticket_html
from matchkit.paper.weighing import CONTAINERS_ML, Container
from matchkit.report.check import check_parts
from matchkit.report.comparison import comparison_page
from matchkit.report.corrections import correction_parts, finish_parts
from matchkit.report.html import to_text
from matchkit.report.plan import plan_page
from matchkit.report.printed import cover_parts
from matchkit.workflows.checking import check
from matchkit.workflows.comparing import compare, formula_of
from matchkit.workflows.correcting_batch import Mixed, correct
from matchkit.workflows.finding import find_formulas
from matchkit.workflows.finishing_batch import CorrectOptions, finish_batch
from matchkit.workflows.formulas import Search
from matchkit.workflows.ink_history import LotDrawdown, check_lot
from matchkit.workflows.planning import PlanChoices, plan_drawdowns
from matchkit.workflows.predicting import Formula, cover
from matchkit.workflows.printed import PrintedOver
from matchkit.workflows.session import Session
from matchkit.workflows.sizing import ink_for_job
from matchkit.workflows.wanted import spectrum_in, wanted_lab, wanted_listed, wanted_spectrum
from matchkit.workflows.weighing_out import TicketChoices, ticket

BATCH_G = sum(FORMULA.values())
CONTAINER = "1 litre"
STROKE_UM = 50.0


def spectral(known: Known, R: Any) -> Target:
    return Target.from_spectrum(R, known.shop.lights, known.shop.observer)


def grams_in(found: Fit, amounts_g: Mapping[str, float]) -> Any:
    """Grams (n_ink,) of a recipe."""
    return np.array([amounts_g.get(name, 0.0) for name in found.palette.names])


def series_of(known: Known, inks: Sequence[str]) -> str:
    return next(s for s, f in known.fits.items() if set(inks) <= set(f.palette.names))


# ---- a match


@dataclass(frozen=True)
class Asked:
    """What a match is asked for; `leftover` names a mix to start from."""

    max_inks: int = 4
    without: tuple[str, ...] = ()
    lab: bool = False
    learning: bool = True
    leftover: str | None = None
    printed: PrintedOver | None = None

    def words(self, room: Room) -> list[object]:
        """The options as a command and the book's verb take them alike."""
        lab = "--lab=" + ",".join(f"{v:g}" for v in LAB)
        aim = [lab] if self.lab else [room.targets, "--name", TARGET]
        inks = [word for ink in self.without for word in ("--without", ink)]
        lots = [] if self.learning else ["--reference-lots"]
        use = [] if self.leftover is None else ["--use", self.leftover]
        on = self.printed
        over = ["--over", on.over, "--thickness", f"{on.thickness_um:g}"] if on else []
        return [*aim, "--max-inks", self.max_inks, *inks, *lots, *use, *over]


USED = re.compile(r"^(?:Formula \d: )?([A-Z][\w ]*?): ([\d.]+) g used", re.M)


def formula_rows(data: Mapping[str, Any]) -> list[Facts]:
    return [{"inks": by_name(each["inks"]), "de00": each["de00"]} for each in data["formulas"]]


def matched(formulas: list[Facts], costs: list[float | None], text: str) -> Facts:
    """What every door tells of the formulas it found, and of the first alone."""
    of_first = text.split("\nFormula 2:")[0]
    return {
        "formulas": formulas,
        "formula 1": formulas[0],
        "costs": costs,
        "verdict": judged(text),
        "chances told": chances_told(text),
        "chance 1 told": chances_told(text)[:1],
        "most sensitive": sensitive(text),
        "most sensitive 1": sensitive(of_first),
        "used": [(ink, float(g)) for ink, g in USED.findall(text)],
        "warnings": warned(text),
        "warnings 1": warned(of_first),
        "lots": lots_told(text),
    }


def match_command(asked: Asked) -> Adapter:
    def ask(room: Room) -> Facts:
        text, data = room.command("match", room.folder, *asked.words(room))
        (found,) = data["matches"]
        costs = [each["cost_per_kg"] for each in found["formulas"]]
        return matched(formula_rows(found), costs, text)

    return ask


def match_form(asked: Asked) -> Adapter:
    def ask(room: Room) -> Facts:
        from matchkit.forms.match import MatchForm
        from matchkit.forms.rows import LAB as BY_LAB

        form = MatchForm(room.opened, TARGET)
        form.most.value = asked.max_inks
        form.lots.value = asked.learning
        if asked.leftover is not None:
            form.mix.value = asked.leftover
        if asked.printed:
            form.printed.over.value = asked.printed.over
            form.printed.thickness.text.value = f"{asked.printed.thickness_um:g}"
        for ink in asked.without:
            form.without[ink].value = True
        if asked.lab:
            form.picker.way.value = BY_LAB
            for field, value in zip(
                (form.picker.L, form.picker.a, form.picker.b), LAB, strict=True
            ):
                field.text.value = f"{value:g}"
        form.run.start.click()
        form.run.wait()
        text = seen("\n".join([form.results.value, form.detail.value, form.problems.value]))
        found = form.found
        lights = found.wanted.target.light_names
        told = matched(
            [candidate_facts(each.formula, lights) for each in found.formulas],
            [each.formula.cost_per_kg for each in found.formulas],
            text,
        )
        # The overview has a column for chances, and one for the ink to weigh with most care.
        rows = [line.split("\t") for line in text.splitlines() if re.match(r"\d\t", line)]
        chances = [cell for row in rows for cell in row if re.fullmatch(r"(\w+ )?\d+ %", cell)]
        inks = {each.sensitive.ink for each in found.formulas if each.sensitive}
        careful = [cell for row in rows for cell in row if cell in inks]
        first = {"chance 1 told": chances[:1], "most sensitive 1": careful[:1], "warnings 1": None}
        return told | {"chances told": chances, "most sensitive": careful} | first

    return ask


def match_book(asked: Asked) -> Adapter:
    def ask(room: Room) -> Facts:
        text, data = room.verb("log-match", *asked.words(room))
        only = [{"inks": by_name(data["inks"]), "de00": data["de00"]}]
        others = ("formulas", "chances told", "costs", "most sensitive", "used", "warnings")
        return matched(only, [], text) | dict.fromkeys(others)

    return ask


def match_python(asked: Asked) -> Adapter:
    def ask(room: Room) -> Facts:
        session = Session(room.folder, use_lots=asked.learning)
        aim = wanted_lab(session, LAB) if asked.lab else wanted_listed(session, TARGET)
        search = Search(
            max_inks=asked.max_inks, without=asked.without, leftover=asked.leftover,
            printed=asked.printed,
        )  # fmt: skip
        found = find_formulas(session, aim, search)
        lines = [each.text for each in (*session.notices, found.reach, *found.notices)]
        for k, each in enumerate(found.formulas, start=1):
            chance = chance_text(each.formula.chance_in_tolerance)
            lines += [f"Formula {k}: chance {chance}", *(n.text for n in each.notices)]
        told = matched(
            [candidate_facts(each.formula, aim.target.light_names) for each in found.formulas],
            [each.formula.cost_per_kg for each in found.formulas],
            "\n".join(lines),
        )
        careful = [each.sensitive.ink for each in found.formulas if each.sensitive]
        return told | {"most sensitive": careful, "most sensitive 1": careful[:1]}

    return ask


def match_doors(asked: Asked) -> dict[str, Adapter | Absent | None]:
    return {
        "command": match_command(asked),
        "form": match_form(asked),
        "book": match_book(asked),
        "python": match_python(asked),
    }


# ---- a check

MEASURED = {**FORMULA, "Slipway Blue": 80.0}  # what was poured for the drawdown that is checked


def check_facts(text: str, away: Facts, words: Facts) -> Facts:
    first = next(iter(away), "")
    return {
        "verdict": judged(text),
        "de00": away,
        "de00 first light": away.get(first),
        "words": words,
        "words first light": words.get(first),
        "warnings": warned(text),
    }


def check_command(lab: bool) -> Adapter:
    def ask(room: Room) -> Facts:
        reading = room.spectrum("drawdown", cured(MEASURED))
        aim = (
            ["--lab=" + ",".join(f"{v:g}" for v in LAB)]
            if lab
            else [room.targets, "--name", TARGET]
        )
        text, data = room.command("check", room.folder, *aim[:1], reading, *aim[1:])
        words = {light: each["words"] for light, each in data["delta"].items()}
        return check_facts(text, data["de00"], words)

    return ask


def check_form(room: Room) -> Facts:
    from matchkit.forms.check import FILE, CheckForm

    form = CheckForm(room.opened, TARGET)
    form.measured.way.value = FILE
    form.measured.file.upload.value = handed(room.spectrum("drawdown", cured(MEASURED)))
    form.look.click()
    text = seen(form.results.value + form.problems.value)
    cells = [line.split("\t") for line in text.splitlines() if line.count("\t") == 6]
    told = [row for row in cells if re.fullmatch(r"[\d.]+", row[1])]
    away = {row[0]: float(row[1]) for row in told}
    return check_facts(text, away, {row[0]: row[5] for row in told})


def check_book(lab: bool) -> Adapter:
    def ask(room: Room) -> Facts:
        aim = ["--lab=" + ",".join(f"{v:g}" for v in LAB)] if lab else []
        R = cured(MEASURED)
        batch = room.kept(FORMULA, R, *aim)
        text, data = room.verb("measure", batch, room.spectrum("reading", R))
        judged = data["judged"]
        words = {light: each["words"] for light, each in judged["delta"].items()}
        return check_facts(text, judged["de00"], words)

    return ask


def check_python(lab: bool) -> Adapter:
    def ask(room: Room) -> Facts:
        session, R = Session(room.folder), np.round(cured(MEASURED), 5)
        wanted = wanted_lab(session, LAB) if lab else wanted_listed(session, TARGET)
        found = check(session, wanted, R[None])
        text = "\n".join([*told(session), to_text(check_parts(found))])
        verdict = found.verdict
        return check_facts(
            text,
            dict(zip(verdict.lights, verdict.de00.tolist(), strict=True)),
            dict(zip(verdict.lights, verdict.words, strict=True)),
        )

    return ask


# ---- two recipes side by side

SWAP = re.compile(r"(\S+ \S+) causes most of the metamerism under \S+ With (.+?) instead")


def compare_facts(text: str, data: Facts, sheet: Sequence[str]) -> Facts:
    numbers = {
        each["name"]: {
            light: [each["de00"][light], each["metamerism"].get(light), each["words"][light]]
            for light in each["de00"]
        }
        for each in data["recipes"]
    }
    return {
        "numbers": numbers,
        "culprits": SWAP.findall(text),
        "warnings": warned(text),
        "lots": lots_told(text),
        "sheet": list(sheet),
    }


def sheet_lines(html: str, names: Mapping[str, str]) -> list[str]:
    """The lines of a printed page that hold figures of the recipes, in a steady order."""
    text = seen(re.sub(r"(?s)<(style|svg|title)\b.*?</\1>", "", html))
    for own, common in names.items():
        text = text.replace(own, common)
    return sorted(" ".join(line.split()) for line in text.splitlines() if line.strip())


def compare_command(room: Room) -> Facts:
    recipe, page = room.recipe("own", FORMULA), room.place / "sheet.html"
    text, data = room.command(
        "compare", room.folder, room.targets, recipe, "--name", TARGET, "--match", 1,
        "--sheet", page,
    )  # fmt: skip
    return compare_facts(text, data, sheet_lines(page.read_text(encoding="utf-8"), {}))


def compare_form(room: Room) -> Facts:
    from matchkit.forms.compare import CompareForm

    form = CompareForm(room.opened, TARGET)
    form.run.start.click()
    form.run.wait()
    for k, tick in enumerate(form.ticks):
        tick.value = k == 0
    form.rows.fill({ink: 100 * g / BATCH_G for ink, g in FORMULA.items()})
    form.look.click()
    text = seen(form.told.value + form.results.value + form.problems.value)
    data = form.compared.to_dict()
    for each in data["recipes"]:
        each["name"] = each["name"].replace("my formula", "own")
    sheet = sheet_lines(comparison_page(form.compared).html, {"my formula": "own"})
    return compare_facts(text, data, sheet)


def compare_python(room: Room) -> Facts:
    session = Session(room.folder)
    wanted = wanted_spectrum(session, TARGET, room.target_R)
    found = find_formulas(session, wanted, Search(top=1))
    (best,) = found.match.formulas
    own = Formula(name="own", amounts=FORMULA, total_g=BATCH_G)
    told = compare(session, wanted, [own, formula_of("formula 1", best)])
    swaps = [(each.swap.ink, each.swap.instead) for each in told.recipes if each.swap]
    text = "\n".join(each.text for each in (*found.notices, *session.notices))
    facts = compare_facts(text, told.to_dict(), [])
    return facts | {"culprits": swaps, "sheet": None}


# ---- a correction


@dataclass(frozen=True)
class Batch:
    """A batch that came out wrong: what is noted, and what its drawdown was truly made of."""

    poured: Mapping[str, float]
    lots: Mapping[str, float] = field(default_factory=lambda: LOTS)
    noted: Mapping[str, float] = field(default_factory=lambda: FORMULA)
    room_g: float | None = None
    new_lot: str = ""  # of Kelp Green, opened before it was weighed

    def kept(self, room: Room) -> None:
        """Write it down in the record book."""
        if self.new_lot:
            spoken(["book", room.folder, "lot", "Kelp Green", self.new_lot])
        room.kept(self.noted, self.R())

    def R(self) -> Any:
        return np.round(cured(self.poured, self.lots), 5)


def corrected(text: str) -> Facts:
    ways = ways_in(text)
    return {
        "now": number(r"Now: dE00 ([\d.]+)", text),
        "as it is": re.findall(r"as it is: (.*?)$", text, re.M),
        "additions": [each["additions"] for each in ways],
        "after": [each["after"] for each in ways],
        "smallest": ways[0]["additions"] if ways else {},
        "ways": [each["name"] for each in ways],
        "chances told": [each["chance"] for each in ways],
        "strengths": strengths_told(text),
        "weighing errors": slips_told(text),
        "verdict": judged(text),
        "warnings": warned(text),
        "lots": lots_told(text),
        "refused": refusal(text),
    }


def number(pattern: str, text: str) -> float | None:
    found = re.search(pattern, text)
    return float(found[1]) if found else None


def refusal(text: str) -> str:
    found = re.search(
        r"the measured spectrum can't come from the inks.*?(?=; if it is right|\n|$)", text
    )
    return found.group(0).strip() if found else ""


WAY = re.compile(
    r"^(?P<name>\w[\w ]*): add .* then dE00 \S+ (?P<after>[\d.]+).*"
    r"chance in tolerance (?P<chance>.*)$"
)


def ways_in(text: str) -> list[Facts]:
    """The additions in an answer's text: name, dE00 after, chance, then a table."""
    ways: list[Facts] = []
    for line in text.splitlines():
        if found := WAY.search(line):
            name, after = found["name"].lower(), float(found["after"])
            ways.append(
                {"name": name, "after": after, "chance": found["chance"].strip(), "additions": {}}
            )
        elif ways and (row := re.fullmatch(r"(\S.*?)(?: +|\t)([\d.]+)\t?", line)):
            ways[-1]["additions"][row[1].strip()] = float(row[2])
    return ways


def correct_command(batch: Batch) -> Adapter:
    def ask(room: Room) -> Facts:
        batch.kept(room)
        more = [] if batch.room_g is None else ["--room", f"{batch.room_g:g}"]
        text, _ = spoken([
            "correct", room.folder, room.targets, "--name", TARGET,
            "--weighed", room.place / "noted.csv", "--measured", room.place / "reading.csv", *more,
        ])  # fmt: skip
        return corrected(text)

    return ask


def correct_form(batch: Batch) -> Adapter:
    def ask(room: Room) -> Facts:
        from matchkit.forms.check import FILE
        from matchkit.forms.correct import CorrectForm

        tickets = room.place / "tickets"
        tickets.mkdir()
        (tickets / "noted.csv").write_bytes((room.place / "noted.csv").read_bytes())
        form = CorrectForm(room.opened, TARGET, "noted")
        form.room.text.value = "" if batch.room_g is None else f"{batch.room_g:g}"
        form.measured.way.value = FILE
        form.measured.file.upload.value = handed(room.place / "reading.csv")
        form.look.click()
        text = seen("\n".join([form.rows.told.value, form.results.value, form.problems.value]))
        return corrected(text)

    return ask


def correct_book(batch: Batch) -> Adapter:
    def ask(room: Room) -> Facts:
        more = [] if batch.room_g is None else ["--room", f"{batch.room_g:g}"]
        text, _ = spoken(["book", room.folder, "correct", room.batch, *more])
        return corrected(text)

    return ask


def correct_book_form(batch: Batch) -> Adapter:
    """The record book's own form, which asks the same as the book's verb."""

    def ask(room: Room) -> Facts:
        from matchkit.forms.book import ADDED, BookForm

        form = BookForm(room.opened, "Ana")
        form.open(room.batch)
        form.what.value = ADDED
        form.advice.room.text.value = "" if batch.room_g is None else f"{batch.room_g:g}"
        form.advice.ask.click()
        text = seen(form.advice.told.value + "\n" + form.wrong.value)
        return corrected(text)

    return ask


def correct_python(batch: Batch) -> Adapter:
    def ask(room: Room) -> Facts:
        session = Session(room.folder)
        wanted = wanted_listed(session, TARGET)
        room_g = np.inf if batch.room_g is None else batch.room_g
        rounds = [Mixed(grams=batch.noted, R=batch.R())]
        try:
            found = correct(session, wanted, rounds, CorrectOptions(room_g=room_g))
        except InputError as error:
            return corrected("\n".join([*told(session), *error.faults]))
        return corrected("\n".join([*told(session), to_text(correction_parts(found))]))

    return ask


def told(session: Session) -> list[str]:
    """What a session has to say besides an answer."""
    return [notice.text for notice in session.notices]


def correct_doors(batch: Batch) -> dict[str, Adapter | Absent | None]:
    return {
        "command": correct_command(batch),
        "form": correct_form(batch),
        "book": correct_book(batch),
        "book form": correct_book_form(batch),
        "python": correct_python(batch),
    }


# ---- an over-pour while it is weighed

IN_POT = {"Quay White": 315.72, "Kelp Green": 156.7}


def rescued(text: str) -> Facts:
    ways: dict[str, Facts] = {}
    for line in text.splitlines():
        if found := re.match(r"(.*?): ([\d.]+) g, dE00 \S+ ([\d.]+)", line):
            ways[found[1]] = {"total": float(found[2]), "de00": float(found[3]), "rest": {}}
        elif ways and (row := re.fullmatch(r"(\S.*?)(?: +|\t)([\d.]+)\t?", line)):
            [*ways.values()][-1]["rest"][row[1].strip()] = float(row[2])
    over = re.findall(r"Over-poured: (.*)", text)
    return {"over": over, "ways": ways, "warnings": warned(text), "lots": lots_told(text)}


def pour_command(room: Room) -> Facts:
    text, _ = room.command(
        "correct", room.folder, room.targets, "--name", TARGET,
        "--plan", room.recipe("plan", FORMULA), "--weighed", room.recipe("in", IN_POT),
    )  # fmt: skip
    return rescued(text)


def pour_form(room: Room) -> Facts:
    from matchkit.forms.correct import WEIGHING, CorrectForm

    tickets = room.place / "tickets"
    tickets.mkdir(exist_ok=True)
    for name, grams in (("plan", FORMULA), ("in", IN_POT)):
        (tickets / f"{name}.csv").write_bytes(room.recipe(name, grams).read_bytes())
    form = CorrectForm(room.opened, TARGET, "in")
    form.state.value, form.planned.value = WEIGHING, "plan"
    form.look.click()
    return rescued(seen(form.results.value + form.problems.value))


def pour_book(room: Room) -> Facts:
    room.begun(FORMULA)
    text, _ = room.verb("correct", room.batch, "--weighed", room.recipe("in", IN_POT))
    return rescued(text)


def pour_book_form(room: Room) -> Facts:
    from matchkit.forms.book import BookForm

    form = BookForm(room.opened, "Ana")
    form.open(room.batch)
    for ink, grams in IN_POT.items():
        form.rows.fields[ink].text.value = f"{grams:g}"
    form.advice.go_on.click()
    return rescued(seen(form.advice.ways.value + "\n" + form.wrong.value))


def pour_python(room: Room) -> Facts:
    session = Session(room.folder)
    found = finish_batch(session, wanted_listed(session, TARGET), FORMULA, IN_POT)
    return rescued("\n".join([*told(session), to_text(finish_parts(found))]))


# ---- over garments


def cover_facts(prints: Facts, needs: Facts, text: str) -> Facts:
    return {
        "prints": prints,
        "needs": needs,
        "covering": re.findall(r"contrast ratio of ([\d.]+)|from (\d+) um", text),
        "warnings": warned(text),
        "lots": lots_told(text),
    }


def cover_command(room: Room) -> Facts:
    um = f"{STROKE_UM:g}"
    recipe = room.recipe("own", FORMULA)
    text, data = room.command(
        "cover", room.folder, recipe, "--thickness", um, "--underbase", um,
        "--target", room.targets, "--name", TARGET,
    )  # fmt: skip
    prints = {each["ground"]: [p["de00"] for p in each["prints"]] for each in data["grounds"]}
    return cover_facts(prints, {e["ground"]: e["words"] for e in data["grounds"]}, text)


def cover_form(room: Room) -> Facts:
    from matchkit.forms.cover import CoverForm

    form = CoverForm(room.opened, "")
    form.rows.fill({ink: 100 * g / BATCH_G for ink, g in FORMULA.items()})
    form.target.value = TARGET
    form.stroke.text.value = form.underbase.text.value = f"{STROKE_UM:g}"
    form.run.start.click()
    form.run.wait()
    text = seen(form.results.value + form.problems.value)
    cells = [line.split("\t") for line in text.splitlines() if line.count("\t") == 6]
    told = [row for row in cells if re.fullmatch(r"[\d.]+", row[2])]
    prints = {row[0]: [float(cell) for cell in row[2:6]] for row in told}
    return cover_facts(prints, {row[0]: row[1] for row in told}, text)


def cover_python(room: Room) -> Facts:
    session = Session(room.folder)
    strokes = Strokes(stroke_um=STROKE_UM, underbase_um=STROKE_UM)
    found = cover(session, Formula(amounts=FORMULA), strokes, wanted=wanted_listed(session, TARGET))
    prints = {each.ground: [float(p.de00) for p in each.prints] for each in found.verdicts}
    text = "\n".join([*(each.text for each in session.notices), to_text(cover_parts(found))])
    return cover_facts(prints, {each.ground: each.words for each in found.verdicts}, text)


# ---- how much ink, and its ticket

JOB = PrintJob(
    prints=300, area_cm2=1200.0, coverage=0.4, mesh_cm3_per_m2=60.0, transfer=0.6, loss=0.1
)
JOB_WORDS = (
    "--prints", 300, "--size", "30x40cm", "--coverage", 40, "--mesh", 60, "--transfer", 60,
)  # fmt: skip


def size_facts(found: Mapping[str, Any]) -> Facts:
    keys = ("total_g", "total_ml", "per_print_g", "loss_g", "containers", "cost")
    return {key: found[key] for key in keys} | {"assumptions": list(found["assumptions"])}


def size_command(room: Room) -> Facts:
    recipe = room.recipe("own", FORMULA)
    _, data = room.command("jobsize", room.folder, recipe, *JOB_WORDS, "--container", CONTAINER)
    return size_facts(data)


def size_form(room: Room) -> Facts:
    from matchkit.forms.jobsize import JobForm

    form = JobForm(room.opened, "")  # its fields start with this very job
    form.rows.fill({ink: 100 * g / BATCH_G for ink, g in FORMULA.items()})
    form.container.value = CONTAINER
    return size_facts(vars(form.size()))


def size_book(room: Room) -> Facts:
    needed_g = ink_for_job(Session(room.folder), Formula(amounts=FORMULA), JOB).total_g
    batch = room.begun({ink: 1.02 * needed_g * g / BATCH_G for ink, g in FORMULA.items()})
    _, data = room.verb("ticket", batch, *JOB_WORDS, "--container", CONTAINER)
    return size_facts(data["job_size"])


def size_python(room: Room) -> Facts:
    litre = Container(name=CONTAINER, volume_ml=CONTAINERS_ML[CONTAINER])
    found = ink_for_job(Session(room.folder), Formula(amounts=FORMULA), JOB, container=litre)
    return size_facts(found.to_dict())


HELD_BACK = {ink: 0.9 for ink in FORMULA if ink != "Quay White"}  # the share weighed first
HELD_WORDS = [
    word for ink, s in HELD_BACK.items() for word in ("--hold-back", f"{ink}={100 * s:g}")
]


def ticket_facts(html: str, text: str) -> Facts:
    page = seen(re.sub(r"(?s)<(style|svg|title|head)\b.*?</\1>", "", html))
    rows_ = [" ".join(line.split()) for line in page.splitlines() if "\t" in line]
    return {
        "rows": rows_,
        "chance told": re.findall(r"(?:over |under )?\d+ %(?=\.)", page)[:1],
        "warnings": warned(page),
        "lots": lots_told(text),
    }


def ticket_command(room: Room) -> Facts:
    recipe, page = room.recipe("own", FORMULA), room.place / "ticket.html"
    text, _ = room.command(
        "ticket", room.folder, recipe, "--target", room.targets, "--name", TARGET, *HELD_WORDS,
        "--container", CONTAINER, "--html", page,
    )  # fmt: skip
    return ticket_facts(page.read_text(encoding="utf-8"), text)


def ticket_form(room: Room) -> Facts:
    from matchkit.forms.jobsize import WeighForm

    form = WeighForm(room.opened, "")
    form.rows.fill({ink: 100 * g / BATCH_G for ink, g in FORMULA.items()})
    form.grams.text.value = f"{BATCH_G:g}"
    form.target.value = TARGET
    form.ticket.hold.value = 0.1
    form.ticket.container.value = CONTAINER
    form.look.click()
    form.ticket.preview.click()
    return ticket_facts(framed(form.ticket.page.value), seen(form.results.value))


def framed(html: str) -> str:
    """The page that a form shows in a frame."""
    return unescape(re.search(r'srcdoc="([^"]*)"', html)[1])


def ticket_book(room: Room) -> Facts:
    batch, page = room.begun(FORMULA), room.place / "book.html"
    text, _ = room.verb("ticket", batch, *HELD_WORDS, "--container", CONTAINER, "--html", page)
    return ticket_facts(page.read_text(encoding="utf-8"), text)


def ticket_book_form(room: Room) -> Facts:
    from matchkit.forms.book import BookForm

    form = BookForm(room.opened, "Ana")
    form.open(room.begun(FORMULA))
    form.ticket.hold.value = 0.1
    form.ticket.container.value = CONTAINER
    form.ticket.preview.click()
    return ticket_facts(framed(form.ticket.page.value), "") | {"lots": None}


def ticket_python(room: Room) -> Facts:
    session = Session(room.folder)
    litre = Container(name=CONTAINER, volume_ml=CONTAINERS_ML[CONTAINER])
    made = ticket(
        session, Formula(amounts=FORMULA, total_g=BATCH_G),
        TicketChoices(hold_back=HELD_BACK, container=litre), wanted=wanted_listed(session, TARGET),
    )  # fmt: skip
    return ticket_facts(ticket_html(made), "\n".join(each.text for each in session.notices))


# ---- a new lot

INK, NEW_LOT, NEW_STRENGTH = CHECKED[0], "Y-052", 0.9


def lot_facts(text: str) -> Facts:
    lines = [line.removeprefix("Written down: ").rstrip(".") for line in text.splitlines()]
    return {
        "words": [line for line in lines if line.startswith(f"{INK}: ")],
        "counts once opened": "counts once" in text,
        "lots": lots_told(text),
    }


def lot_reading(room: Room) -> Any:
    return room.spectrum("lot", check_drawdown(by_library(room).shop, INK, NEW_STRENGTH).R)


def lot_book(room: Room) -> Facts:
    text, data = room.verb("check-lot", INK, NEW_LOT, lot_reading(room), "--percent", 10)
    return lot_facts(text) | {"verdict": data["verdict"], "strength": data["strength"]}


def lot_form(room: Room) -> Facts:
    from matchkit.forms.book import BookForm
    from matchkit.forms.book_look import CHECKED as WAS_CHECKED
    from matchkit.forms.book_rows import FILE

    shelf = BookForm(room.opened, "Ana").shelf
    shelf.what.value = WAS_CHECKED
    shelf.name.value, shelf.lot.text.value = INK, NEW_LOT
    shelf.percent.text.value = "10"
    shelf.reading.way.value = FILE
    shelf.reading.file.upload.value = handed(lot_reading(room))
    shelf.write.click()
    text = seen(shelf.done.value + shelf.problems.value)
    return lot_facts(text) | {"verdict": None, "strength": None}


def lot_python(room: Room) -> Facts:
    session = Session(room.folder)
    measured = spectrum_in(session, lot_reading(room))
    drawn = LotDrawdown(ink=INK, lot=NEW_LOT, percent=10.0)
    found = check_lot(session, drawn, measured, write=False)
    told = lot_facts("\n".join([*found.words, *(each.text for each in session.notices)]))
    data = found.to_dict()
    named = {"verdict": data["verdict"], "strength": data["strength"]}
    return told | named | {"counts once opened": None}


# ---- which drawdowns to make

PLANNED = "Kelp Green"


def plan_facts(drawdowns: list[Any] | None, html: str) -> Facts:
    page = seen(re.sub(r"(?s)<(style|title|h1)\b.*?</\1>", "", html))
    return {
        "drawdowns": drawdowns,
        "page": [" ".join(line.split()) for line in page.splitlines() if line.strip()],
    }


def plan_command(room: Room) -> Facts:
    page = room.place / "plan.html"
    _, data = room.command("plan", room.folder, "--ink", PLANNED, "--html", page)
    told = [
        [r["drawdown"], r["ink"], r["percent"], r["grams"], r["pot"]] for r in data["drawdowns"]
    ]
    return plan_facts(told, page.read_text(encoding="utf-8"))


def plan_form(room: Room) -> Facts:
    from matchkit.forms.plan import PlanForm

    form = PlanForm(room.opened, PLANNED)
    form.look.click()
    return plan_facts(None, framed(form.page.value))


def plan_python(room: Room) -> Facts:
    made = plan_drawdowns(Session(room.folder), PlanChoices(new_ink=PLANNED))
    told = [[r.drawdown, r.ink, r.percent, r.grams, r.pot] for r in rows(made.plan)]
    return plan_facts(told, plan_page(made).html)


# ---- all of them

WEAKER = {**LOTS, "Kelp Green": 0.92}
WEAK = Batch(FORMULA, lots=WEAKER, new_lot="G-070")
OVER_POURED = Batch({**FORMULA, "Kelp Green": 1.5 * FORMULA["Kelp Green"]})
FOREIGN = Batch({"Straw Gold": 300.0, "Quay White": 100.0})
LITTLE_ROOM = Batch(FORMULA, lots=WEAKER, new_lot="G-070", room_g=5.0)
# A twentieth of the letdown is black, the rest white.
WITH_MIX = Batch(
    FORMULA,
    lots=WEAKER,
    new_lot="G-070",
    noted={
        "Quay White": 133.13, "Kelp Green": 104.49, "Slipway Blue": 73.18, "Black letdown 5": 192.2,
    },
)  # fmt: skip

JOBS: dict[str, dict[str, Adapter | Absent | None]] = {
    "match": match_doors(Asked()),
    "match, 3 inks": match_doors(Asked(max_inks=3)),
    "match, an ink left out": match_doors(Asked(max_inks=3, without=("Slipway Blue",))),
    "match, reference lots": match_doors(Asked(max_inks=3, learning=False)),
    "match by Lab": match_doors(Asked(max_inks=3, lab=True)),
    "match, a leftover used": match_doors(Asked(max_inks=3, leftover="Leftover regatta teal")),
    "match over a garment": match_doors(
        Asked(max_inks=3, printed=PrintedOver(over=GROUND, thickness_um=PRINT_UM))
    ),
    "check": {
        "command": check_command(lab=False),
        "form": check_form,
        "book": check_book(lab=False),
        "python": check_python(lab=False),
    },
    "check by Lab": {
        "command": check_command(lab=True),
        "form": Absent("the form takes no Lab for its target"),
        "book": check_book(lab=True),
        "python": check_python(lab=True),
    },
    "compare": {
        "command": compare_command,
        "form": compare_form,
        "book": None,  # it judges batches, one at a time
        "python": compare_python,
    },
    "correct, a weak lot": correct_doors(WEAK),
    "correct, an over-poured ink": correct_doors(OVER_POURED),
    "correct, a foreign reading": correct_doors(FOREIGN),
    "correct, little room": correct_doors(LITTLE_ROOM),
    "correct, a mix in the batch": correct_doors(WITH_MIX),
    "over-poured while weighing": {
        "command": pour_command,
        "form": pour_form,
        "book": pour_book,
        "book form": pour_book_form,
        "python": pour_python,
    },
    "cover": {"command": cover_command, "form": cover_form, "book": None, "python": cover_python},
    "job size": {
        "command": size_command,
        "form": size_form,
        "book": size_book,
        "python": size_python,
    },
    "ticket, ink held back": {
        "command": ticket_command,
        "form": ticket_form,
        "book": ticket_book,
        "book form": ticket_book_form,
        "python": ticket_python,
    },
    "lot check": {"command": None, "book": lot_book, "form": lot_form, "python": lot_python},
    "drawdown plan": {
        "command": plan_command,
        "form": plan_form,
        "book": None,  # it keeps batches, no drawdowns
        "python": plan_python,
    },
}


def answers(room: Room, doors: Mapping[str, Adapter | Absent | None]) -> dict[str, Any]:
    """What each door tells, in the order they stand in; a door that fails leaves its exception."""
    told: dict[str, Any] = {}
    with contextlib.chdir(room.place):  # forms save beside themselves
        for door, ask in doors.items():
            if ask is None or isinstance(ask, Absent):
                continue
            try:
                told[door] = ask(room)
            except Exception as error:  # told by the tests of that door alone
                told[door] = error
    return told
