"""What the browser tests look at: the stages, and questions to a page."""

from pathlib import Path
from typing import Any

from playwright.sync_api import Page

AXE = Path(__file__).parent / "vendor" / "axe.min.js"
STAGES = ("survey", "plan", "bench", "mount", "pour", "table", "prove", "certificate", "watch")

OVERFLOW = "document.documentElement.scrollWidth - document.documentElement.clientWidth"

SMALL = """() => [...document.querySelectorAll('button, select, summary, nav a, a.button, .home, input')]
  .filter((e) => e.checkVisibility() && e.type !== 'hidden')
  .map((e) => [e, (e.labels?.[0] && /checkbox|radio/.test(e.type) ? e.labels[0] : e).getBoundingClientRect()])
  .filter(([, box]) => box.width > 0 && Math.min(box.height, box.width) < 47.5)
  .map(([e, box]) => `${e.outerHTML.slice(0, 80)} ${box.width}x${box.height}`)"""  # noqa: E501


def complaints(page: Page) -> list[str]:
    """Return what axe finds that is serious or critical, with the first place of each."""
    page.evaluate(AXE.read_text(encoding="utf-8") + ";undefined")
    found: dict[str, Any] = page.evaluate(
        "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa',"
        " 'best-practice'], resultTypes: ['violations']})"
    )
    return [
        f"{v['id']}: {v['nodes'][0]['html'][:120]} {v['nodes'][0]['failureSummary'][:200]}"
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]


def is_above_the_fold(page: Page, selector: str) -> bool:
    """Tell whether the whole of an element is seen without scrolling."""
    box = page.locator(selector).first.bounding_box()
    size = page.viewport_size
    assert box is not None
    assert size is not None
    at = page.evaluate("window.scrollY")
    return at == 0 and box["y"] >= 0 and box["y"] + box["height"] <= size["height"]
