"""Settings, addresses and the Celery application. Nobody imports it."""

import os

# Our matrices are small and our fits have threads of their own. Threads that the linear algebra keeps beside
# them wait for each other: two fits at once took 1.6 times the processor. To be said before NumPy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from config.celery import app as celery_app

__all__ = ["celery_app"]
