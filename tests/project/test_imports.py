"""Which room and which layer may import from which, from the syntax trees; and what a call does not load."""

import ast
import os
import subprocess
import sys
import tomllib

import pytest
from support.channels import force
from support.places import ROOT
from support.waiting import long_enough

MAY = {
    "logger": {"logger"},
    "analysis": {"analysis", "logger"},
    "dashboard": {"dashboard", "analysis", "logger"},
}
HEAVY = ("pandas", "dash", "plotly", "scipy", "jinja2")
LAYERS = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["house"]["layers"]
MOST_MODULES = 16  # of a folder that one keeps in mind; `commands` has one a subcommand
FILES = [path for room in MAY for path in sorted((ROOT / room).rglob("*.py"))]


def imported(tree):
    """(line, module) of every import in a syntax tree, wherever it stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: relative import"
            yield node.lineno, node.module
            yield from ((node.lineno, f"{node.module}.{alias.name}") for alias in node.names)


def module_names(tree):
    """Functions, classes and imported names that a module's own body binds, also within try and if."""
    stack = list(tree.body)
    while stack:
        node = stack.pop()
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.Import | ast.ImportFrom):
            yield from (alias.asname or alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.If | ast.Try | ast.With):
            stack += [child for child in ast.iter_child_nodes(node) if isinstance(child, ast.stmt)]
            stack += [line for handler in getattr(node, "handlers", []) for line in handler.body]


def comprehension_variables(tree):
    """(line, name) of each variable of a comprehension, wherever it stands."""
    for node in ast.walk(tree):
        for part in getattr(node, "generators", []):
            for target in ast.walk(part.target):
                if isinstance(target, ast.Name):
                    yield target.lineno, target.id


def at_module_level(tree):
    """Modules imported when this module is: not inside functions, not for type checkers alone."""
    for node in tree.body:
        if isinstance(node, ast.Try):
            yield from (name for _, name in imported(node))
        elif isinstance(node, ast.Import | ast.ImportFrom):
            yield from (name for _, name in imported(ast.Module([node], [])))


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_run_dashboard_to_analysis_to_logger_and_never_back(path):
    room = path.relative_to(ROOT).parts[0]
    for line, module in imported(ast.parse(path.read_text("utf-8"))):
        top = module.split(".")[0]
        assert top not in MAY or top in MAY[room], f"line {line} imports {module}"


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_no_variable_of_a_comprehension_has_the_name_of_something_of_its_module(path):
    """Python 3.12.1 compiles such a comprehension into its function, and there takes the module's own
    name for an unset variable where another comprehension uses it (seen in `haul library`)."""
    tree = ast.parse(path.read_text("utf-8"))
    taken = set(module_names(tree))
    clashes = [
        f"line {line}: {name}" for line, name in comprehension_variables(tree) if name in taken
    ]
    assert clashes == []


def layer_of(room, package):
    """(number from the top, package) of a package or module that stands right below a room."""
    for number, names in enumerate(LAYERS[room]):
        if package in names:
            return number
    raise AssertionError(f"{room}/{package} stands in no layer of pyproject.toml")


def modules(path):
    """(line, room, package) of every import within the module's own room, packages alone."""
    room = path.relative_to(ROOT).parts[0]
    for line, module in imported(ast.parse(path.read_text("utf-8"))):
        parts = module.split(".")
        here = ROOT / room
        if (
            parts[0] == room
            and len(parts) > 1
            and ((here / parts[1]).is_dir() or (here / f"{parts[1]}.py").is_file())
        ):
            yield line, parts[1]


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_imports_from_its_own_package_or_from_layers_below(path):
    room, *way = path.relative_to(ROOT).with_suffix("").parts
    if way == ["__init__"]:
        return
    own = layer_of(room, way[0])
    for line, package in modules(path):
        if package != way[0]:
            below = layer_of(room, package)
            assert below > own, f"line {line}: {way[0]} imports {package}, which is not below it"


def test_every_package_stands_in_one_layer_and_no_layer_names_one_that_is_gone():
    for room, layers in LAYERS.items():
        there = {path.relative_to(ROOT).with_suffix("").parts[1] for path in FILES
                 if path.relative_to(ROOT).parts[0] == room} - {"__init__"}  # fmt: skip
        named = [name for layer in layers for name in layer]
        assert sorted(named) == sorted(there)


def test_no_folder_holds_more_modules_than_one_keeps_in_mind():
    folders = {path.parent for path in FILES} - {ROOT / "dashboard" / "commands"}
    full = {f: n for f in folders if (n := len(list(f.glob("*.py")))) > MOST_MODULES + 1}
    assert not full


def test_no_module_imports_itself_in_a_circle():
    names = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in FILES}
    graph = {
        name: {m for m in at_module_level(ast.parse(path.read_text("utf-8"))) if m in names}
        for name, path in names.items()
    }
    done: set[str] = set()

    def visit(name, path):
        assert name not in path, "circle: " + " > ".join([*path[path.index(name) :], name])
        if name not in done:
            for other in sorted(graph[name]):
                visit(other, [*path, name])
            done.add(name)

    for name in graph:
        visit(name, [])


def test_every_init_holds_a_docstring_only():
    for path in FILES:
        if path.name == "__init__.py":
            body = ast.parse(path.read_text("utf-8")).body
            assert [type(node) for node in body] == [ast.Expr], path


def loaded(argv):
    """Top-level names of the modules that a call of `haul` has loaded when it ends."""
    script = (
        "import sys\nfrom dashboard.cli import main\n"
        f"status = main({argv!r})\n"
        "print('LOADED', *{name.split('.')[0] for name in sys.modules})\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT, timeout=600,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    last = run.stdout.splitlines()[-1].split()
    assert last[0] == "LOADED", run.stderr
    return set(last[1:]), run


def test_predict_loads_nothing_that_it_does_not_need():
    names, _ = loaded(["predict", str(ROOT / "tests/project/interface/rig.toml")])
    assert "numpy" in names  # the check sees what is loaded
    assert names.isdisjoint({*HEAVY, "serial", "waitress"})


def test_help_loads_no_subcommand():
    names, run = loaded(["--help"])
    assert names.isdisjoint({*HEAVY, "serial", "numpy", "analysis"})
    from dashboard.cli import COMMANDS

    assert all(name in run.stdout for name in COMMANDS)


def test_a_recording_loads_no_tables_plots_or_pages(tmp_path):
    import socket

    sensors = tmp_path / "sensors.toml"
    with socket.create_server(("127.0.0.1", 0)) as server:
        sensors.write_text(
            force(f'port = "socket://127.0.0.1:{server.getsockname()[1]}"', "baud = 115200"),
            "utf-8",
        )
        rig = ROOT / "tests/project/interface/rig.toml"
        names, run = loaded(
            [
                "record",
                str(rig),
                str(sensors),
                "--out",
                str(tmp_path / "session"),
                "--for",
                str(long_enough(0.5)),
            ]
        )
    assert (tmp_path / "session" / "SHA256SUMS").exists(), run.stderr
    assert "socket" in names  # the check sees what is loaded
    assert names.isdisjoint({*HEAVY, "waitress"})
