# SPDX-License-Identifier: MIT
"""Formulas of a study: arithmetic on quantities with units, and nothing else.

A formula is parsed into its syntax tree; only the kinds of nodes listed here are walked, so no formula can
name an attribute, call anything but the few functions, or take for ever.
"""

import ast
import math
import operator
from collections.abc import Callable, Mapping
from typing import Any

from annelid.cases.studies.values import Value, quantity, written
from annelid.cases.validate.messages import one_of
from annelid.geometry.errors import InputError

__all__ = ["evaluate"]

_MOST_NODES, _LARGEST_POWER = 100, 10.0
_TWO: dict[type[ast.operator], Callable[[Any, Any], Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.FloorDiv: operator.floordiv,
    ast.Mod: operator.mod,
}
_ONE: dict[type[ast.unaryop], Callable[[Any], Any]] = {ast.UAdd: operator.pos, ast.USub: operator.neg}
_PLAIN: dict[str, Callable[[float], float]] = {
    "exp": math.exp,
    "log": math.log,
    "sin": math.sin,
    "cos": math.cos,
    "tan": math.tan,
    "round": lambda x: float(round(x)),
    "floor": lambda x: float(math.floor(x)),
    "ceil": lambda x: float(math.ceil(x)),
}
_ANY: dict[str, Callable[..., Any]] = {"abs": abs, "min": min, "max": max, "sqrt": lambda x: x**0.5}


class _Refused(Exception):
    """Something in a formula that is not allowed; the text says what."""


def evaluate(formula: str, names: Mapping[str, Value], *, key: str = "formula") -> Value:
    """Evaluate a formula.

    Args:
        formula: For example ``"sheets * sheet_thickness"``.
        names: Values by name, as a case file writes them: ``"45 um"``, ``4``, ``0.9``.
        key: What the formula is called in messages.

    Returns:
        The value as a case file writes it; a whole number where only whole numbers went in or out of
        ``round``, ``floor`` and ``ceil``.

    Raises:
        InputError: The formula holds anything but arithmetic, names that are unknown, or units that do
            not fit together.
    """
    import pint

    try:
        tree = ast.parse(formula.strip(), mode="eval")
        if sum(1 for _ in ast.walk(tree)) > _MOST_NODES:
            raise _Refused("is too long; split it into several")
        return written(_value(tree.body, names))
    except SyntaxError:
        reason = "cannot be read; write arithmetic such as sheets * thickness"
    except _Refused as error:
        reason = str(error)
    except pint.DimensionalityError as error:
        reason = f"mixes units that do not fit: {error}"
    except (ArithmeticError, ValueError, TypeError) as error:
        reason = f"has no value: {error}"
    except (RecursionError, MemoryError):
        reason = "is nested too deeply"
    raise InputError(f'{key}: "{formula}" {reason}', key=key, value=formula)


def _value(node: ast.expr, names: Mapping[str, Value]) -> Any:
    match node:
        case ast.Constant(value=int() | float()) if not isinstance(node.value, bool):
            return node.value
        case ast.Name(id="pi"):
            return math.pi
        case ast.Name(id=name):
            return _named(name, names)
        case ast.UnaryOp(op=sign, operand=inner) if type(sign) in _ONE:
            return _ONE[type(sign)](_value(inner, names))
        case ast.BinOp(left=left, op=ast.Pow(), right=right):
            return _power(_value(left, names), _plain(_value(right, names)))
        case ast.BinOp(left=left, op=sign, right=right) if type(sign) in _TWO:
            return _TWO[type(sign)](_value(left, names), _value(right, names))
        case ast.Call(func=ast.Name(id=name), args=arguments, keywords=[]):
            return _called(name, [_value(argument, names) for argument in arguments])
    raise _Refused(f"may hold arithmetic only, not {type(node).__name__}")


def _named(name: str, names: Mapping[str, Value]) -> Any:
    if name not in names:
        raise _Refused(one_of(name, sorted(names), what="a name of this study"))
    found = quantity(names[name])
    if found is None:
        raise _Refused(f'uses {name}, which is the word "{names[name]}" and no quantity')
    return found


def _called(name: str, arguments: list[Any]) -> Any:
    known = sorted([*_PLAIN, *_ANY])
    if name not in known:
        raise _Refused(one_of(name, known, what="a function of formulas"))
    if not arguments or (name not in ("min", "max") and len(arguments) != 1):
        raise _Refused(f"gives {name} {len(arguments)} values instead of one")
    if name in _PLAIN:
        result = _PLAIN[name](_plain(arguments[0]))
        return int(result) if name in ("round", "floor", "ceil") else result
    return _ANY[name](arguments) if name in ("min", "max") else _ANY[name](*arguments)


def _power(base: Any, exponent: float) -> Any:
    if abs(exponent) > _LARGEST_POWER:
        raise _Refused(f"has the power {exponent:g}; allowed: -{_LARGEST_POWER:g} to {_LARGEST_POWER:g}")
    return base**exponent


def _plain(value: Any) -> float:
    """A number without unit; millimetres over micrometres are one too."""
    if hasattr(value, "to"):
        value = value.to("dimensionless").magnitude
    return value if isinstance(value, int) else float(value)
