"""Check the spectrophotometer for drift, and a film for hiding its ground."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from matchkit.errors import InputError
from matchkit.files.health import Health, date_fault, health, keep_reading, read_kept
from matchkit.files.readings import NamedSpectrum
from matchkit.fitting.instrument import Opacity, disagreement, opacity, repeats
from matchkit.workflows.session import Session


@dataclass(frozen=True, kw_only=True)
class InstrumentCheck:
    """How far each standard has drifted since its first day, and one line of advice."""

    health: Health

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit instrument --json`` prints it."""
        return {
            "advice": self.health.advice,
            "standards": [
                {
                    "kind": each.kind,
                    "name": each.name,
                    "days": [
                        {"date": day, "de00": round(moved.de00, 4), "state": moved.state}
                        for day, moved in zip(each.dates, each.drifts, strict=True)
                    ],
                }
                for each in self.health.histories
            ],
        }


@dataclass(frozen=True, kw_only=True)
class FilmHiding:
    """A film read over black and over white: does it hide its ground?"""

    name: str
    opacity: Opacity

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit instrument --over-black ... --json``."""
        return {
            "contrast_ratio": round(self.opacity.contrast_ratio, 4),
            "de00": round(self.opacity.de00, 4),
            "opaque": self.opacity.opaque,
        }


def check_instrument(
    session: Session, read: Mapping[str, NamedSpectrum], *, day: str = ""
) -> InstrumentCheck:
    """Keep what was read of the "tile" or the "drawdown" on a day (ISO, today), and judge.

    Raises InputError for readings that can't be kept; then nothing is written.
    """
    if day and (fault := date_fault(day)):
        raise InputError(f"date {fault}")
    today = date.today().isoformat()
    for kind, spectrum in read.items():
        _repeats(session, spectrum)
        keep_reading(
            session.folder,
            kind=kind,
            name=spectrum.name,
            readings=spectrum.readings,
            date=day or today,
        )
    found = health(read_kept(session.folder), session.settings, max(day or today, today))
    return InstrumentCheck(health=found)


def check_hiding(session: Session, black: NamedSpectrum, white: NamedSpectrum) -> FilmHiding:
    """Whether a film, read over a black and over a white ground, hides it."""
    shop = session.settings
    for spectrum in (black, white):
        _repeats(session, spectrum)
    found = opacity(black.R, white.R, shop.lights[0], shop.observer)
    return FilmHiding(name=white.name, opacity=found)


def _repeats(session: Session, read: NamedSpectrum) -> None:
    """Say where repeat readings do not agree."""
    shop = session.settings
    line = disagreement(repeats(read.readings, shop.lights[0], shop.observer))
    session.note("repeats_disagree", *([f"{read.name}: {line}"] if line else []))
