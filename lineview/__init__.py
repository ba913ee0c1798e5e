"""Answers for a small sweet works from the counter exports of its machines."""

import os

# Matrices here are small: a second thread of linear algebra costs more processor time than it saves. It must
# be said before numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
