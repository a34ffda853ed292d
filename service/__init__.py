"""The face of Lineworthy: HTTP, storage, settings and the command line."""

import os

# The flow of a cart is many small matrices. Threads that numpy's linear algebra starts for each of
# them cost up to twenty times what they save on a busy machine; numpy reads this when it is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
