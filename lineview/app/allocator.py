"""How the process holds memory: settings made before the libraries that read them are loaded, and giving back."""

from __future__ import annotations

import ctypes
import gc
import os
from collections.abc import Iterable
from pathlib import Path

#: Read by the allocator of polars when its library is loaded; on systems where it has another, by nobody.
SETTING = "_RJEM_MALLOC_CONF"
#: Free pages go back to the system after two seconds: an intake asks for those of a piece again for the next well
#: within that. By default polars keeps them for ever as "muzzy": the system may take them, but until it is short of
#: memory they count as used. One arena a core, for four: 17 MB less in an intake, and less to be asked for anew.
GIVEN_BACK = f"dirty_decay_ms:2000,muzzy_decay_ms:0,narenas:{os.cpu_count() or 1}"
#: Matrices here are small: a second thread of linear algebra costs more processor time than it saves.
THREADS = "OPENBLAS_NUM_THREADS"
#: Parts of numpy that scipy loads when it copies all of numpy's names, and that no answer uses.
NOT_USED = frozenset({"core", "ctypeslib", "f2py", "test", "testing"})
#: How many threads polars starts, read when its library is loaded.
POLARS_THREADS = "POLARS_MAX_THREADS"
#: A file of this size is read in pieces that keep several threads busy.
BIG_BYTES = 8_000_000
#: Importing the libraries alone makes hundreds of thousands of objects, none of them garbage.
OBJECTS_BEFORE_COLLECTING = 50_000
#: Of the system's allocator, where it is glibc's (malloc.h): free memory at its end goes back from the first size on,
#: blocks from the second on are mapped by themselves (smaller ones are used again: new pages cost an answer a fifth
#: of its time), and so many arenas serve all threads.
_TRIM_THRESHOLD, _MMAP_THRESHOLD, _ARENA_MAX = -1, -3, -8
_SETTINGS = {_TRIM_THRESHOLD: 32 * 2**20, _MMAP_THRESHOLD: 8 * 2**20, _ARENA_MAX: 2}


def give_memory_back() -> None:
    """Let the process return free memory to the system; it has to be called before polars is imported.

    What the user has set in the environment stands.
    """
    os.environ.setdefault(SETTING, GIVEN_BACK)


def keep_to_one_thread() -> None:
    """Let linear algebra use one thread, unless the user set it; to be called before numpy is imported."""
    os.environ.setdefault(THREADS, "1")


def leave_parts_of_numpy_out() -> None:
    """Let scipy copy numpy's names without the parts for building and testing; before scipy is imported.

    Loading those parts takes a third of the processor time of importing scipy; whoever names one still gets it.
    """
    import numpy

    names = [name for name in dir(numpy) if name not in NOT_USED]
    numpy.__all__ = [name for name in numpy.__all__ if name not in NOT_USED]
    numpy.__dir__ = lambda: names  # type: ignore[method-assign]  # of a module, which asks its own function


def keep_answers_to_one_thread() -> None:
    """Let polars use one thread for an answer from records, unless the user set it; before polars is imported.

    Records are short columns: a second thread takes a tenth more processor time and gives the answer no sooner.
    """
    os.environ.setdefault(POLARS_THREADS, "1")


def keep_small_files_to_one_thread(paths: Iterable[Path]) -> None:
    """Let polars use one thread where no export is big, unless the user set it; before polars is imported.

    Waking a second thread for the thousands of short columns of small exports takes a fifth of the whole work
    and saves no time.
    """
    files = (file for path in paths for file in (path.rglob("*") if path.is_dir() else (path,)))
    if not any(_size_bytes(file) >= BIG_BYTES for file in files):
        os.environ.setdefault(POLARS_THREADS, "1")


def _size_bytes(file: Path) -> int:
    try:
        return file.stat().st_size
    except OSError:  # said with its reason when the file is read
        return 0


def collect_garbage_seldom() -> None:
    """Let Python look for circles of unused objects more seldom: a tenth of a command's time went there."""
    gc.set_threshold(OBJECTS_BEFORE_COLLECTING)


def _system_allocator() -> ctypes.CDLL | None:
    """The C library where its allocator is known."""
    try:
        library = ctypes.CDLL(None)
    except (OSError, TypeError):  # there is none to ask
        return None
    return library if hasattr(library, "malloc_trim") else None


def keep_large_blocks_apart() -> None:
    """Let large blocks go back to the system once they are free, whatever stands around them."""
    library = _system_allocator()
    if library is not None:
        for setting, value in _SETTINGS.items():
            library.mallopt(setting, value)


def give_free_memory_back() -> None:
    """Give back what is free within the system's allocator, which keeps it by default."""
    library = _system_allocator()
    if library is not None:
        library.malloc_trim(0)


def held_mb() -> float:
    """Memory that is the process's and no file's [MB], pages it shares with its parent included; 0 where unknown."""
    try:
        _, resident, of_files, *_ = Path("/proc/self/statm").read_text(encoding="ascii").split()
    except OSError:
        return 0.0
    return (int(resident) - int(of_files)) * os.sysconf("SC_PAGE_SIZE") / 1e6
