"""One thread of linear algebra for each test process.

Small matrices gain nothing from more, and the test runner already uses every core.
"""

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
