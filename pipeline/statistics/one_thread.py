"""One processor for small linear systems: on two, OpenBLAS spends several times what it saves, waiting and waking."""

from __future__ import annotations

import numpy.linalg  # noqa: F401  its BLAS must be loaded before the controller looks for it
import scipy.linalg  # noqa: F401  and so must SciPy's own
from threadpoolctl import ThreadpoolController

# Looked up once: finding the loaded libraries takes milliseconds, setting their number of threads microseconds.
_controller = ThreadpoolController()

# A decorator: within the function BLAS has one thread, and afterwards as many as before.
on_one_thread = _controller.wrap(limits=1, user_api="blas")
