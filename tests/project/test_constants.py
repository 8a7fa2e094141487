"""Every number that steers a result says where it comes from."""

import ast
import io
import re
import tokenize

import pytest
from support.places import ROOT

PACKAGES = ("analysis/*", "logger", "logger/calibration", "logger/recorder", "logger/session")
FILES = [path for package in PACKAGES for path in sorted(ROOT.glob(f"{package}/*.py"))]
NAME = re.compile(r"_?[A-Z][A-Z0-9_]*")
# what a comment may give: a source, a derivation, whose choice it is, or that no result hangs on it
REASON = re.compile(
    r"source|interface section \d|\b(?:ISO|IEC|ASTM|JCGM)\b|derived|definition"
    r"|chosen by us|speed only|memory only|rounding only|\bindex\b",
    re.IGNORECASE,
)


def is_number(node, others):
    """Whether an expression is made of numbers, and of constants that are none of `others`, alone."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, int | float) and not isinstance(node.value, bool)
    if isinstance(node, ast.UnaryOp):
        return is_number(node.operand, others)
    if isinstance(node, ast.BinOp):
        return is_number(node.left, others) and is_number(node.right, others)
    if isinstance(node, ast.Tuple):
        return bool(node.elts) and all(is_number(one, others) for one in node.elts)
    if isinstance(node, ast.Call):
        made = ast.unparse(node.func)
        return made.startswith("math.") and all(is_number(one, others) for one in node.args)
    return isinstance(node, ast.Name) and bool(NAME.fullmatch(node.id)) and node.id not in others


def numeric_constants(tree):
    """(names, first line, last line) of each assignment of numbers in a module's own body."""
    others = set()
    for node in tree.body:
        if isinstance(node, ast.Assign):
            targets = node.targets
        elif isinstance(node, ast.AnnAssign) and node.value:
            targets = [node.target]
        else:
            continue
        names = [n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name)]
        if names and all(map(NAME.fullmatch, names)) and is_number(node.value, others):
            yield names, node.lineno, node.end_lineno
        else:
            others.update(names)


def comments_for(text, tree, names, first, last):
    """The comments at these lines and right above, and any block or docstring that names a constant."""
    lines = text.splitlines()
    at = {
        token.start[0]: token.string
        for token in tokenize.generate_tokens(io.StringIO(text).readline)
        if token.type == tokenize.COMMENT
    }
    blocks, above = [], []
    for number, line in enumerate(lines, 1):
        if line.startswith("#"):
            above.append(at[number])
            continue
        if above:
            block = " ".join(above)
            if number == first or any(re.search(rf"\b{name}\b", block) for name in names):
                blocks.append(block)
        above = []
    beside = [at[k] for k in range(first, last + 1) if k in at]
    docstring = ast.get_docstring(tree) or ""
    named = [docstring] if any(re.search(rf"\b{name}\b", docstring) for name in names) else []
    return " ".join([*blocks, *beside, *named])


def without_reason(text):
    """Names of the numeric constants of a module that say nothing of where they come from."""
    tree = ast.parse(text)
    return [
        ", ".join(names)
        for names, first, last in numeric_constants(tree)
        if not REASON.search(comments_for(text, tree, names, first, last))
    ]


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_number_that_steers_a_result_says_where_it_comes_from(path):
    assert without_reason(path.read_text("utf-8")) == []


@pytest.mark.parametrize(
    ("text", "silent"),
    [
        ("LEAST_N = 2.0\n", ["LEAST_N"]),
        ("LEAST_N = 2.0  # forces below it are taken for none\n", ["LEAST_N"]),
        ("LEAST_N = 2.0  # chosen by us: less is noise\n", []),
        ("# common practice, no source\nA, B = 1, 2\n", []),
        ("# A, B: common practice, no source\n\nA = 1\nB = -2 * A\nC = 3\n", ["C"]),
        ('"""Sums.\n\nMOST follows from the interface section 4.\n"""\nMOST = 1 << 3\n', []),
        ('A = "a"\nNAMES = (A, "b")\nBOTH = (A, A)\nlower = 3\nFLAG = True\n', []),
    ],
)
def test_the_search_sees_a_constant_without_a_reason(text, silent):
    assert without_reason(text) == silent
