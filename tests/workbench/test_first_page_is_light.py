"""What the first page does not wait for: the other pages, numerics, instruments, papers.

The whole command is run, with a browser that looks at the first page as soon as it is called,
and says what was loaded by then.
"""

import subprocess
import sys

HEAVY = {
    "numerics": ("numpy", "scipy", "numba", "trimesh", "networkx", "threadpoolctl"),
    "the API": ("fastapi", "opentelemetry"),
    "instruments": ("serial", "pymodbus", "paho", "can", "regex"),
    "pictures and papers": ("PIL", "typst", "pypdf", "segno", "xlsxwriter", "openpyxl", "lxml"),
    "tables of other programs": ("pyarrow", "alembic", "psycopg"),
    "our own": (
        "gaugewright.workbench.inside",
        "gaugewright.workbench.views",
        "gaugewright.app.pictures",
        "gaugewright.app.live",
        "gaugewright.table.fit",
        "gaugewright.watch",
    ),
}
SCRIPT = """
import re, signal, sys, urllib.parse, urllib.request, webbrowser
from gaugewright.cli.main import main

def look(url):
    def got(address):
        return urllib.request.urlopen(urllib.parse.urljoin(url, address), timeout=60).read()

    page = got(url).decode()
    assert "New job" in page
    for address in re.findall('(?:href|src)="(/static/[^"]*)"', page):
        assert got(address)
    print(*sorted(sys.modules))
    signal.raise_signal(signal.SIGINT)

webbrowser.open = look
sys.argv = ["gaugewright", "open", sys.argv[1], "--port", "0"]
main()
"""


def test_the_first_page_is_answered_before_anything_heavy_is_loaded(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(tmp_path / "yard.book")],
        capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    _, modules = done.stdout.splitlines()
    loaded = set(modules.split())

    assert "gaugewright.workbench.sheets" in loaded
    assert {
        room: found for room, names in HEAVY.items() if (found := loaded.intersection(names))
    } == {}
