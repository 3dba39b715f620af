"""The mounting checklist, and names under which facts are kept.  Common practice, no source.

The words are English and go through gettext where they are shown; the ids stand in the
journal and never change.
"""

from dataclasses import dataclass

INSTRUMENTS_FACT = "instruments"
"""The fact of a job that holds, by tank, the settings of its instrument."""


@dataclass(frozen=True, slots=True)
class MountItem:
    """A point of the mounting checklist, and what proves that it was done."""

    id: str
    text: str
    evidence: tuple[str, ...]


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
