# SPDX-License-Identifier: MIT
"""Random changes of tables, of texts and of files; the same generator gives the same changes."""

import copy
import datetime
import json
import os
import re
import shutil

NUMBERS = (0, -1, 1, 3, 0.5, 1e5, -1e300, 1e300, 1e-300, float("nan"), float("inf"), 2**31, 10**15, 10**400)
TEXTS = (
    *("", "x", "0 mm", "-5 mm", "1e300 mm", "1e-300 mm", "nan mm", "inf Pa", "1 N", "5 kV", "1 s", "30 deg"),
    *("1 mm**9**9**9", "1 " + "mm*" * 200 + "mm", "1,5 mm", "1 mm/0", "mm", "1 1 mm", "1_0 mm", "µ" * 300),
    *("a\0b", "../../x", "/dev/zero", "x" * 5000, "\u202e\U0001f600", "%s{0}", "all", "solid", "(" * 300),
    *("9**9**9", "rad + 1", "__import__('os')", "1/0"),
)
KEYS = ("", "x", "kind", "name", "from", "values", "a.b", "-", "é", "key" * 100)


def others(random):
    """Values of another type than any key has."""
    deep = []
    for _ in range(random.choice((3, 19, 60))):
        deep = [deep]
    return random.choice((True, False, [], {}, [[]], {"a": 1}, deep, datetime.date(2020, 2, 29), [1, "x"]))


def value(random):
    return random.choice((random.choice(NUMBERS), random.choice(TEXTS), others(random)))


def places(tables):
    """All pairs of a table or list and a key in it."""
    found, waiting = [], [tables]
    while waiting:
        holder = waiting.pop()
        keys = list(holder) if isinstance(holder, dict) else range(len(holder))
        found += [(holder, key) for key in keys]
        waiting += [holder[key] for key in keys if isinstance(holder[key], dict | list)]
    return found


def drop(tables, random):
    holder, key = random.choice(places(tables))
    del holder[key]


def replace(tables, random):
    holder, key = random.choice(places(tables))
    holder[key] = value(random)


def swap(tables, random):
    (first, a), (second, b) = random.choice(places(tables)), random.choice(places(tables))
    first[a], second[b] = copy.deepcopy(second[b]), copy.deepcopy(first[a])


def copy_to(tables, random):
    (first, a), (second, b) = random.choice(places(tables)), random.choice(places(tables))
    second[b] = copy.deepcopy(first[a])


def rename(tables, random):
    holder, key = random.choice(places(tables))
    if isinstance(holder, dict):
        holder[random.choice((*KEYS, key[:-1], key.upper(), key + " "))] = holder.pop(key)


def repeat(tables, random):
    lists = [holder[key] for holder, key in places(tables) if isinstance(holder[key], list)]
    if lists:
        chosen = random.choice(lists)
        chosen += copy.deepcopy(chosen[: random.choice((1, 50))]) * random.choice((1, 2, 100))


def nest(tables, random):
    holder, key = random.choice(places(tables))
    holder[key] = random.choice(([holder[key]], {"x": holder[key]}, {str(key): holder[key]}))


def scale(tables, random):
    """Multiply a number, with or without a unit, by a power of ten."""
    factor = 10.0 ** random.choice((-9, -6, -3, -1, 1, 3, 6, 9)) * random.choice((1, 1, -1))
    holder, key = random.choice(places(tables))
    number = holder[key]
    if isinstance(number, str) and (match := re.match(r"\s*-?[\d.]+", number)):
        holder[key] = f"{float(match[0]) * factor:g}{number[match.end() :]}"
    elif isinstance(number, int | float) and not isinstance(number, bool):
        holder[key] = number * factor


STRUCTURED = (drop, replace, replace, swap, copy_to, rename, repeat, nest, scale, scale)


def changed_tables(tables, random):
    """Return changed tables; both may be nested in any way."""
    tables = copy.deepcopy(tables)
    for _ in range(random.choice((1, 1, 2, 3))):
        if places(tables):
            random.choice(STRUCTURED)(tables, random)
    return tables


def changed_bytes(content, random):
    """Return changed bytes of a text."""
    for _ in range(random.choice((1, 1, 2, 4))):
        content = random.choice(RAW)(content, random)
    return content


def _lines(change):
    def changed(content, random):
        lines = content.split(b"\n")
        change(lines, random.randrange(len(lines)), random.randrange(len(lines)))
        return b"\n".join(lines)

    return changed


def _swap_lines(lines, i, j):
    lines[i], lines[j] = lines[j], lines[i]


def _span(content, random):
    start = random.randrange(len(content) + 1)
    return start, min(len(content), start + random.choice((1, 5, 100, 5000)))


def cut(content, random):
    return content[: random.randrange(len(content) + 1)]


def remove_span(content, random):
    start, end = _span(content, random)
    return content[:start] + content[end:]


def repeat_span(content, random):
    start, end = _span(content, random)
    return content[:start] + content[start:end] * random.choice((2, 30, 1000)) + content[end:]


def insert(content, random):
    start, _ = _span(content, random)
    added = random.choice(
        (random.randbytes(8), b"\0", b'"', b"'''", b"[", b"]", b"{", b"#", b"=", b",", b"\xff")
    )
    return content[:start] + added * random.choice((1, 1, 30, 3000)) + content[start:]


def flip(content, random):
    changed = bytearray(content)
    for _ in range(random.choice((1, 10)) if changed else 0):
        changed[random.randrange(len(changed))] ^= 1 << random.randrange(8)
    return bytes(changed)


def encode(content, random):
    text = content.decode(errors="replace")
    return random.choice(
        (
            text.encode("utf-16"),
            b"\xef\xbb\xbf" + content,
            text.replace("\n", "\r\n").encode(),
            text.replace("\n", "\r").encode(),
            text.replace("a", "ä").encode("latin-1", errors="replace"),
        )
    )


def other_number(content, random):
    numbers = list(re.finditer(rb"-?\d+\.?\d*(e-?\d+)?", content))
    if not numbers:
        return content
    match = random.choice(numbers)
    new = random.choice(
        (b"0", b"-1", b"1e308", b"1e-308", b"nan", b"inf", b"9" * 5000, b"1e999", b"0x1", b"1_0", b"")
    )
    return content[: match.start()] + new + content[match.end() :]


def empty(content, random):
    return b""


RAW = (
    *(_lines(lambda lines, i, j: lines.pop(i)), _lines(lambda lines, i, j: lines.insert(j, lines[i]))),
    *(_lines(_swap_lines), cut, remove_span, repeat_span, insert, flip, encode, other_number, other_number),
    empty,
)


def damage(path, random):
    """Damage a file on the disk."""
    match random.randrange(8):
        case 0:
            path.unlink()
        case 1:
            path.unlink()
            random.choice((path.mkdir, lambda: os.mkfifo(path), lambda: path.symlink_to("/dev/zero")))()
        case 2 if path.suffix == ".json":
            changed = changed_tables(json.loads(path.read_text()), random)
            path.write_text(json.dumps(changed, default=str))
        case 3:
            shutil.copy(
                random.choice([p for p in path.parent.iterdir() if p.is_file()]), path.with_name("other")
            )
            path.with_name("other").replace(path)
        case _:
            path.write_bytes(changed_bytes(path.read_bytes(), random))
