# SPDX-License-Identifier: MIT
"""Damaged copies of small scan files; ``python tests/compare/scan_mutants.py 10000 1`` reads many of them."""

import random
import re
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

import numpy as np
from scan_files import write_small_files

from annelid.compare.scans.reading import SUFFIXES, read_scan
from annelid.geometry.errors import InputError

NUMBERS = (b"0", b"-1", b"nan", b"inf", b"1e300", b"-1e308", b"1e-300", b"1000000000", b"9" * 20, b"x")
WORDS = (
    *(b"end_header", b"property list int int vertex_indices\n", b"element face 5\n", b"endsolid", b"solid"),
    *(b"<DataArray>", b'format="ascii"', b"\n\n\n", b"comment TextureFile x.png\n", b"\0" * 9, b"PK\x03\x04"),
    *(b"f ", b"v ", b"#", b"mtllib ../x\n"),
)
RARELY = 0.1  # of the mutants of VTP files are read, each of which starts a process


def cut(content, choose):
    return content[: choose.randrange(len(content) + 1)]


def drop(content, choose):
    start = choose.randrange(len(content))
    return content[:start] + content[start + choose.choice((1, 4, 50, 1000)) :]


def flip(content, choose):
    changed = bytearray(content)
    for _ in range(choose.choice((1, 3, 30))):
        changed[choose.randrange(len(changed))] = choose.randrange(256)
    return bytes(changed)


def junk(content, choose):
    start = choose.randrange(len(content))
    return content[:start] + choose.randbytes(choose.choice((1, 7, 300))) + content[start:]


def number(content, choose):
    """Change a number, mostly of the header."""
    found = list(re.finditer(rb"-?\d[\d.e+-]*", content))
    if not found:
        return content
    match = choose.choice(found[: choose.choice((8, len(found)))])
    return content[: match.start()] + choose.choice(NUMBERS) + content[match.end() :]


def word(content, choose):
    start = choose.randrange(min(len(content), choose.choice((400, len(content)))))
    return content[:start] + choose.choice(WORDS) + content[start:]


def repeat(content, choose):
    a, b = sorted(choose.randrange(len(content)) for _ in range(2))
    return content[:b] + content[a:b] * choose.choice((1, 5)) + content[b:]


def lines(content, choose):
    rows = content.split(b"\n")
    choose.shuffle(rows)
    return b"\n".join(rows)


MUTATIONS = (cut, drop, flip, junk, number, number, word, repeat, lines)


def mutants(count, seed, folder):
    """Write mutants of the small files one after the other, and yield their paths."""
    choose = random.Random(seed)
    originals = write_small_files(folder)
    for _ in range(count):
        source = choose.choice(originals)
        while source.suffix == ".vtp" and choose.random() > RARELY:
            source = choose.choice(originals)
        content = source.read_bytes()
        for _ in range(choose.choice((1, 1, 2, 4))):
            content = choose.choice(MUTATIONS)(content, choose) or b" "
        suffix = choose.choice(SUFFIXES) if choose.random() < 0.05 else source.suffix
        if suffix == ".vtp" and source.suffix != ".vtp":
            suffix = ".ply"
        mutant = folder / f"mutant{suffix}"
        mutant.write_bytes(content)
        yield mutant, source.name


def read_mutants(count, seed, folder):
    """Return how many mutants were read and refused, the sentences, and the tracebacks."""
    counts, sentences, failures = Counter(), Counter(), []
    for mutant, source in mutants(count, seed, folder):
        start = time.perf_counter()
        try:
            cloud = read_scan(mutant, unit="mm")
            assert np.isfinite(cloud.points).all()
            assert cloud.faces is None or cloud.faces.max() < len(cloud.points)
            counts["read"] += 1
        except InputError as error:
            counts["refused"] += 1
            sentences[re.sub(r"[\d.e+-]*\d", "#", error.message.replace(str(mutant), mutant.suffix))] += 1
        except BaseException:
            kept = folder / f"failure{len(failures)}{mutant.suffix}"
            mutant.rename(kept)
            failures.append(f"{kept} of {source}\n{traceback.format_exc()}")
        counts["slowest"] = max(counts["slowest"], round(1000 * (time.perf_counter() - start)))
    return counts, sentences, failures


def main(count, seed):
    folder = Path(tempfile.mkdtemp())
    counts, sentences, failures = read_mutants(count, seed, folder)
    print("\n".join(failures))
    for sentence, number_of in sentences.most_common():
        print(f"{number_of:6d} {sentence[:160]}")
    print(
        f"{counts['read']} read, {counts['refused']} refused, {len(failures)} failures in {folder}, ", end=""
    )
    print(f"slowest {counts['slowest']} ms")
    return min(len(failures), 1)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
