# SPDX-License-Identifier: MIT
"""Formulas of a study: arithmetic on quantities with units.

A formula is parsed into its syntax tree, and only the kinds of nodes listed here are evaluated. So a formula
can neither read an attribute, nor call another function, nor run without end.
"""

import ast
import math
import operator
from collections.abc import Callable, Mapping
from typing import Any

from annelid.cases.studies.values import Value, format_value, to_quantity
from annelid.cases.validate.messages import not_one_of
from annelid.geometry.errors import InputError

__all__ = ["evaluate"]

_MAX_NODES, _MAX_POWER, _LARGEST_BASE = 100, 10.0, 10**6
_BINARY: dict[type[ast.operator], Callable[[Any, Any], Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.FloorDiv: operator.floordiv,
    ast.Mod: operator.mod,
}
_UNARY: dict[type[ast.unaryop], Callable[[Any], Any]] = {ast.UAdd: operator.pos, ast.USub: operator.neg}
_NUMBER_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "exp": math.exp,
    "log": math.log,
    "sin": math.sin,
    "cos": math.cos,
    "tan": math.tan,
    "round": lambda x: float(round(x)),
    "floor": lambda x: float(math.floor(x)),
    "ceil": lambda x: float(math.ceil(x)),
}
_QUANTITY_FUNCTIONS: dict[str, Callable[..., Any]] = {
    "abs": abs,
    "min": min,
    "max": max,
    "sqrt": lambda x: x**0.5,
}


class _FormulaError(Exception):
    """A formula is not allowed; the text states why."""


def evaluate(formula: str, names: Mapping[str, Value], *, key: str = "formula") -> Value:
    """Evaluate a formula.

    Args:
        formula: For example ``"sheets * sheet_thickness"``.
        names: Values by name, as a case file writes them: ``"45 um"``, ``4``, ``0.9``.
        key: Name of the formula in messages.

    Returns:
        The value as a case file writes it; an integer if the operands are integers or results of ``round``,
        ``floor`` or ``ceil``.

    Raises:
        InputError: The formula contains anything but arithmetic, an unknown name, or incompatible units.
    """
    import pint

    try:
        tree = ast.parse(formula.strip(), mode="eval")
        if sum(1 for _ in ast.walk(tree)) > _MAX_NODES:
            raise _FormulaError("is too long; split it into several formulas")
        return format_value(_value(tree.body, names))
    except SyntaxError:
        reason = "is not valid arithmetic; write for example sheets * thickness"
    except _FormulaError as error:
        reason = str(error)
    except pint.DimensionalityError as error:
        reason = f"mixes incompatible units: {error}"
    except OverflowError:
        reason = "is out of range"
    except (ArithmeticError, ValueError, TypeError) as error:
        reason = f"cannot be evaluated: {error}"
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
            return _look_up(name, names)
        case ast.UnaryOp(op=sign, operand=inner) if type(sign) in _UNARY:
            return _UNARY[type(sign)](_value(inner, names))
        case ast.BinOp(left=left, op=ast.Pow(), right=right):
            return _power(_value(left, names), _to_number(_value(right, names)))
        case ast.BinOp(left=left, op=sign, right=right) if type(sign) in _BINARY:
            return _BINARY[type(sign)](_value(left, names), _value(right, names))
        case ast.Call(func=ast.Name(id=name), args=arguments, keywords=[]):
            return _call(name, [_value(argument, names) for argument in arguments])
    raise _FormulaError(f"may contain only arithmetic, not {type(node).__name__}")


def _look_up(name: str, names: Mapping[str, Value]) -> Any:
    if name not in names:
        raise _FormulaError(not_one_of(name, sorted(names), what="a name of this study"))
    found = to_quantity(names[name])
    if found is None:
        raise _FormulaError(f'uses {name}, which is the text "{names[name]}" and not a quantity')
    return found


def _call(name: str, arguments: list[Any]) -> Any:
    known = sorted([*_NUMBER_FUNCTIONS, *_QUANTITY_FUNCTIONS])
    if name not in known:
        raise _FormulaError(not_one_of(name, known, what="a function of formulas"))
    if not arguments or (name not in ("min", "max") and len(arguments) != 1):
        raise _FormulaError(f"passes {len(arguments)} values to {name}; it takes one")
    if name in _NUMBER_FUNCTIONS:
        result = _NUMBER_FUNCTIONS[name](_to_number(arguments[0]))
        return int(result) if name in ("round", "floor", "ceil") else result
    return (
        _QUANTITY_FUNCTIONS[name](arguments)
        if name in ("min", "max")
        else _QUANTITY_FUNCTIONS[name](*arguments)
    )


def _power(base: Any, exponent: float) -> Any:
    if abs(exponent) > _MAX_POWER:
        raise _FormulaError(f"has the exponent {exponent:g}; allowed: -{_MAX_POWER:g} to {_MAX_POWER:g}")
    if isinstance(base, int) and abs(base) > _LARGEST_BASE:  # powers of integers grow without limit
        base = float(base)
    return base**exponent


def _to_number(value: Any) -> float:
    """A dimensionless number; a ratio such as millimetres over micrometres is one too."""
    if hasattr(value, "to"):
        value = value.to("dimensionless").magnitude
    return value if isinstance(value, int) else float(value)
