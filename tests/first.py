"""What has to stand before anything of ours, or numpy, is loaded."""

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command has it
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # the processes that tests start need not compile, a second each
sys.dont_write_bytecode = False
