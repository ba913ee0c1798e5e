"""Running a command or script as a process of its own: processor time, peak memory, what it printed.

Processor time is the child's alone, of all its threads (os.wait4); peak memory the most it held, as the
system says at its end.
"""

import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from lineview.app.allocator import SETTING

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
#: A checkout of an earlier version to measure beside this one, round by round; unset: this one alone.
BEFORE = os.environ.get("LINEVIEW_BENCH_BEFORE")

# Peak memory of the process itself: ru_maxrss would begin with what the parent held when it forked.
PEAK = """
import sys
print("peak", open("/proc/self/status").read().partition("VmHWM:")[2].split()[0], file=sys.stderr)
"""
COMMAND = f"""
import sys
from lineview.cli.main import main
status = 0
try:
    main()
except SystemExit as end:
    status = int(end.code or 0)
sys.stdout.flush()
{PEAK}
sys.exit(status)
"""


@dataclass(frozen=True)
class Spent:
    """What a process took: processor time and clock [s], peak memory [MB]; what it printed and complained."""

    cpu_s: float
    wall_s: float
    peak_mb: float
    printed: str
    status: int = 0
    complaint: str = ""


def environment(code: Path | str = ROOT) -> dict[str, str]:
    """Environment in which Python imports the lineview of a checkout and no setting leaks in."""
    # polars, where this process has loaded it, leaves its allocator's setting in the environment
    # what is installed is compiled once, not at each start
    left_out = {SETTING, "PYTHONDONTWRITEBYTECODE"}
    kept = {k: v for k, v in os.environ.items() if not k.startswith("LINEVIEW_") and k not in left_out}
    return {**kept, "PYTHONPATH": str(code), "PYTHONUNBUFFERED": "1"}


def python(words: Sequence[str | Path], code: Path | str = ROOT, given: str = "") -> Spent:
    """Run Python with some words; the last line of its standard error may be "peak" and kilobytes."""
    begun = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, "-P", *map(str, words)],
        env=environment(code),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    printed, complaint, status, cpu_s = _end_of(child, given)
    lines = complaint.strip().splitlines()
    peak_mb = int(lines[-1].split()[1]) / 1024 if lines and lines[-1].startswith("peak ") else float("nan")
    return Spent(cpu_s, time.perf_counter() - begun, peak_mb, printed, status, complaint)


def _end_of(child: subprocess.Popen[str], given: str) -> tuple[str, str, int, float]:
    """Read a child to its end: output, complaint, exit status, processor seconds."""
    import resource
    import threading

    assert child.stdin and child.stdout and child.stderr
    complaints: list[str] = []
    pipe = child.stderr
    reader = threading.Thread(target=lambda: complaints.append(pipe.read()))
    reader.start()
    child.stdin.write(given)
    child.stdin.close()
    printed = child.stdout.read()
    reader.join()
    _, code, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(code)
    assert isinstance(usage, resource.struct_rusage)
    for stream in (child.stdout, child.stderr):
        stream.close()
    return printed, complaints[0], child.returncode, usage.ru_utime + usage.ru_stime


def command(*words: str | Path, code: Path | str = ROOT) -> Spent:
    """Run the command line; a refusal is a failure here."""
    spent = python(["-c", COMMAND, *words], code)
    assert spent.status == 0, f"lineview {' '.join(map(str, words))}: {spent.complaint}"
    return spent


@dataclass(frozen=True)
class Median:
    """Medians of several rounds: processor time and clock [s], and the highest peak [MB]."""

    cpu_s: float
    wall_s: float
    peak_mb: float


def interleaved(runs: Mapping[str, Callable[[], Spent]], rounds: int = 3) -> dict[str, Median]:
    """Run each in turn, several rounds: other work on the machine hits them alike."""
    found: dict[str, list[Spent]] = {name: [] for name in runs}
    for _ in range(rounds):
        for name, run in runs.items():
            found[name].append(run())
    return {
        name: Median(median(s.cpu_s for s in spent), median(s.wall_s for s in spent), max(s.peak_mb for s in spent))
        for name, spent in found.items()
    }


def taken_in(works: Path, code: Path | str = ROOT) -> Spent:
    """Take a works' exports in."""
    return command("intake", works / "exports", "--works", works, code=code)
