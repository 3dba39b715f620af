"""What the drawing of a log needs from the page: its events, and words in the reader's language."""

from typing import Any

from gaugewright.app.pictures_watch import WatchPicture
from gaugewright.workbench.words import Say


def watch_marks(watch: WatchPicture) -> list[dict[str, Any]]:
    """Return everything that is marked in the drawing, in order of time."""
    marks: list[dict[str, Any]] = [
        {
            "kind": event.kind,
            "start_s": event.start_s,
            "end_s": event.end_s,
            "litres": event.litres,
            "is_explained": event.explained is not None,
        }
        for event in watch.events
    ]
    marks += [
        {
            "kind": "undecided",
            "start_s": each.start_s,
            "end_s": each.end_s,
            "litres": each.litres,
            "is_explained": False,
        }
        for each in watch.undecided
    ]
    return sorted(marks, key=lambda mark: mark["start_s"])


def watch_words(say: Say, volume_unit: str) -> dict[str, str]:
    """Return the words of the drawing."""
    return {
        "litres": say("{unit}, with the table's 95 % band").format(unit=volume_unit),
        "speed": say("km/h, the highest"),
        "ignition": say("ignition"),
        "refuel": say("Refuels"),
        "drain": say("Drains"),
        "undecided": say("Not decidable"),
        "none": say("no litres"),
        "on": say("ignition on"),
        "off": say("ignition off"),
        "label": say("Fuel over time."),
    }
