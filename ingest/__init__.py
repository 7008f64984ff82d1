"""levelhead: heads' bytes in, axle angles with their uncertainty out."""

import os

# Set before numpy is loaded. Our matrices have tens of rows: threads of the BLAS cost them more
# than they gain, and wait for each other on a busy machine, where they take twenty times as long.
# Whoever sets it otherwise is not overruled.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
