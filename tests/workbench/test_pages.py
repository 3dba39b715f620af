"""Pages of jobs that are not the usual one: linked tanks, plans, shapes from files."""

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

from gaugewright.app import survey
from gaugewright.app.pictured import job_picture
from gaugewright.app.pictured_jobs import jobs_picture
from gaugewright.app.yard import Stamp, Yard
from gaugewright.errors import InputError
from gaugewright.journal import kinds
from gaugewright.journal.book import open_book
from gaugewright.workbench import sheets, views
from gaugewright.workbench.page import Page, UnitsShown

STAGES = ("Survey", "Plan", "Bench", "Mount", "Pour", "Table", "Prove", "Certificate", "Watch")
BOX = {"shape": "box", "length_mm": 1000, "width_mm": 620, "height_mm": 600}
ROD = {"x_mm": 500, "y_mm": 310, "tip_clearance_mm": 22, "active_length_mm": 560}
HERE = Page("token", "this computer", "Kim Aldo")


class Job:
    """A job to which things are done as the one person who is there."""

    def __init__(self, yard: Yard) -> None:
        self.yard = yard
        opened = survey.open_job(yard, Stamp("Kim", "d", 0), customer="Halden", vehicle="Loader")
        self.id = opened.state.job
        for caution in job_picture(opened.state).cautions:
            survey.acknowledge(yard, self.id, self.stamp, caution.id, stage=caution.stage)

    @property
    def stamp(self) -> Stamp:
        return Stamp("Kim", "d", self.yard.state(self.id).tip.number)

    def tank(self, tank_id: str, tank: dict[str, object], probe: dict[str, object]) -> None:
        survey.describe_tank(self.yard, self.id, self.stamp, tank_id, tank=tank, probe=probe)

    def page(self, stage: str, tank_id: str | None = None, page: Page = HERE) -> str:
        return views.render_stage(page, job_picture(self.yard.state(self.id)), stage, tank_id)


@pytest.fixture
def job(tmp_path: Path) -> Iterator[Job]:
    yard = Yard(open_book(tmp_path / "yard.book"))
    yield Job(yard)
    yard.close()


@pytest.mark.parametrize("stage", STAGES)
def test_every_stage_of_a_job_without_a_tank_says_what_to_do_first(job: Job, stage: str) -> None:
    html = job.page(stage)

    if stage in ("Bench", "Pour", "Table"):
        assert "Describe a tank first." in html


@pytest.mark.parametrize("stage", STAGES)
def test_linked_tanks_are_one_on_every_stage(job: Job, stage: str) -> None:
    job.tank("left", BOX, ROD)
    job.tank("right", BOX, {})
    survey.link_tanks(job.yard, job.id, job.stamp, "both", ("left", "right"))

    html = job.page(stage, "both")

    assert 'data-tank="both"' in html
    assert '<nav class="tanks"' not in html
    if stage in ("Plan", "Pour", "Prove") and 'class="dwg wide"' in html:
        wide, _, narrow = html.partition('class="dwg narrow"')
        assert wide.count('data-part="pipe"') == narrow.count('data-part="pipe"') == 1
        assert ">left<" in narrow
        assert ">right<" in narrow
    if stage == "Plan":
        assert 'class="dwg narrow"' in html
        assert "joined" in html or "joins" in html
        assert "No balance pipe after all" in html
        assert 'data-form="tank"' not in html


def test_a_shape_from_a_file_is_drawn_but_not_offered_to_be_typed_over(job: Job) -> None:
    corners = [[0, 0], [500, 0], [600, 300], [500, 600], [0, 600]]
    job.tank("odd", {"shape": "section", "length_mm": 900, "section_mm": corners}, {})

    html = job.page("Plan")

    assert "described in a tank file" in html
    assert 'data-form="tank"' not in html
    assert 'class="dwg wide"' in html


def test_a_plan_is_drawn_on_the_tape_before_the_first_pour(job: Job) -> None:
    job.tank("left", BOX, ROD)
    pours = [{"step": 1, "add_l": 62.0, "expected_counts": 741, "u_counts": 9},
             {"step": 2, "add_l": 56.0, "expected_counts": 1402, "u_counts": 9}]  # fmt: skip
    plan = {"probe": {"x_mm": 500, "cut_length_mm": 571}, "dead_stock_l": 11, "pours": pours}
    survey.record_plan(job.yard, job.id, job.stamp, "left", plan, "")

    html = job.page("Plan")

    tape = re.findall(r"<text[^>]*>(\d+\xa0L)</text>", html)
    assert set(tape[:2]) == {"62\xa0L", "118\xa0L"}
    assert "571\xa0mm" in html


