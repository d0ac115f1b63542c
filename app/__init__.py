"""What people use: reading pictures, the bench, paper, the window, the command line."""

from __future__ import annotations

import os

# The matrices here are small (some hundreds of rows). Threads of the linear algebra gain nothing on them, and on a busy
# machine they wait for each other: the reading of one scan was seen to take 85 s in place of 2.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
