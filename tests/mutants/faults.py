"""Small faults of one place each, found in a source's text: what a tired hand might have typed."""

import ast
import io
import random
import re
import tokenize
from collections.abc import Iterator
from dataclasses import dataclass

PYTHON = {
    "<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==", "+": "-", "-": "+",
    "*": "/", "/": "*", "and": "or", "or": "and", "True": "False", "False": "True",
    "is": "is not", "in": "not in", "min": "max", "max": "min", "any": "all", "all": "any",
    "+=": "-=", "-=": "+=",
}  # fmt: skip
C = {
    "<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==", "&&": "||", "||": "&&",
    "true": "false", "false": "true", "+=": "-=", "-=": "+=",
}  # fmt: skip
SYNTAX = re.compile(r"&&|\|\||[<>=!]=|<<|>>|->|[-+]=|\b(?:true|false)\b|(?<= )[<>](?= )")
NOT_CODE = re.compile(
    r"//.*|\"(?:\\.|[^\"\\])*\"|^#.*|\b(?:static_assert|template)\b.*", re.MULTILINE
)


@dataclass(frozen=True)
class Fault:
    """One fault: `was` at `start` of the text is replaced by `became`."""

    start: int
    line: int
    was: str
    became: str
    where: str  # the source's line, without its indent

    def made(self, text: str) -> str:
        """The text with the fault in it."""
        return text[: self.start] + self.became + text[self.start + len(self.was) :]


def chosen(text: str, language: str, most: int, seed: int = 1) -> list[Fault]:
    """At most so many of a text's faults, the same on every day, in order of place."""
    found = list(_python(text) if language == "py" else _c(text))
    drawn = random.Random(seed).sample(found, min(most, len(found)))
    return sorted(drawn, key=lambda fault: fault.start)


def _python(text: str) -> Iterator[Fault]:
    lines = text.splitlines(keepends=True)
    starts = [0]
    for line in lines:
        starts.append(starts[-1] + len(line))
    skipped = _no_code(ast.parse(text))
    tokens = list(tokenize.generate_tokens(io.StringIO(text).readline))
    for before, token, after in zip(tokens, tokens[1:], tokens[2:], strict=False):
        row, column = token.start
        if token.type not in (tokenize.NUMBER, tokenize.OP, tokenize.NAME) or row in skipped:
            continue
        if lines[row - 1].lstrip().startswith(("from ", "import ", "@", "def ")):
            continue
        became = _instead(before.string, token, after.string)
        if became is not None:
            yield Fault(starts[row - 1] + column, row, token.string, became, lines[row - 1].strip())


def _instead(before: str, token: tokenize.TokenInfo, after: str) -> str | None:
    if token.type == tokenize.NUMBER and before not in ("[", ":") and "j" not in token.string:
        return str(ast.literal_eval(token.string) + 1)
    if token.type not in (tokenize.OP, tokenize.NAME) or token.string not in PYTHON:
        return None
    if token.string in ("*", "-", "+") and not _is_operand(before):
        return None  # a sign, or arguments spread out
    if token.string == "/" and after in (")", ","):
        return None
    if token.string == "in" and (before == "not" or "for " in token.line):
        return None
    if token.string == "is" and after == "not":
        return None
    if token.string in ("min", "max", "any", "all") and after != "(":
        return None
    return PYTHON[token.string]


def _is_operand(text: str) -> bool:
    return text in (")", "]") or (text.isidentifier() and text not in ("return", "in", "and", "or",
        "not", "if", "else", "yield", "lambda", "print")) or text[:1].isdigit()  # fmt: skip


def _no_code(tree: ast.Module) -> set[int]:
    """Lines of docstrings, of annotations' own statements and of type aliases."""
    rows: set[int] = set()
    for node in ast.walk(tree):
        string = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        bare = isinstance(node, ast.AnnAssign) and node.value is None
        if (string or bare) and isinstance(node, ast.stmt):
            rows.update(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    return rows


def _c(text: str) -> Iterator[Fault]:
    blank = NOT_CODE.sub(lambda m: " " * len(m.group()), text)
    lines = text.splitlines()
    for found in SYNTAX.finditer(blank):
        if found.group() in C:
            row = text.count("\n", 0, found.start())
            yield Fault(found.start(), row + 1, found.group(), C[found.group()], lines[row].strip())
