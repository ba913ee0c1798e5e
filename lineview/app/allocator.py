"""Settings of the process that must be made before the libraries that read them are loaded."""

from __future__ import annotations

import gc
import os

#: Read by the allocator of polars when its library is loaded; on systems where it has another, by nobody.
SETTING = "_RJEM_MALLOC_CONF"
#: Free pages go back to the system after half a second. By default polars keeps them for ever as "muzzy":
#: the system may take them, but until it is short of memory they count as used.
GIVEN_BACK = "dirty_decay_ms:500,muzzy_decay_ms:0"


#: Matrices here are small: a second thread of linear algebra costs more processor time than it saves.
THREADS = "OPENBLAS_NUM_THREADS"


def give_memory_back() -> None:
    """Let the process return free memory to the system; it has to be called before polars is imported.

    What the user has set in the environment stands.
    """
    os.environ.setdefault(SETTING, GIVEN_BACK)


def keep_to_one_thread() -> None:
    """Let linear algebra use one thread, unless the user set it; to be called before numpy is imported."""
    os.environ.setdefault(THREADS, "1")


#: Importing the libraries alone makes hundreds of thousands of objects, none of them garbage.
OBJECTS_BEFORE_COLLECTING = 50_000


def collect_garbage_seldom() -> None:
    """Let Python look for circles of unused objects more seldom: a tenth of a command's time went there."""
    gc.set_threshold(OBJECTS_BEFORE_COLLECTING)
