"""What differs between two files of answers that tests/bench/answers_of.py wrote.

    python tests/bench/compare_answers.py BEFORE AFTER [--series] [--limit N]

Lists every difference of sentences, notes, figures (value, low, high, unit, interval, n, label, why_none),
table cells and, with --series, the frames behind the pictures; grouped by what differs, with the answers it
differs in. Numbers are equal that agree to 9 digits. Exit status 1 where anything differs.
"""

import argparse
import json
import math
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

#: (group, where within the answer, before, after)
Difference = tuple[str, str, Any, Any]

FIGURE = ("value", "low", "high", "unit", "interval", "n", "label", "why_none")
TEXTS = ("error", "sentence", "needs_a_person", "soft", "notes", "cautions", "scope")
MISSING = "(not there)"
CLOSE = 1e-9


def same(before: Any, after: Any) -> bool:
    """Whether two plain values are equal, numbers to nine digits."""
    numbers = (int, float)
    if isinstance(before, numbers) and isinstance(after, numbers):
        return math.isclose(before, after, rel_tol=CLOSE, abs_tol=CLOSE)
    if isinstance(before, list) and isinstance(after, list):
        return len(before) == len(after) and all(map(same, before, after))
    if isinstance(before, dict) and isinstance(after, dict):
        return before.keys() == after.keys() and all(same(before[key], after[key]) for key in before)
    return bool(before == after)


def differences(before: dict[str, Any], after: dict[str, Any], series: bool = False) -> Iterator[Difference]:
    """Every difference between two answers to one question."""
    for key in TEXTS:
        if not same(before.get(key), after.get(key)):
            yield f"text: {key}", key, before.get(key, MISSING), after.get(key, MISSING)
    yield from _figures(before.get("figures", {}), after.get("figures", {}))
    yield from _tables(before.get("tables", {}), after.get("tables", {}))
    if series:
        yield from _series(before.get("series", {}), after.get("series", {}))


def _both(before: dict[str, Any], after: dict[str, Any]) -> list[str]:
    return [*before, *(name for name in after if name not in before)]


def _figures(before: dict[str, Any], after: dict[str, Any]) -> Iterator[Difference]:
    for name in _both(before, after):
        if name not in before or name not in after:
            here = after.get(name) or before.get(name) or {}
            shown = {key: here.get(key) for key in ("value", "low", "high", "unit")}
            pair = (shown, MISSING) if name in before else (MISSING, shown)
            yield f"figure {name}", "whole", *pair
            continue
        for key in FIGURE:
            if not same(before[name].get(key), after[name].get(key)):
                yield f"figure {name}", key, before[name].get(key), after[name].get(key)


def _tables(before: dict[str, Any], after: dict[str, Any]) -> Iterator[Difference]:
    for name in _both(before, after):
        if name not in before or name not in after:
            pair = ("there", MISSING) if name in before else (MISSING, "there")
            yield f"table {name}", "whole", *pair
            continue
        for key in ("title", "columns"):
            if not same(before[name][key], after[name][key]):
                yield f"table {name}", key, before[name][key], after[name][key]
        yield from _rows(f"table {name}", before[name]["rows"], after[name]["rows"])


def _series(before: dict[str, Any], after: dict[str, Any]) -> Iterator[Difference]:
    for name in _both(before, after):
        yield from _rows(f"series {name}", before.get(name, []), after.get(name, []))


def _rows(group: str, before: list[dict[str, Any]], after: list[dict[str, Any]]) -> Iterator[Difference]:
    if len(before) != len(after):
        yield group, "number of rows", len(before), len(after)
    for place, (old, new) in enumerate(zip(before, after, strict=False)):
        for key in _both(old, new):
            if not same(old.get(key), new.get(key)):
                yield group, f"row {place} {key}", old.get(key, MISSING), new.get(key, MISSING)


def grouped(
    before: dict[str, Any], after: dict[str, Any], series: bool = False
) -> dict[str, list[tuple[str, str, Any, Any]]]:
    """Differences of all answers by what differs: (answer, where, before, after)."""
    groups: dict[str, list[tuple[str, str, Any, Any]]] = defaultdict(list)
    for key in _both(before, after):
        if key not in before or key not in after:
            pair = ("there", MISSING) if key in before else (MISSING, "there")
            groups["whole answers"].append((key, "", *pair))
            continue
        question = key.split()[0]
        for group, where, old, new in differences(before[key], after[key], series):
            groups[f"{question}: {group}"].append((key, where, old, new))
    return groups


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    asked.add_argument("before", type=Path)
    asked.add_argument("after", type=Path)
    asked.add_argument("--series", action="store_true", help="compare the frames behind the pictures too")
    asked.add_argument("--limit", type=int, default=30, help="lines shown of a group; 0 for all")
    given = asked.parse_args()
    files = [json.loads(path.read_text(encoding="utf-8")) for path in (given.before, given.after)]
    groups = grouped(files[0], files[1], given.series)
    for group, found in sorted(groups.items()):
        print(f"\n{group}: {len(found)} difference(s)")
        shown = found[: given.limit or None]
        for key, where, old, new in shown:
            print(f"  {key} | {where} | {_short(old)} -> {_short(new)}")
        if found[len(shown) :]:
            print(f"  and {len(found) - len(shown)} more; --limit 0 shows all")
    answers = {key for found in groups.values() for key, *_ in found}
    print(f"\n{len(answers)} of {len(files[0])} answers differ, {len(groups)} groups")
    return 1 if groups else 0


def _short(value: Any) -> str:
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 400 else text[:400] + "…"


if __name__ == "__main__":
    sys.exit(main())
