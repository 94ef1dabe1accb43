"""Which addresses OSC patterns stand for, by Python's fnmatch.

OSC 1.0's ?, *, [a-d] and [!a-d] within one part of an address are fnmatch's; a list {one,two} is written out first.

Usage: python tests/oracle/osc.py tests/data/osc_patterns.csv
"""

import itertools
import sys
from fnmatch import fnmatchcase

PIECES = ["a", "b", "?", "*", "[ab]", "[!a]", "[a-c]", "{a,ba}", "{ab,b}", "-"]
PARTS = ["a", "b", "c", "ab", "ba", "aab", "bba", "abab", "a-b", "cab"]


def lists_written_out(pattern):
    begin = pattern.find("{")
    if begin < 0:
        return [pattern]
    end = pattern.index("}", begin)
    words = pattern[begin + 1 : end].split(",")
    return [p for word in words for p in lists_written_out(pattern[:begin] + word + pattern[end + 1 :])]


def matches(pattern, address):
    patterns, parts = pattern.split("/"), address.split("/")
    return len(patterns) == len(parts) and all(
        any(fnmatchcase(part, p) for p in lists_written_out(pattern)) for pattern, part in zip(patterns, parts)
    )


def main(path):
    with open(path, "w") as out:
        out.write("pattern|addresses that it stands for\n")
        for pieces in itertools.product(PIECES, repeat=3):
            pattern = "/" + "".join(pieces)
            found = [f"/{part}" for part in PARTS if matches(pattern, f"/{part}")]
            out.write(f"{pattern}|{' '.join(found)}\n")
        for one, two in itertools.product(PIECES, repeat=2):
            pattern = f"/x/{one}/{two}a"
            addresses = [f"/x/{a}/{b}" for a in PARTS[:4] for b in PARTS[:6]] + ["/x/a", "/x/a/a/a"]
            found = [a for a in addresses if matches(pattern, a)]
            out.write(f"{pattern}|{' '.join(found)}\n")


if __name__ == "__main__":
    main(sys.argv[1])
