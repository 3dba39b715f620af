"""Every word on a page goes through gettext, figures keep together, nothing typed is markup."""

import gettext
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir
from hypothesis import given
from hypothesis import strategies as st

from gaugewright.app.pictured import job_picture
from gaugewright.app.pictured_jobs import jobs_picture
from gaugewright.app.survey import acknowledge, describe_tank, open_job
from gaugewright.app.yard import Stamp, Yard
from gaugewright.journal.book import open_book
from gaugewright.workbench import sheets, views, words
from gaugewright.workbench.page import Page, UnitsShown
from gaugewright.workbench.words import THIN, Figures

STAGES = ("Survey", "Plan", "Bench", "Mount", "Pour", "Table", "Prove", "Certificate", "Watch")


class Marked(gettext.NullTranslations):
    """A language in which everything is said in brackets."""

    def gettext(self, message: str) -> str:
        return f"⟦{message}⟧"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return f"⟦{msgid1 if n == 1 else msgid2}⟧"


class Said(HTMLParser):
    """Collects what a reader sees or hears of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in ("aria-label", "alt", "placeholder", "title", "data-ask") and value:
                self.texts.append(value)

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.texts.append(data.strip())


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    made = Yard(open_book(tmp_path / "yard.book"))
    yield made
    made.close()


def without_marked(html: str) -> str:
    """Take out all that was said in the marked language, what is said in it too."""
    while (less := re.sub(r"⟦[^⟦⟧]*⟧", "", html)) != html:
        html = less
    return html


def a_job(yard: Yard, vehicle: str) -> str:
    recorded = open_job(yard, Stamp("42", "7", 0), customer="42", vehicle=vehicle)
    job = recorded.state.job
    box = {"shape": "box", "length_mm": 900, "width_mm": 500, "height_mm": 400}
    rod = {"x_mm": 450, "y_mm": 250, "tip_clearance_mm": 20, "active_length_mm": 360}
    describe_tank(
        yard, job, Stamp("42", "7", recorded.state.tip.number), "1", tank=box, probe=rod, name="1"
    )
    return job


def pages_of(yard: Yard, job: str, page: Page) -> dict[str, str]:
    picture = job_picture(yard.state(job))
    made = {stage: views.render_stage(page, picture, stage, None) for stage in STAGES}
    made["jobs"] = sheets.render_jobs(page, jobs_picture(yard))
    made["new"] = views.render_new_job(page)
    made["pair"] = views.render_pair(page, "1")
    return made


def test_no_word_of_any_page_escapes_translation(
    yard: Yard, monkeypatch: pytest.MonkeyPatch
) -> None:
    for room in (sheets, views):
        monkeypatch.setattr(room, "catalogue", lambda language: Marked())
    sheets.environment.cache_clear()
    job = a_job(yard, "42")
    names = {"Gaugewright", "mm", "L", "counts", "US gal", "imp gal", "°C", "°F", "V", "CSV",
             "JSON", "XLSX", "UTC", "yard.book"}  # fmt: skip
    plain: dict[str, list[str]] = {}
    for stages in ((), ("Survey", "Plan", "Mount", "Pour")):
        for stage in stages:  # with its cautions read, what lies behind them is seen
            for caution in job_picture(yard.state(job)).cautions:
                if caution.stage == stage:
                    on = yard.state(job).tip.number
                    acknowledge(yard, job, Stamp("42", "7", on), caution.id, stage=stage)
        for name, html in pages_of(
            yard, job, Page("t", "7", language="xx", where="yard.book")
        ).items():
            said = Said()
            said.feed(without_marked(html))
            left = [t for t in said.texts if re.search(r"[A-Za-z]{2,}", t)]
            left = [t for t in left if not set(re.findall(r"[A-Za-z]{2,}", t)) <= {
                word for each in names for word in re.findall(r"[A-Za-z]{2,}", each)}]  # fmt: skip
            if left:
                plain.setdefault(name, []).extend(left)
    sheets.environment.cache_clear()

    assert plain == {}


def test_every_message_can_be_extracted_from_templates_and_code() -> None:
    methods = [("**.py", "python"), ("**/templates/**.html", "jinja2")]
    found = {
        message
        for _, _, message, _, _ in extract_from_dir(
            Path(words.__file__).parent, methods, keywords={"_": None, "say": None}
        )
    }

    assert {"Record", "Survey", "tip {clear} clear"} <= found
    assert len(found) > 200


def test_what_people_type_is_never_markup(yard: Yard) -> None:
    wicked = "<img src=x onerror=alert(1)>'\"{{7*7}}"
    job = a_job(yard, wicked)

    for name, html in pages_of(yard, job, Page("t", wicked, wicked, workshop=wicked)).items():
        assert "<img src=x" not in html, name
        if name in STAGES or name == "jobs":
            assert "&lt;img src=x" in html, name


def test_no_page_holds_an_inline_script_or_style(yard: Yard) -> None:
    job = a_job(yard, "Loader")

    for name, html in pages_of(yard, job, Page("t", "7")).items():
        assert not re.search(r"<script(?![^>]*\bsrc=)", html), name
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=", html), name
        assert not re.search(r"(src|href)=.(https?:)?//", html), name


@given(st.floats(-1e7, 1e7), st.integers(0, 3), st.sampled_from(["en", "de", "pl"]))
def test_a_figure_reads_back_as_itself_and_cannot_break(
    value: float, decimals: int, language: str
) -> None:
    text = Figures(UnitsShown(), language).plain(value, decimals)

    back = text.replace(THIN, "").replace("\N{MINUS SIGN}", "-").replace(",", ".")
    assert float(back) == pytest.approx(value, abs=0.5000001 * 10**-decimals)
    assert " " not in text


def test_a_time_is_shown_with_its_zone() -> None:
    at = datetime(2026, 3, 1, 9, 5, tzinfo=UTC)

    assert Figures(UnitsShown(), "en").time(at) == "2026\u201103\u201101 09:05\u00a0UTC"
