#!/usr/bin/env python3
"""Sums what gcov counted in a build folder: coverage_table.py BUILD. Lines of pipeline/ and stages/ alone; a line that any test
program reached is covered. Fails below LEAST_SHARE."""
import collections
import gzip
import json
import pathlib
import subprocess
import sys
import tempfile

LEAST_SHARE = 0.90


def counted_lines(build: pathlib.Path, root: pathlib.Path) -> dict[str, dict[int, int]]:
    lines: dict[str, dict[int, int]] = collections.defaultdict(dict)
    counters = sorted(str(path.resolve()) for path in build.rglob("*.gcda"))
    for start in range(0, len(counters), 50):
        with tempfile.TemporaryDirectory() as folder:
            subprocess.run(["gcov", "--json-format", "--preserve-paths", *counters[start:start + 50]], cwd=folder, check=True,
                           stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            for report in pathlib.Path(folder).glob("*.gcov.json.gz"):
                for entry in json.load(gzip.open(report))["files"]:
                    path = pathlib.Path(entry["file"])
                    path = path if path.is_absolute() else build.resolve() / path
                    try:
                        name = str(path.resolve().relative_to(root))
                    except ValueError:
                        continue
                    if not name.startswith(("pipeline/", "stages/")):
                        continue
                    for line in entry["lines"]:
                        number = line["line_number"]
                        lines[name][number] = max(lines[name].get(number, 0), line["count"])
    return lines


def ranges(numbers: list[int]) -> str:
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)


def main() -> int:
    build, root = pathlib.Path(sys.argv[1]), pathlib.Path(__file__).resolve().parent.parent
    lines = counted_lines(build, root)
    rows, missed = [], []
    for name, counts in sorted(lines.items()):
        uncovered = sorted(number for number, count in counts.items() if count == 0)
        rows.append((len(uncovered), len(counts), name))
        if uncovered:
            missed.append(f"{name}: {ranges(uncovered)}")
    (build / "uncovered.txt").write_text("\n".join(missed) + "\n")
    for uncovered, count, name in sorted(rows, reverse=True):
        if uncovered:
            print(f"{uncovered:6} of {count:5} lines not reached  {name}")
    total, uncovered = sum(row[1] for row in rows), sum(row[0] for row in rows)
    share = 1 - uncovered / total if total else 0
    print(f"{share:.1%} of {total} lines in {len(rows)} files reached")
    return share < LEAST_SHARE


if __name__ == "__main__":
    sys.exit(main())
