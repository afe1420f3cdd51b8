"""Before anything imports numpy: the matrices here are small, threads inside the linear algebra only cost.

Workers of pytest state a width of the terminal, to which the commands would wrap their lines.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.pop("COLUMNS", None)
