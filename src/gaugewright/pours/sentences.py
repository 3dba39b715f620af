"""Findings in words: what was expected with its band, what was found, what would explain it."""

from typing import Literal

from gaugewright.pours.expected import Expected
from gaugewright.pours.findings import Finding, Severity
from gaugewright.pours.suspects import Suspect
from gaugewright.table.fill import Fill
from gaugewright.table.fit import Fit
from gaugewright.units import Volumes
from gaugewright.words import said, together

STOP_SHARE = 0.01
"""A mistake that moves more than this share of the capacity stops the work."""


def finding_of(
    fill: Fill, result: Fit, suspect: Suspect, expected: tuple[Expected, ...]
) -> Finding:
    """Return the finding for one suspect."""
    pour = fill.pours[suspect.pour]
    capacity = result.components[0].curves.capacity_l
    large = abs(suspect.shift_l) >= STOP_SHARE * capacity
    severity: Severity = "stop" if large or suspect.kind == "pour_missing" else "check"
    told = _told(fill, suspect, expected)
    message, suggestion, field, value = _words(fill, suspect)
    return Finding(
        pour.step, suspect.kind, severity, together(told, message), suggestion, field, value
    )


def _told(fill: Fill, suspect: Suspect, expected: tuple[Expected, ...]) -> str:
    say = Volumes(fill.unit)
    pour = fill.pours[suspect.pour]
    mine = next((e for e in expected if e.pour == suspect.pour), None)
    verb = said("taking out") if fill.is_draining else said("adding")
    if mine is None:
        return said(
            "After {verb} {added_l} the probe shows {counts:g} counts.",
            verb=verb,
            added_l=say.said(pour.added_l),
            counts=pour.counts,
        )
    return said(
        "After {verb} {added_l} the probe should show {counts:.0f} ± "
        "{u95_counts:.0f} counts and shows {shown:.0f}.",
        verb=verb,
        added_l=say.said(pour.added_l),
        counts=mine.counts,
        u95_counts=mine.u95_counts,
        shown=pour.counts,
    )


Words = tuple[str, str, Literal["added_l", "counts"] | None, float | None]


def _words(fill: Fill, suspect: Suspect) -> Words:
    k = suspect.pour
    pour, before = fill.pours[k], fill.pours[k - 1]
    say = Volumes(fill.unit)
    value, u = suspect.correction, 1.96 * suspect.u_correction
    match suspect.kind:
        case "litres_mistyped" if suspect.exact and value is not None:
            return (
                said(
                    "{value} instead of {added_l} would fit.",
                    value=say.said(value),
                    added_l=say.said(pour.added_l),
                ),
                said("Was it {value}? Look at the meter.", value=say.said(value)),
                "added_l",
                value,
            )
        case "litres_mistyped" if value is not None and value + u < 0:
            return (
                said(
                    "No figure would fit: {added_l} less than the record tells of are in the tank.",
                    added_l=say.near(pour.added_l - value, u),
                ),
                said(
                    "Look for a mistake in the lines before, in the fuel left in the drained "
                    "tank and in the tank file."
                ),
                "added_l",
                None,
            )
        case "litres_mistyped" if value is not None:
            return (
                said("{value} would fit.", value=say.near(value, u)),
                said("Read the meter again, or mark this pour's litres as unknown."),
                "added_l",
                None,
            )
        case "decimal_slip" if value is not None:
            return (
                said("{value} would fit: a decimal slip.", value=say.said(value)),
                said("Was it {value}?", value=say.said(value)),
                "added_l",
                value,
            )
        case "pour_missing":
            size = abs(suspect.shift_l)
            return (
                said(
                    "About {size} more seem to be in the tank than were written down.",
                    size=say.near(size, u),
                ),
                said("Was a pour of about {size} left out before this one?", size=say.about(size)),
                "added_l",
                None,
            )
        case "pour_twice":
            return (
                said(
                    "The same {added_l} stand in the line before and the level did not rise.",
                    added_l=say.said(pour.added_l),
                ),
                said("Was this pour written down twice? Void this line."),
                "added_l",
                0.0,
            )
        case "meter_not_reset" if value is not None:
            return (
                said(
                    "{value} would fit: {added_l} with the {before_l} of the pour before "
                    "still on the meter.",
                    value=say.said(value),
                    added_l=say.said(pour.added_l),
                    before_l=say.said(before.added_l),
                ),
                said("Was the meter not reset? Then this pour was {value}.", value=say.said(value)),
                "added_l",
                value,
            )
        case "counts_mistyped" if suspect.exact:
            return (
                said("{value:.0f} counts would fit.", value=value),
                said("Was it {value:.0f} counts? Read the probe again.", value=value),
                "counts",
                value,
            )
        case "counts_mistyped":
            return (
                said(
                    "All other pours say {value:.0f} ± {u:.0f} counts here.",
                    value=value,
                    u=max(u, 1),
                ),
                said("Read the probe again."),
                "counts",
                None,
            )
        case "not_settled":
            return (
                said(
                    "All other pours say {value:.0f} ± {u:.0f} counts here: the fuel was "
                    "still on its way.",
                    value=value,
                    u=max(u, 1),
                ),
                said("Wait until the reading is steady and read the probe again."),
                "counts",
                None,
            )
        case "not_rising":
            return (
                said("The level did not rise with this pour."),
                said("Check the probe and its wire, and read it again."),
                "counts",
                None,
            )
        case _:
            return (
                said("From here on all readings fit a tank that stands on another slope."),
                said(
                    "Did the vehicle move, or was it jacked or loaded? Bring it back or "
                    "start again."
                ),
                None,
                None,
            )
