"""Every page's common part: templates with the words of a language and the reader's figures.

The list of jobs is drawn here, with what it needs and no more: it is the first page.
"""

import hashlib
import re
from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from gaugewright.app.language import catalogue, decimal_mark
from gaugewright.app.pictures_jobs import JobsPicture
from gaugewright.workbench.page import Page
from gaugewright.workbench.words import (
    Figures,
    kind_names,
    speech,
    stage_names,
)

TEMPLATES = Path(__file__).parent / "templates"
STATIC = Path(__file__).parent / "static"

SIGNS = {"clear": "■", "note": "■", "check": "▲", "stop": "⬣"}
"""Every verdict has a shape of its own, so that colour is never all that tells it."""


@lru_cache(maxsize=16)
def environment(language: str) -> Environment:
    """Return the templates with the words of a language; everything is escaped."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    # The i18n extension adds this method; the type of the environment does not know it.
    made.install_gettext_translations(catalogue(language), newstyle=True)  # type: ignore[attr-defined]
    made.globals["static"] = f"/static/v-{static_version()}"
    made.globals["with_imports"] = lambda names: with_imports(*names)
    return made


@lru_cache(maxsize=1)
def static_version() -> str:
    """Return a mark of what is in the static files; a browser keeps them for good under it."""
    digest = hashlib.sha256()
    for file in sorted(file for file in STATIC.rglob("*") if file.is_file()):
        digest.update(file.relative_to(STATIC).as_posix().encode())
        digest.update(hashlib.sha256(file.read_bytes()).digest())
    return digest.hexdigest()[:16]


@lru_cache(maxsize=64)
def with_imports(*scripts: str) -> tuple[str, ...]:
    """Return scripts and all that they import, so that a browser asks for all of them at once.

    >>> with_imports("kept.js")
    ('kept.js', 'say.js')
    """
    found: dict[str, None] = {}
    waiting = list(scripts)
    while waiting:
        name = waiting.pop(0)
        if name not in found:
            found[name] = None
            text = (STATIC / "js" / name).read_text(encoding="utf-8")
            waiting += re.findall(r'^import\b[^;]*"\./([\w-]+\.js)";', text, re.MULTILINE)
    return tuple(found)


def render_jobs(page: Page, jobs: JobsPicture, containing: str = "") -> str:
    """Return the page with the list of jobs, those that were looked for."""
    return render(page, "jobs.html", jobs=jobs.jobs, containing=containing)


def render_problem(page: Page, status: int, sentence: str) -> str:
    """Return the page that says what is wrong."""
    return render(page, "problem.html", status=status, sentence=sentence)


def render(page: Page, template: str, **values: Any) -> str:
    """Return a template with its values, each sentence in them said as the reader hears it."""
    say = catalogue(page.language).gettext
    heard = speech(page.units, page.language).all_of(values)
    context: dict[str, Any] = {
        "page": page,
        "write": figures_of(page),
        "translate": say,
        "stage_names": stage_names(say),
        "kind_names": kind_names(say),
        "signs": SIGNS,
        "has_comma": decimal_mark(page.language) == ",",
        "svg": Markup,
    }
    return environment(page.language).get_template(template).render(**context, **heard)


def figures_of(page: Page) -> Figures:
    """Return what writes a page's figures."""
    return Figures(page.units, page.language)
