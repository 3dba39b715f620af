"""From a tank's state to what a screen shows of its hand-over."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from gaugewright.app.handover_values import (
    ArrivalPicture,
    CopyPicture,
    GivenPicture,
    GivenRow,
    HandOverPicture,
    RecipesPicture,
    ShownPicture,
)
from gaugewright.journal.kept_words import heard
from gaugewright.journal.state import Kept, TankState
from gaugewright.units import Volumes, VolumeUnit

if TYPE_CHECKING:
    from gaugewright.table.handover import HandedOver
    from gaugewright.table.recipe import Recipe
    from gaugewright.table.shown import Shown


def hand_over_picture(tank: TankState) -> HandOverPicture:
    """Return how the hand-over of a tank's table stands."""
    chosen = tank.recipe
    return HandOverPicture(
        stands=tank.hand_over,
        recipe=None if chosen is None else chosen.event.recipe,
        recipe_by=None if chosen is None else chosen.mark.person,
        recipe_at=None if chosen is None else chosen.mark.at,
        copies=tuple(_copy(tank, kept) for kept in tank.copies),
        arrivals=tuple(_arrival(kept) for kept in tank.arrivals),
    )


def recipes_picture(recipes: Mapping[str, "Recipe"]) -> RecipesPicture:
    """Return the questions and the recipes that are known."""
    from gaugewright.app.recipes import QUESTIONS  # its numerics load slowly

    return RecipesPicture(QUESTIONS, tuple(each.to_mapping() for each in recipes.values()))


def given_picture(made: "HandedOver", unit: VolumeUnit = "L") -> GivenPicture:
    """Return what the receiving system is given, for the screen."""
    return GivenPicture(
        recipe=made.recipe.to_mapping(),
        text=made.text,
        sentence=made.in_words(Volumes(unit)),
        rows=tuple(GivenRow(r.counts_text, r.litres_text, r.loss_l, r.u_l) for r in made.rows),
        full_rows=made.full_rows,
        loss_l=made.loss_l,
        loss_at_counts=made.loss_at_counts,
        step_l=made.step_l,
        band_l=made.band_l,
        total_l=made.total_l,
        below_zero_l=made.below_zero_l,
        u_below_zero_l=made.u_below_zero_l,
    )


def shown_picture(shown: "Shown") -> ShownPicture:
    """Return what differs, for the screen."""
    told = shown.as_json()
    return ShownPicture(
        shown.is_clean, shown.comparison.rows_read, shown.max_error_l, tuple(told["differences"])
    )


def _copy(tank: TankState, kept: Kept[Any]) -> CopyPicture:
    event = kept.event
    accepted = next(
        (each for each in reversed(tank.copies_accepted) if each.event.copy == kept.number), None
    )
    return CopyPicture(
        kept.number,
        event.is_clean,
        tank.table is not None and tank.table.event.digest == event.digest,
        event.rows_read,
        tuple(heard(each) for each in event.differences),
        event.max_error_l,
        event.way,
        event.note,
        event.shown_sha256,
        str(event.recipe.get("name", "")),
        kept.mark.person,
        kept.mark.at,
        None if accepted is None else accepted.event.accepted_by,
        None if accepted is None else accepted.event.reason,
    )


def _arrival(kept: Kept[Any]) -> ArrivalPicture:
    event = kept.event
    return ArrivalPicture(
        kept.number,
        event.is_safe,
        event.sentence,
        tuple(
            {
                "kind": item.kind,
                "state": item.state,
                "message": item.message,
                "value": item.value,
                "low": item.low,
                "high": item.high,
                "unit": item.unit,
            }
            for item in event.items
        ),
        event.duration_s,
        event.readings,
        event.records,
        event.source,
        event.settings,
        kept.mark.person,
        kept.mark.at,
    )
