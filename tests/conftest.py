"""Before anything imports numpy: the matrices here are small, threads inside the linear algebra only cost."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