@pytest.mark.parametrize(
    "plan",
    [{}, {"pours": "none"}, {"pours": [{"add_l": "x"}, 3]}, {"probe": 4}, {"pours": [{"step": 1}]}],
)
def test_a_plan_of_another_form_is_said_to_be_one_and_breaks_no_page(
    job: Job, plan: dict[str, object]
) -> None:
    job.tank("left", BOX, ROD)
    survey.record_plan(job.yard, job.id, job.stamp, "left", plan, "")

    assert "no pours that can be shown" in job.page("Plan")
    assert "Begin the fill" in job.page("Pour")


def test_what_is_typed_with_units_is_drawn_and_a_wrong_field_is_named() -> None:
    piece = views.render_preview(HERE, {**BOX, "height_mm": "24 in"}, ROD)

    assert piece.count("<svg") == 2
    with pytest.raises(InputError) as caught:
        views.render_preview(HERE, {**BOX, "height_mm": "-3"}, ROD)
    assert caught.value.field == "height_mm"


def test_a_probe_that_reaches_above_the_tank_is_pointed_at_while_typed_and_after(job: Job) -> None:
    slipped = {**ROD, "active_length_mm": 5600}
    job.tank("left", BOX, slipped)

    assert "5\u202f022\xa0mm above the inside of the tank" in views.render_preview(
        HERE, BOX, slipped
    )
    assert "5\u202f022\xa0mm above the inside of the tank" in job.page("Plan")
    assert "above the inside" not in views.render_preview(HERE, BOX, ROD)


def test_a_book_in_inches_and_gallons_shows_no_millimetre_and_no_litre(job: Job) -> None:
    job.tank("left", {**BOX, "rated_capacity_l": 340}, ROD)
    page = Page("t", "d", "Kim", units=UnitsShown("US gal", "in", "°F"))

    html = job.page("Plan", page=page)

    words = re.sub(r"<[^>]+>", " ", html)
    assert re.search(r"\d\xa0in\b", words)
    assert re.search(r"\d\xa0US gal", words)
    assert not re.search(r"\d\xa0(mm|L)\b", words)


def test_a_search_that_finds_nothing_says_so_and_an_empty_book_offers_none(tmp_path: Path) -> None:
    yard = Yard(open_book(tmp_path / "empty.book"))
    nothing = sheets.render_jobs(HERE, jobs_picture(yard, containing="Lodder"), "Lodder")
    empty = sheets.render_jobs(HERE, jobs_picture(yard))
    yard.close()

    assert "No job holds “Lodder”" in nothing
    assert 'value="Lodder"' in nothing
    assert "No job yet" in empty
    assert 'role="search"' not in empty


def test_a_seal_of_the_checklist_stands_among_the_seals(job: Job) -> None:
    sealed = kinds.MountItemDone("head_sealed", seal_number="S-0417")
    survey.mount_item_done(job.yard, job.id, job.stamp, sealed)

    page = job.page("Mount")
    assert page.split("Seals</h2>")[1].count("S-0417") == 1


def test_a_name_from_outside_cannot_end_an_attribute_or_an_id(job: Job) -> None:
    survey.describe_tank(
        job.yard, job.id, job.stamp, "left", tank=BOX, probe=ROD, name='"><script>alert(1)</script>'
    )

    for stage in STAGES:
        assert "<script>alert" not in job.page(stage)


def test_a_caution_stands_before_its_stage_until_it_is_read(tmp_path: Path) -> None:
    yard = Yard(open_book(tmp_path / "yard.book"))
    opened = survey.open_job(yard, Stamp("Kim", "d", 0), customer="Halden", vehicle="Loader")
    picture = job_picture(opened.state)
    wanted = [c for c in picture.cautions if c.stage == "Pour"]

    html = views.render_stage(HERE, picture, "Pour", None)
    yard.close()

    assert wanted[0].text in unescape(html)
    assert "Describe a tank first" not in html
    assert "stricter rules, they come first" in html
