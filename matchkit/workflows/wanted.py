"""The colour that is wanted, however a person hands it in: a file, a list, Lab values."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.illuminants import Light, MeasuredIlluminant
from matchkit.errors import InputError, did_you_mean
from matchkit.files.readings import NamedSpectrum
from matchkit.files.scale import ScaleQuestion, question
from matchkit.files.spectrum import chosen, read_lamp, read_readings, read_spectra
from matchkit.files.text import label
from matchkit.fitting.instrument import disagreement, repeats
from matchkit.workflows.session import Session

# Values that a reading may have, and the wavelength of the first, the step, nm: what instruments
# export, common practice, no source.
PASTED = {16: (400, 20), 31: (400, 10), 36: (380, 10), 39: (360, 10), 61: (400, 5)}
SHORTEST = 8  # values: fewer are no reading
OTHER_WEIGHT = 0.2  # what the other lights count beside the first


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """A named colour to hit."""

    name: str
    target: Target


def spectrum_in(
    session: Session,
    path: str | Path,
    name: str | None = None,
    *,
    option: str = "--name",
    scale: str = "",
) -> NamedSpectrum:
    """One spectrum of a file, measured as the shop measures; what was assumed is noted.

    `option` is what the door calls the `name`; `scale` is that of a file which leaves it open,
    where it is known.  With the session's `repeats` all of the file are readings of the one,
    whatever they are called.  Raises InputError for a file that can't be read, or that holds
    several spectra where none is named.
    """
    spectra = spectra_in(session, path, name, scale)
    if not session.repeats or name or len(spectra) == 1:
        return chosen(spectra, path, option)
    one = replace(spectra[0], readings=np.concatenate([each.readings for each in spectra]))
    session.note("repeats", f"{len(one.readings)} readings are averaged as {one.name}")
    _note_disagreement(session, one)
    return one


def _note_disagreement(session: Session, read: NamedSpectrum) -> None:
    shop = session.settings
    if odd := disagreement(repeats(read.readings, shop.lights[0], shop.observer)):
        session.note("repeats", f"{read.name}: {odd}")


def spectra_in(
    session: Session, path: str | Path, name: str | None = None, scale: str = ""
) -> list[NamedSpectrum]:
    """All spectra of a file, or those of a `name`."""
    spectra, notes = read_spectra(
        path,
        name=name,
        shop=session.settings,
        scale=session.scale or scale,
        repeats=session.repeats,
        darkest=session.darkest,
    )
    session.note("reading", *notes)
    session.scales[label(Path(path))] = spectra[0].scale
    for each in spectra:
        if len(each.readings) > 1:
            _note_disagreement(session, each)
    return spectra


def spectrum_pasted(session: Session, text: str, name: str | None = None) -> NamedSpectrum:
    """A spectrum of text that was pasted: a whole file, or rows of values alone.

    Where no line names the wavelengths, the number of values tells them, which is noted.
    InputError for another number of values, and for all that is wrong in a file.
    """
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if not lines:
        raise InputError("nothing was pasted; copy the values of a reading")
    with TemporaryDirectory() as folder:
        path = Path(folder) / "pasted.csv"
        rows = [re.split(r"[;\t ]+" if re.search(r"[;\t ]", line) else ",", line) for line in lines]
        counts = {sum(bool(re.fullmatch("[-0-9.,eE+]+", cell)) for cell in row) for row in rows}
        headed = any(re.fullmatch("[3-7][0-9]0", cell) for cell in rows[0])  # names wavelengths
        if counts <= {*PASTED} and not headed:
            (first, step), n = PASTED[max(counts)], max(counts)
            last = first + step * (n - 1)
            session.note("pasted", f"{n} values: taken as {first} to {last} nm by {step} nm")
            head = ["name", *(f"{first + step * k}" for k in range(n))]
            named = [" ".join(row[:-n]).strip(" ,") or name or "pasted" for row in rows]
            table = [head, *([called, *row[-n:]] for called, row in zip(named, rows, strict=True))]
            text = "\n".join(";".join(row) for row in table)
        elif len(lines) == 1:
            counted = ", ".join(str(n) for n in PASTED)
            raise InputError(
                f"pasted: found {max(counts)} values; {counted} are known, else put a line with"
                " the wavelengths above them"
            )
        path.write_text(text + "\n", encoding="utf-8")
        return spectrum_in(session, path, name)


def scale_asked(session: Session, path: str | Path) -> ScaleQuestion | None:
    """What a person is to be asked before a file can be read: percent or 0-1?  Else None."""
    blocks, _, found = read_readings(path)
    return None if session.scale else question(blocks, found, session.darkest)


def lamps_in(session: Session, paths: Sequence[str | Path]) -> list[MeasuredIlluminant]:
    """Lights that were measured, each from a CSV file ``wavelength_nm,power``."""
    lamps = []
    for path in paths:
        lamp, notes = read_lamp(path)
        session.note("reading", *notes)
        lamps.append(lamp)
    return lamps


def wanted_spectrum(
    session: Session,
    name: str,
    R: Array,
    *,
    lights: Sequence[Light] = (),
    other_weight: float = OTHER_WEIGHT,
) -> Wanted:
    """A colour whose reflectance `R` (n_wl,) is known, under `lights` or the shop's."""
    shop = session.settings
    seen = lights or shop.lights
    target = Target.from_spectrum(R, seen, shop.observer, other_weight=other_weight)
    return Wanted(name=name, target=target)


def wanted_listed(session: Session, name: str) -> Wanted:
    """A colour of the shop's ``targets.csv``, under its lights.

    InputError tells the names there are.
    """
    if name not in session.targets:
        there = ", ".join(session.targets) or "nothing"
        hint = did_you_mean(name, session.targets)
        raise InputError(f"targets.csv holds no {name!r}; it holds {there}{hint}")
    return wanted_spectrum(session, name, session.targets[name])


def example_wanted(session: Session) -> Wanted:
    """The target of the demo shop's example batch; InputError where there is none."""
    spectrum = spectrum_in(session, session.folder / "example" / "target.csv")
    return wanted_spectrum(session, spectrum.name, spectrum.R)


def wanted_lab(
    session: Session, lab: Sequence[float], light: str | None = None, observer: int | None = None
) -> Wanted:
    """A colour known only as L*, a*, b* under one light (the shop's first) and observer."""
    L, a, b = lab
    if not (0 <= L <= 100 and abs(a) <= 200 and abs(b) <= 200):
        told = ", ".join(f"{value:g}" for value in lab)
        raise InputError(f"Lab {told}: L* is 0 to 100, a* and b* about -130 to 130")
    shop = session.settings
    target = Target.from_lab(list(lab), light or shop.lights[0], observer or shop.observer)
    session.note(
        "lab_only",
        f"Only Lab values, under {target.light_names[0]} and {target.observer} degrees: other"
        " lights can't be judged; measure the sample if there is one",
    )
    return Wanted(name="Lab " + ",".join(f"{value:g}" for value in lab), target=target)
