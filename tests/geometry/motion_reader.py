# SPDX-License-Identifier: MIT
"""An independent reader of motion code that returns nozzle tips in the frame of the part, for both machines.

Written from ISO 6983's grammar (from memory) and the machine's description in the program's comments: the
part's axis lies along X, A turns the part about X so that azimuth A comes to the top. It shares no code with
the writer.
"""

import math
import re

WORD = re.compile(r"([A-Z])([-+]?[0-9]*\.?[0-9]+)")
MODAL = {21, 90, 17, 40, 49}


def read(text):
    """Return the moves: dicts of axis words, rate, whether rapid and whether the nozzle is open."""
    lines = text.splitlines()
    assert lines[0] == lines[-1] == "%"
    axes, moves = {}, []
    motion, inverse, is_open, ended = None, False, False, False
    for line in lines[1:-1]:
        bare = re.sub(r"\([^()]*\)", "", line)
        assert "(" not in bare
        words = WORD.findall(bare)
        assert "".join(a + b for a, b in words) == bare.replace(" ", ""), line
        assert not ended
        rate, target = None, {}
        for letter, number in words:
            value = float(number)
            if letter == "G":
                if value in (0, 1):
                    motion = int(value)
                elif value in (93, 94):
                    inverse = value == 93
                else:
                    assert value in MODAL, line
            elif letter == "M":
                assert value in (8, 9, 30), line
                is_open, ended = (value == 8 if value != 30 else is_open), value == 30
            elif letter == "F":
                rate = value
            else:
                target[letter] = value
        if target:
            before, axes = axes, axes | target
            if motion == 1:
                assert inverse
                assert rate is not None, "each move in inverse time needs its own F"
            moves.append({"from": before, "to": axes, "rate": rate, "rapid": motion == 0, "open": is_open})
    assert ended
    assert not is_open
    return moves


def tip(axes):
    """Position of the tip of the nozzle in the frame of the part, which is rotated back by A."""
    x, y, z = axes["X"], axes.get("Y", 0.0), axes["Z"]
    a = math.radians(axes["A"])
    # Upright half plane of azimuth a: machine Z is its radial direction, machine Y = Z x X points clockwise.
    radial, clockwise = (math.cos(a), math.sin(a)), (math.sin(a), -math.cos(a))
    return (z * radial[0] + y * clockwise[0], z * radial[1] + y * clockwise[1], x)


def nozzle(axes):
    """Direction from the surface to the nozzle in the frame of the part."""
    a, b = math.radians(axes["A"]), math.radians(axes.get("B", 0.0))
    return (math.cos(b) * math.cos(a), math.cos(b) * math.sin(a), math.sin(b))


def between(move, share):
    """Axis positions at a fraction of a move, in which all axes move proportionally."""
    return {k: move["from"][k] + share * (v - move["from"][k]) for k, v in move["to"].items()}
