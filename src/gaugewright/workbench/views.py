"""Pages from pictures: templates, drawings and words put together.  No state, no clock."""

from collections.abc import Mapping
from typing import Any

from gaugewright.app.language import catalogue, has_catalogue
from gaugewright.app.later_pictures import LaterPicture
from gaugewright.app.pictures import (
    CautionPicture,
    FindingPicture,
    JobPicture,
    TankPicture,
    VerdictPicture,
)
from gaugewright.app.pictures_refined import OfferPicture
from gaugewright.app.pictures_watch import WatchPicture
from gaugewright.app.recipes import QUESTIONS
from gaugewright.app.survey import in_mm_and_litres
from gaugewright.tank.description import NEEDED
from gaugewright.workbench.drawing import (
    cut_length_mm,
    fill_drawing,
    linked_tanks_drawing,
    planned_pours,
    plot_drawing,
    preview_drawing,
)
from gaugewright.workbench.later_words import CLASSES as LATER_CLASSES
from gaugewright.workbench.later_words import SIGNS as LATER_SIGNS
from gaugewright.workbench.later_words import verdict_names, way_names
from gaugewright.workbench.page import Page
from gaugewright.workbench.refined_drawing import bands_drawing
from gaugewright.workbench.sheets import figures_of, render
from gaugewright.workbench.watch_view import watch_marks, watch_words
from gaugewright.workbench.words import (
    fact_names,
    shape_names,
    size_names,
    zone_kinds,
)

SIZES_NEEDED = {**NEEDED, "unknown": ("height_mm",)}
SHAPES = tuple(shape for shape in SIZES_NEEDED if shape not in ("section", "mesh"))
"""Shapes that are described by sizes alone; the others come from a tank file."""
SIZES_OF = {
    "box": ("edge_radius_mm",),
    "lying_cylinder": ("end_depth_mm",),
    "oval": ("end_depth_mm",),
    "stepped": ("edge_radius_mm",),
}
"""Sizes that a shape may have besides those it needs."""
SIZES_SHOWN = (
    "length_mm", "width_mm", "height_mm", "diameter_mm", "round_depth_mm", "step_length_mm",
    "step_height_mm", "edge_radius_mm", "end_depth_mm", "wall_mm",
)  # fmt: skip
"""Sizes that the tank's form has a field for."""
ALSO_SHOWN = ("shape", "ends", "step_at", "displaced_l", "rated_capacity_l")


def render_new_job(page: Page) -> str:
    """Return the page on which a job is begun."""
    return _render(page, "new_job.html")


def render_pair(page: Page, code: str) -> str:
    """Return the page on which a device gives its name and is paired."""
    return _render(page, "pair.html", code=code)


def render_no_line(page: Page) -> str:
    """Return the page that a device keeps for when the server cannot be reached."""
    return _render(page, "no_line.html")


def render_stage(
    page: Page,
    job: JobPicture,
    stage: str,
    tank_id: str | None,
    verdict: VerdictPicture | None = None,
    *,
    is_new: bool = False,
    watch: WatchPicture | None = None,
) -> str:
    """Return the page of one stage of a job, for one of its tanks.

    ``is_new`` is for describing one tank more; ``watch`` is the tank's log, for Watch.
    """
    tanks = standing_tanks(job)
    shown = [t for t in tanks if t.tank_id == tank_id] or list(tanks)
    tank = None if is_new or not shown else shown[0]
    say = catalogue(page.language).gettext
    write = figures_of(page)
    caution = next_caution(job, stage)
    drawn = None
    if tank is not None and stage in ("Plan", "Pour", "Prove"):
        drawn = fill_drawing(tank, verdict if stage == "Pour" else None, write, say)
        if tank.members:
            joined = [t for t in job.tanks if t.tank_id in tank.members]
            shown_now = verdict if stage == "Pour" else None
            drawn = linked_tanks_drawing(tank, joined, shown_now, write, say)
    return _render(
        page,
        f"stage_{stage.lower()}.html",
        job=job,
        stage=stage,
        tanks=tanks,
        tank=tank,
        verdict=verdict,
        caution=caution,
        cautions_here=[c for c in job.cautions if c.stage == stage],
        drawn=drawn,
        plot=plot_drawing(tank, write, say) if tank and stage == "Table" else None,
        questions=QUESTIONS if stage == "Table" else (),
        finding=open_finding(verdict),
        is_done=any(s.name == stage and s.is_finished for s in job.stages),
        following=following(job, stage),
        planned=planned_pours(tank.plan) if tank else (),
        cut_length_mm=cut_length_mm(tank.plan) if tank else None,
        sizes_shown=SIZES_SHOWN,
        sizes_kept=sizes_kept(tank),
        taken_ids=" ".join(t.tank_id for t in job.tanks),
        is_translated=has_catalogue(page.language),
        watch=watch,
        watch_marks=[] if watch is None else watch_marks(watch),
        watch_words=watch_words(say, page.units.volume_unit),
    )


