"""Read a law given as text, such as "0.12 + 0.45/d": arithmetic in d, and no more."""

from __future__ import annotations

import ast
import math
import operator
from collections.abc import Callable

from meshcomp.errors import OptionError

__all__ = ["parse_law"]

_OPERATIONS: dict[type[ast.AST], Callable[..., float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
    ast.USub: operator.neg,
    ast.UAdd: operator.pos,
}
_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "sqrt": math.sqrt,
    "log": math.log,
    "exp": math.exp,
}
_LONGEST = 200


def parse_law(text: str) -> Callable[[float], float]:
    """Return the function of a diameter d that a text states.

    Parameters
    ----------
    text : str
        Numbers, d, + - * / ** and brackets, sqrt, log, exp.

    Raises
    ------
    OptionError
        If the text is anything else, or has no finite value at a diameter asked for.

    Examples
    --------
    >>> round(parse_law("0.12 + 0.45/d")(9.0), 9)
    0.17
    """
    if len(text) > _LONGEST:
        raise OptionError(f"the law has {len(text)} characters: {_LONGEST} are the most")
    try:
        tree = ast.parse(text.strip().replace("^", "**"), mode="eval").body
    except SyntaxError as error:
        raise OptionError(f"the law {text!r} cannot be read: {error.msg}") from error
    _check(tree, text)

    def law(diameter: float) -> float:
        try:
            value = float(_value(tree, diameter))
        except (ArithmeticError, ValueError, TypeError) as error:
            raise OptionError(
                f"the law {text!r} fails at d = {diameter:g} mm: {error}"
            ) from error
        if not math.isfinite(value):
            raise OptionError(f"the law {text!r} is not finite at d = {diameter:g} mm")
        return value

    return law


def _check(node: ast.AST, text: str) -> None:
    """Refuse what is not plain arithmetic in d."""
    allowed = (
        (isinstance(node, ast.Constant) and type(node.value) in {int, float})
        or (isinstance(node, ast.Name) and node.id == "d")
        or (isinstance(node, ast.BinOp) and type(node.op) in _OPERATIONS)
        or (isinstance(node, ast.UnaryOp) and type(node.op) in _OPERATIONS)
        or _is_known_call(node)
    )
    if not allowed:
        raise OptionError(
            f"the law {text!r} may hold numbers, d, + - * / ** ( ), sqrt, log and exp only"
        )
    children = node.args if isinstance(node, ast.Call) else ast.iter_child_nodes(node)
    for child in children:
        if isinstance(child, ast.expr):
            _check(child, text)


def _is_known_call(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in _FUNCTIONS
        and len(node.args) == 1
        and not node.keywords
    )


def _value(node: ast.expr, d: float) -> float:
    if isinstance(node, ast.Constant):
        return float(str(node.value))
    if isinstance(node, ast.BinOp):
        return _OPERATIONS[type(node.op)](_value(node.left, d), _value(node.right, d))
    if isinstance(node, ast.UnaryOp):
        return _OPERATIONS[type(node.op)](_value(node.operand, d))
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        return _FUNCTIONS[node.func.id](_value(node.args[0], d))
    return d
