"""On a machine that numba cannot be had for, the watch runs and says the same."""

import subprocess
import sys

import pytest

PROGRAM = """
import sys
if {is_without!r}:
    class Nowhere:
        def find_spec(self, name, path=None, target=None):
            if name.partition(".")[0] == "numba":
                raise ModuleNotFoundError(name)
    sys.meta_path.insert(0, Nowhere())
import numpy as np
from gaugewright.watch import order_kernels as kernels
assert hasattr(kernels.taken, "py_func") != {is_without!r}
time_s = np.array([5.0, 1.0, 2.0, 2.0, 99.0, 3.0])
aside, worst_s, fallen = kernels.late_places(time_s, 0.0, 50.0)
late = aside[aside >= 0]
late = late[np.argsort(time_s[late], kind="stable")]
kept, differing = kernels.one_of_each(time_s, np.array([1.0, 2, 3, 4, 5, 6]), aside, late)
places, starts = kernels.places_by_code(np.array([1, 0, -1, 1], np.int32), 2)
into = np.zeros(3)
kernels.scatter(np.arange(4.0), places, into)
print(kernels.is_rising(time_s, 0.0, 50.0), aside.tolist(), float(worst_s), int(fallen))
print(kernels.taken(time_s, kept).tolist(), int(differing), starts.tolist(), into.tolist())
"""


@pytest.mark.parametrize("is_without", [False, True])
def test_the_loops_that_order_records_run_with_and_without_a_compiler(is_without):
    program = PROGRAM.format(is_without=is_without)

    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)

    assert ran.stdout.splitlines() == [
        "False [1, 2, 3, -5, 5] 4.0 1",
        "[1.0, 2.0, 3.0, 5.0] 1 [0, 1, 3] [1.0, 0.0, 3.0]",
    ], ran.stderr
