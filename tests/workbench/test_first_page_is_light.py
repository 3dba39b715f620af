"""What the first page does not wait for: numerics, pictures and papers are loaded later."""

import subprocess
import sys

HEAVY = ("scipy", "PIL", "openpyxl", "typst", "alembic", "pymodbus", "can", "pyarrow", "numba")
SCRIPT = """
import sys, urllib.request
from pathlib import Path
from gaugewright.app.yard import Yard
from gaugewright.journal.book import open_book
from gaugewright.workbench.running import prepare

bench = prepare(Yard(open_book(Path(sys.argv[1]))), port=0).start()
assert b"New job" in urllib.request.urlopen(bench.url, timeout=20).read()
print(*sorted({name.split(".")[0] for name in sys.modules}))
bench.stop()
"""


def test_the_first_page_is_answered_before_anything_heavy_is_loaded(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(tmp_path / "yard.book")],
        capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip

    assert set(HEAVY) & set(done.stdout.split()) == set()
