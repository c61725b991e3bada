"""Logbook and watchman of packed chromatography beds."""

import os

# Our matrices are small and our processes many: threads inside the linear algebra only wait for each other
# (measured: twenty times slower on a busy machine). It has to be said before numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
# Arrow's own memory pool keeps a heap for each thread that it ever met, and a server has many of them
# (measured: 30 MB, which grew as the threads changed).
os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")
