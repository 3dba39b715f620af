"""Who asks, in which yard, and what every page knows of both."""

from starlette.requests import Request

from gaugewright.app.yard import VOLUME_UNITS, Yard
from gaugewright.errors import JournalError
from gaugewright.journal.book import BookSettings
from gaugewright.units import LengthUnit, TemperatureUnit
from gaugewright.words import Speech
from gaugewright.workbench.guard import Door, Visitor, state_of
from gaugewright.workbench.page import Page, UnitsShown
from gaugewright.workbench.words import speech

MOST_ENTRIES = 2**31


def yard_of(request: Request) -> Yard:
    """Return the yard that this server works for."""
    yard = request.app.state.yard
    assert isinstance(yard, Yard)
    return yard


def visitor_of(request: Request) -> Visitor:
    """Return who asks."""
    return state_of(request.scope)


def door_of(request: Request) -> Door:
    """Return the door of this server."""
    door = request.app.state.door
    assert isinstance(door, Door)
    return door


def settings_of(yard: Yard) -> BookSettings:
    """Return the book's settings; where it does not answer, as they were when last read."""
    try:
        return yard.book.settings()
    except JournalError:
        return yard.book.last_settings or BookSettings()


def speech_of(yard: Yard, settings: BookSettings | None = None) -> Speech:
    """Return how sentences are said in this book: its language and its units."""
    settings = settings or yard.book.settings()
    return speech(_units(settings), settings.language)


def _units(settings: BookSettings) -> UnitsShown:
    return UnitsShown(
        VOLUME_UNITS[settings.volume_unit],
        LENGTH[settings.length_unit],
        TEMPERATURE[settings.temperature_unit],
    )


LENGTH: dict[str, LengthUnit] = {"mm": "mm", "inches": "in"}
TEMPERATURE: dict[str, TemperatureUnit] = {"celsius": "°C", "fahrenheit": "°F"}
"""Units as the book names them, and as screens do."""


def page_of(request: Request, settings: BookSettings | None = None) -> Page:
    """Return what a page knows besides the job."""
    from urllib.parse import unquote

    yard, visitor, door = yard_of(request), visitor_of(request), door_of(request)
    settings = settings or yard.book.settings()
    units = _units(settings)
    may_see = visitor.may_enter
    return Page(
        csrf_token=door.csrf_token(visitor.session),
        device=visitor.device,
        person=unquote(request.cookies.get("person", ""))[:200],
        is_loopback=visitor.is_loopback,
        is_lan=request.app.state.is_lan,
        is_demo=yard.rig is not None,
        units=units,
        language=settings.language,
        workshop=settings.workshop if may_see else "",
        where=yard.book.store.where if may_see else "",
        is_read_only=yard.book.is_read_only,
    )
