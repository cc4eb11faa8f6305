"""What stands on the shelf and what was drawn down: plain facts, no optics.

Fractions are by mass, 0-1.  Spectra are on the package grid, ``(..., n_wl)``.
"""

from dataclasses import dataclass

import numpy as np

from matchkit.arrays import Array
from matchkit.errors import InputError

ROLES = ("white", "black", "clear", "colour")
GEOMETRIES = ("d/8 specular excluded", "d/8 specular included", "45/0")


@dataclass(frozen=True, kw_only=True)
class Ink:
    """One stock ink.  None means not known: stock unlimited, cost unknown.

    >>> Ink(name="Lemon", role="colour").max_percent
    100.0
    """

    name: str
    role: str  # one of ROLES
    series: str = ""  # inks of two series are never mixed
    density_g_per_ml: float | None = None
    cost_per_kg: float | None = None
    stock_g: float | None = None  # 0: not to be used
    max_percent: float = 100.0  # the maker's pigment-load limit, percent by mass
    lot: str = ""
    note: str = ""
    lot_spread_percent: float = 3.0  # how far lots lie apart in strength (standard deviation)
    container_g: float | None = None  # in a container of it as it is bought
    active: bool = True  # no: it has left the shop, and only old batches hold it

    def __post_init__(self) -> None:
        if self.role not in ROLES:
            raise InputError(f"ink {self.name!r}: role is {self.role!r}; write {', '.join(ROLES)}")


@dataclass(frozen=True, kw_only=True)
class Drawdown:
    """A weighed mixture, drawn down, cured and measured.

    `readings` holds one row per repeat, (n_readings, n_wl); `fractions` sum to 1.  A film
    that lets a ground show has the ground's name, and its own thickness where that is known;
    one that hides has neither.
    """

    name: str
    inks: tuple[str, ...]
    fractions: tuple[float, ...]
    readings: Array
    lots: tuple[str, ...] = ()  # one per ink, or empty
    ground: str = ""
    thickness_um: float | None = None  # None: it hides, or nobody stated it

    @property
    def R(self) -> Array:
        """The mean of the readings, (n_wl,)."""
        mean: Array = np.mean(self.readings, axis=0)
        return mean


@dataclass(frozen=True, kw_only=True)
class Mix:
    """A mixture that stands on the shelf as an ink: a letdown or a leftover."""

    name: str
    inks: tuple[str, ...]
    fractions: tuple[float, ...]
    stock_g: float | None = None
    date: str = ""
    R: Array | None = None  # measured, (n_wl,)


@dataclass(frozen=True, kw_only=True)
class Ground:
    """What a film is printed or drawn on, measured bare: R (n_wl,).

    `surface` is rough (cloth, uncoated board) or smooth (coated card, cured ink), see
    `film.ground_inside`.
    """

    name: str
    R: Array
    surface: str = "rough"


@dataclass(frozen=True, kw_only=True)
class Shop:
    """How a shop measures and looks, and what it has.

    `notes` are things that were assumed and should be said aloud, such as a
    tolerance that was not stated.  Targets are compared with drawdowns `over` a ground, of
    `over_um`; where no ground is named, with drawdowns that hide.
    """

    name: str
    geometry: str  # one of GEOMETRIES
    condition: str
    observer: int  # 2 or 10 degrees
    lights: tuple[str, ...]  # the first is the one that is matched
    tolerance_de00: float = 1.0
    resolution_g: float = 0.01
    currency: str = ""  # of every cost; empty: not stated
    inks: tuple[Ink, ...] = ()
    drawdowns: tuple[Drawdown, ...] = ()
    grounds: tuple[Ground, ...] = ()
    mixes: tuple[Mix, ...] = ()
    notes: tuple[str, ...] = ()
    over: str = ""
    over_um: float | None = None  # None: as thick as the films usually are
    count_batches: bool = True  # the record book's measured batches count in the fit

    @property
    def hiding(self) -> tuple[Drawdown, ...]:
        """The drawdowns that hide what they were drawn on."""
        return tuple(d for d in self.drawdowns if not d.ground)

    @property
    def like_samples(self) -> tuple[Drawdown, ...]:
        """The drawdowns made as those that targets are compared with."""
        return tuple(
            d
            for d in self.drawdowns
            if d.ground == self.over and self.over_um in (None, d.thickness_um)
        )
