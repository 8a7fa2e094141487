"""Code and catalogue agree, and no code reads a text again."""

import ast
import re

import pytest
from support.places import ROOT

from analysis.messages import catalogue
from analysis.messages.catalogue import CATALOGUE
from analysis.messages.message import fields

ROOMS = [path for room in ("analysis", "dashboard") for path in sorted((ROOT / room).rglob("*.py"))]


def calls():
    """(file, line, code, names of the values) of every message that the program makes."""
    for path in ROOMS:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "message":
                code = node.args[0]
                assert isinstance(code, ast.Constant), (
                    f"{path}:{node.lineno}: the code is no literal"
                )
                yield path, node.lineno, code.value, {k.arg for k in node.keywords}


def test_every_message_has_a_template_and_gives_it_all_its_values():
    for path, line, code, names in calls():
        assert code in CATALOGUE, f"{path}:{line}: {code}"
        assert None in names or fields(code) <= names, f"{path}:{line}: {code} needs {fields(code)}"


def test_no_code_stands_twice():
    tables = [table for name, table in vars(catalogue).items() if re.fullmatch("_[A-Z]+", name)]
    assert sum(map(len, tables)) == len(CATALOGUE)


def test_every_code_of_the_catalogue_is_said_somewhere():
    assert set(CATALOGUE) == {code for _, _, code, _ in calls()}


def test_codes_are_words_and_levels_are_three():
    for code, template in CATALOGUE.items():
        assert re.fullmatch(r"[a-z][a-z0-9]*(_[a-z0-9]+)*", code)
        assert template.level in ("info", "caution", "stop")


TEXTS = {"text", "why", "why_not", "warning", "warnings", "verdict", "because", "label", "labels",
         "note", "notes"}  # fmt: skip


READS = {"startswith", "endswith", "partition", "rpartition", "split", "rsplit", "splitlines", "removeprefix",
         "removesuffix", "replace", "find", "index", "count", "translate"}  # fmt: skip


# file: why it may read a text
MAY_READ = {
    "dashboard/check_page/sensors_lines.py": "a table of the sensors file, for what a person wrote there",
    "dashboard/export/notes_file.py": "a note that a person wrote, by its lines",
    "dashboard/sessions_page/result_page.py": "a note that a person wrote, by its lines",
    "dashboard/watch/replay_copy.py": "text of the files of rig and sensors, which it copies as TOML",
}


def texts_in(node, names):
    """Whether an expression holds a text for people, by the names of its attributes, keys, variables."""
    for inner in ast.walk(node):
        if isinstance(inner, ast.Attribute) and inner.attr in TEXTS:
            return True
        if isinstance(inner, ast.Subscript) and getattr(inner.slice, "value", None) in TEXTS:
            return True
        if isinstance(inner, ast.Name) and inner.id in names:
            return True
    return False


def named_so(function):
    """Variables of a function that hold such a text: by their name (`text` may be a file's), or
    because they come from one."""
    names = TEXTS - {"text"}
    pairs = [
        (n.target, n.iter) for n in ast.walk(function) if isinstance(n, ast.For | ast.comprehension)
    ]
    pairs += [(n.target, n.value) for n in ast.walk(function) if isinstance(n, ast.NamedExpr)]
    pairs += [
        (t, n.value) for n in ast.walk(function) if isinstance(n, ast.Assign) for t in n.targets
    ]
    for _ in range(3):
        for target, value in pairs:
            if texts_in(value, names):
                names = names | {n.id for n in ast.walk(target) if isinstance(n, ast.Name)}
    return names


def reads(tree):
    """(line, what) of every place where a function cuts, searches or compares a piece of such a text."""
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef | ast.Lambda):
            continue
        names = named_so(function)
        for node in ast.walk(function):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                of, method = node.func.value, node.func.attr
                if method in READS and texts_in(of, names):
                    yield node.lineno, ast.unparse(node)
                if getattr(of, "id", "") == "re" and any(texts_in(a, names) for a in node.args):
                    yield node.lineno, ast.unparse(node)
            if isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.In | ast.NotIn):
                literal = isinstance(node.left, ast.Constant) and isinstance(node.left.value, str)
                if literal and texts_in(node.comparators[0], names):
                    yield node.lineno, ast.unparse(node)


@pytest.mark.parametrize(
    ("code", "seen"),
    [
        ("def f(v): return v['verdict'].partition(': ')", True),
        ("def f(e):\n t = e.text\n return t.split(':')", True),
        ("def f(ws): return [w for w in ws.warnings if w.startswith('NO')]", True),
        ("def f(e): return re.search('N', e.label)", True),
        ("def f(e): return 'Mind' in e.why_not", True),
        ("def f(text): return text.split(',')", False),
        ("def f(e): return e.name.split(',') and 'why_not' in e", False),
    ],
)
def test_the_search_finds_what_reads_a_text(code, seen):
    assert bool([*reads(ast.parse(code))]) == seen


def test_no_code_reads_a_text_again():
    found = {}
    for path in ROOMS:
        lines = [f"{line}: {what}" for line, what in reads(ast.parse(path.read_text("utf-8")))]
        if lines:
            found[str(path.relative_to(ROOT))] = sorted(set(lines))
    assert {name: lines for name, lines in found.items() if name not in MAY_READ} == {}
    assert set(MAY_READ) == found.keys() & MAY_READ.keys(), (
        "an exception that is not needed any more"
    )
