"""Tests run the library as the program does."""

import os

# as `cli.main` sets it, before numpy is loaded: sums come out the same in both, to the last bit
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
