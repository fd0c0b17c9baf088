"""For all tests: one thread in the linear algebra, as the command line sets it."""

import os

for library in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(library, "1")
