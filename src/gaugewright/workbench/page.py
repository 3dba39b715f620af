"""What every page knows besides the job that it shows."""

from dataclasses import dataclass

from gaugewright.units import LengthUnit, TemperatureUnit, VolumeUnit


@dataclass(frozen=True, slots=True)
class UnitsShown:
    """The units that the book is kept in."""

    volume_unit: VolumeUnit = "L"
    length_unit: LengthUnit = "mm"
    temperature_unit: TemperatureUnit = "°C"


@dataclass(frozen=True, slots=True)
class Page:
    """Who looks, on which device, at which book, in which units."""

    csrf_token: str
    device: str
    person: str = ""
    """The name last used on this device; empty if none was."""
    is_loopback: bool = True
    is_lan: bool = False
    is_demo: bool = False
    units: UnitsShown = UnitsShown()
    language: str = "en"
    workshop: str = ""
    where: str = ""
    is_read_only: bool = False
