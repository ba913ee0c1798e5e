"""Running a program as a process of its own and measuring it by processor time and memory."""

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

_TAIL = """
import os
_t = os.times()
# Of this process alone: ru_maxrss would begin with what the parent held when it forked.
_held = next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM"))
print("measured", _t.user + _t.system, int(_held) / 1024)
"""
_COMMAND = """
import sys
from lineview.cli.main import main
sys.argv[0] = "lineview"
try:
    main()
except SystemExit as stop:
    assert not stop.code, stop.code
"""


@dataclass(frozen=True)
class Measured:
    """Processor time, user and system, from start to end [s], the most memory held [MB], and the output."""

    cpu_s: float
    peak_mb: float
    printed: str


def run(program: str, *words: str | Path) -> Measured:
    """Run a Python program."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith("LINEVIEW_")}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # what is installed is compiled once, not at each start
    environment["PYTHONPATH"] = str(Path(__file__).parents[2])
    done = subprocess.run(
        [sys.executable, "-c", program + _TAIL, *map(str, words)],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    printed, _, last = done.stdout.rpartition("measured ")
    cpu_s, peak_mb = map(float, last.split())
    return Measured(cpu_s, peak_mb, printed)


def command(*words: str | Path) -> Measured:
    """Run the command line with these words."""
    return run(_COMMAND, *words)
