"""Ask one works several things in one process and print what each took, a line of JSON each.

    PYTHONPATH=CHECKOUT python asked_in_process.py WORKS < ASKED

ASKED is a JSON list of [question, period]. Each line holds question, period, cpu_s and wall_s; the last
line of standard error says "peak" and the most memory held [kB].
"""

import json
import sys
import time
from pathlib import Path

from lineview.app import allocator


def main() -> None:
    # as the command line sets its process up before it loads what answers
    allocator.give_memory_back()
    allocator.keep_to_one_thread()
    allocator.keep_large_blocks_apart()
    allocator.collect_garbage_seldom()
    allocator.keep_answers_to_one_thread()
    from lineview.app.question import read_question
    from lineview.app.works import Works

    allocator.leave_parts_of_numpy_out()
    with Works(Path(sys.argv[1])) as works:
        for question, period in json.load(sys.stdin):
            wall, cpu = time.perf_counter(), time.process_time()
            answer = works.ask(read_question(question, period=period))
            spent = {"cpu_s": time.process_time() - cpu, "wall_s": time.perf_counter() - wall}
            print(json.dumps({"question": question, "period": period, **spent, "sentence": answer.text}))
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    print("peak", status.partition("VmHWM:")[2].split()[0], file=sys.stderr)


if __name__ == "__main__":
    main()
