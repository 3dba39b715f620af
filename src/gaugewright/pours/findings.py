"""A finding: one thing about a fill that a person should see, in one plain sentence."""

from dataclasses import dataclass
from typing import Literal

Severity = Literal["stop", "check", "note"]

KINDS = (
    "litres_mistyped",
    "decimal_slip",
    "pour_missing",
    "pour_twice",
    "not_settled",
    "vehicle_moved",
    "counts_mistyped",
    "meter_not_reset",
    "past_probe_top",
    "below_probe_tip",
    "not_rising",
    "tank_disagrees",
)


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found at one pour, what was expected, and what would explain it."""

    step: int | None
    """Step number in the record; ``None`` where the whole fill is meant."""
    kind: str
    severity: Severity
    message: str
    suggestion: str | None = None
    field: Literal["added_l", "counts"] | None = None
    """Which figure the suggestion puts right."""
    value: float | None = None
    """The figure that would fit. [L or counts]"""

    def as_json(self) -> dict[str, object]:
        """Return the fields of the findings file."""
        return {
            "step": self.step,
            "kind": self.kind,
            "severity": self.severity,
            "message": self.message,
            "suggestion": self.suggestion,
            "field": self.field,
            "value": self.value,
        }


def needs_person(findings: tuple[Finding, ...]) -> bool:
    """Return whether somebody must answer before the work goes on.

    >>> needs_person((Finding(3, "below_probe_tip", "note", "…"),))
    False
    """
    return any(finding.severity != "note" for finding in findings)
