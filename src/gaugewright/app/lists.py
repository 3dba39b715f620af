"""Cautions to be read, and the mounting checklist.  Common practice, no source.

The words are English and go through gettext where they are shown; the ids stand in the
journal and never change.
"""

from dataclasses import dataclass

INSTRUMENTS_FACT = "instruments"
"""The fact of a job that holds, by tank, the settings of its instrument."""


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning that is read, and acknowledged by name, before a step that can hurt someone."""

    id: str
    stage: str
    text: str


@dataclass(frozen=True, slots=True)
class MountItem:
    """A point of the mounting checklist, and what proves that it was done."""

    id: str
    text: str
    evidence: tuple[str, ...]


CAUTIONS = (
    Caution(
        "vehicle_secured",
        "Survey",
        "The vehicle stands level, wheels chocked, parking brake on, key in your pocket.",
    ),
    Caution(
        "battery",
        "Survey",
        "Work on wires with the battery switched off at its switch, or its minus lead taken off.",
    ),
    Caution(
        "tank_contents",
        "Survey",
        "Only diesel tanks. A tank that ever held petrol or gas is not opened here.",
    ),
    Caution(
        "drilling",
        "Mount",
        "No drilling, grinding or welding on a tank with vapour in it: full of fuel or gas-free, "
        "cold tools, catch the swarf.",
    ),
    Caution(
        "static",
        "Pour",
        "Bond the dispenser's nozzle to the tank before fuel flows, and keep it bonded.",
    ),
    Caution(
        "spill",
        "Pour",
        "Stop at the nozzle's shut-off. A tray under the filler, binder at hand, nobody smokes.",
    ),
)
"""Every caution, by stage."""

MOUNT_ITEMS = (
    MountItem("hole_deburred", "Hole deburred, swarf taken out of the tank", ("photo",)),
    MountItem("gasket_seated", "Gasket seated, screws crossed over by hand", ("photo",)),
    MountItem(
        "torque_by_hand", "Flange screws at the torque of the probe's sheet", ("text", "photo")
    ),
    MountItem("tip_clearance", "Tip clears the bottom as planned", ("text",)),
    MountItem(
        "cable_route",
        "Cable clear of heat, sharp edges and moving parts, fixed every 30 cm",
        ("photo",),
    ),
    MountItem("connector_dry", "Connector greased and closed, drip loop below it", ("photo",)),
    MountItem("fuse", "Fuse near the battery, of the planned rating", ("text",)),
    MountItem("head_sealed", "Head sealed", ("seal_number", "photo")),
)
"""The checklist, in the order of the work."""
