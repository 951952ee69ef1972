"""One thread of linear algebra, as the command line has it: set before numpy is imported."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
