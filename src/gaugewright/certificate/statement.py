"""What a certificate states: values in words, ready to be set on a page.

Everything in it is text: figures carry their unit and their band, and nothing is
computed any more once it stands here.
"""

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Line:
    """A label and what belongs to it."""

    label: str
    value: str
    is_told: bool = False
    """Told by the customer or read from a plate, not measured by the workshop."""


@dataclass(frozen=True, slots=True)
class Grid:
    """A table with its columns' headings."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    wide: int | None = None
    """The column that takes the room that the others leave; ``None`` shares it evenly."""


@dataclass(frozen=True, slots=True)
class Part:
    """Something under a heading: sentences, then a table."""

    heading: str
    sentences: tuple[str, ...] = ()
    grid: Grid | None = None


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing as SVG, and one sentence for those who cannot see it."""

    svg: str
    alt: str


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo made small, and what it shows."""

    sha256: str
    caption: str


@dataclass(frozen=True, slots=True)
class TankStatement:
    """What is stated of one tank."""

    heading: str
    title: str
    """What stands above its own page."""
    lines: tuple[Line, ...]
    conditions: tuple[Line, ...]
    method: tuple[str, ...]
    table: Grid
    drawing: Picture | None
    plot: Picture
    shows: tuple[str, ...]
    """What its litres can and cannot show."""
    parts: tuple[Part, ...]
    """Check pours, findings, voided pours, hand-over."""


@dataclass(frozen=True, slots=True)
class Signature:
    """Who stands for it."""

    name: str
    drawn: Picture | None
    words: str
    place_and_day: str


@dataclass(frozen=True, slots=True)
class Driver:
    """The same for the driver and the owner, on one page in plain words."""

    heading: str
    told: tuple[Line, ...]
    sentences: tuple[str, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Statement:
    """A whole certificate."""

    title: str
    number: str
    draft: str
    """What stands across a document that was not issued; empty on one that was."""
    workshop: str
    plainly: tuple[str, ...]
    """That it is no accredited certificate, and what it relates to."""
    qr: Picture
    head: tuple[Line, ...]
    glance: Grid
    tanks: tuple[TankStatement, ...]
    parts: tuple[Part, ...]
    photos: tuple[Photo, ...]
    signature: Signature
    driver: Driver
    foot: str
    end: str

    def as_json(self) -> dict[str, Any]:
        """Return it as the page template takes it."""
        return asdict(self)
