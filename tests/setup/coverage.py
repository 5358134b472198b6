#!/usr/bin/env python3
"""Line coverage of core by room, from llvm-cov's lcov export: coverage.py LINES.info UNCOVERED.txt

Test code does not count: neither files of tests, nor what follows `#[cfg(test)]` and a `mod` with a body (by
the house's style the last thing in a file). A line counts as covered if any copy of it was run: generic
functions and several binaries give several.
"""

import collections
import os
import re
import sys

TEST_FILES = re.compile(r"(^|/)(tests|.*_tests|testing)(/[^/]*)?\.rs$")


def first_test_line(path):
    """Number of the line at which a file's tests begin."""
    lines = open(path, encoding="utf-8").read().split("\n")
    for number, line in enumerate(lines, 1):
        if line == "#[cfg(test)]" and re.match(r"mod \w+ \{", lines[number]):
            return number
    return len(lines) + 1


def room(path):
    parts = path.split("/")
    if parts[0] == "bin" or path == "bin/lipwright.rs":
        return "command line"
    return parts[0] if len(parts) > 1 else "shared"


def main(info, uncovered):
    counts = collections.defaultdict(lambda: collections.defaultdict(int))
    source = None
    for row in open(info, encoding="utf-8"):
        if row.startswith("SF:"):
            source = row[3:].strip()
        elif row.startswith("DA:"):
            line, count = row[3:].split(",")[:2]
            counts[source][int(line)] = max(counts[source][int(line)], int(count))
    rooms = collections.defaultdict(lambda: [0, 0])
    missing = []
    for source, lines in sorted(counts.items()):
        at = source.rfind("/core/src/")
        if at < 0:
            continue
        name = source[at + len("/core/src/"):]
        if TEST_FILES.search(name) or not os.path.exists(source):
            continue
        end = first_test_line(source)
        for line, count in sorted(lines.items()):
            if line < end:
                rooms[room(name)][0] += 1
                rooms[room(name)][1] += count > 0
                if count == 0:
                    missing.append(f"{name}:{line}")
    with open(uncovered, "w", encoding="utf-8") as out:
        out.write("\n".join(missing) + "\n")
    print(f"{'room':<14}{'lines':>8}{'covered':>9}{'share':>9}")
    total = [0, 0]
    for name, (lines, covered) in sorted(rooms.items()):
        print(f"{name:<14}{lines:>8}{covered:>9}{100 * covered / lines:>8.1f} %")
        total = [total[0] + lines, total[1] + covered]
    print(f"{'all of core':<14}{total[0]:>8}{total[1]:>9}{100 * total[1] / max(total[0], 1):>8.1f} %")


main(*sys.argv[1:])
