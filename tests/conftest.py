"""Before anything imports numpy: the matrices here are small, threads inside the linear algebra only cost.

Workers of pytest state a width of the terminal, to which the commands would wrap their lines.
"""

import os

from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.pop("COLUMNS", None)
settings.register_profile("untimed", deadline=None)  # a busy machine is no defect
settings.load_profile("untimed")