def render_later(
    page: Page, job: JobPicture, later: LaterPicture | None, tank_id: str | None
) -> str:
    """Return the page of a table's later life: re-check, exchanged probe, sister tank."""
    tanks = standing_tanks(job)
    say = catalogue(page.language).gettext
    return _render(
        page,
        "later.html",
        job=job,
        stage="Later",
        tanks=tanks,
        tank=next((t for t in tanks if t.tank_id == tank_id), None),
        later=later,
        caution=None,
        cautions_here=[],
        is_done=False,
        later_verdicts=verdict_names(say),
        later_ways=way_names(say),
        later_signs=LATER_SIGNS,
        later_classes=LATER_CLASSES,
    )


def render_refined(page: Page, tank_id: str, offer: OfferPicture) -> str:
    """Return the offer of a table refined in service, as a piece of a page."""
    say = catalogue(page.language).gettext
    drawn = bands_drawing(offer, figures_of(page), say)
    return _render(page, "refined.html", tank_id=tank_id, offer=offer, drawn=drawn)


def render_preview(page: Page, tank: Mapping[str, Any], probe: Mapping[str, Any]) -> str:
    """Return the drawing of a tank that is being typed, as a piece of a page.

    Raises `InputError` naming the field that is wrong.
    """
    say = catalogue(page.language).gettext
    plain = in_mm_and_litres(tank), in_mm_and_litres(probe)
    return _render(page, "preview.html", drawn=preview_drawing(*plain, figures_of(page), say))


def standing_tanks(job: JobPicture) -> tuple[TankPicture, ...]:
    """Give the tanks that are filled and get a table of their own."""
    return tuple(t for t in job.tanks if t.removed is None and t.linked_into is None)


def next_caution(job: JobPicture, stage: str) -> CautionPicture | None:
    """Give the first caution of a stage that nobody has put a name to."""
    return next((c for c in job.cautions if c.stage == stage and not c.acknowledged_by), None)


def open_finding(verdict: VerdictPicture | None) -> FindingPicture | None:
    """Give the first finding that waits for a person."""
    if verdict is None:
        return None
    return next((f for f in verdict.findings if f.is_open), None)


def sizes_kept(tank: TankPicture | None) -> dict[str, Any]:
    """Give what a tank's description holds beside the fields of its form; it stays as it is."""
    told = {} if tank is None else tank.tank
    return {name: told[name] for name in told if name not in (*SIZES_SHOWN, *ALSO_SHOWN)}


def following(job: JobPicture, stage: str) -> str | None:
    """Give the stage after this one, ``None`` after the last."""
    names = [s.name for s in job.stages]
    place = names.index(stage)
    return names[place + 1] if place + 1 < len(names) else None


def _render(page: Page, template: str, **values: Any) -> str:
    say = catalogue(page.language).gettext
    return render(
        page,
        template,
        shape_names=shape_names(say),
        size_names=size_names(say),
        fact_names=fact_names(say),
        zone_kinds=zone_kinds(say),
        shapes=SHAPES,
        sizes_needed=SIZES_NEEDED,
        sizes_more=SIZES_OF,
        **values,
    )
