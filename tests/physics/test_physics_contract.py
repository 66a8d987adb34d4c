"""The package's contract: docstrings, worked examples, light imports, nothing above it."""

from __future__ import annotations

import ast
import doctest
import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
from pathlib import Path

import pytest

import fptlib.physics

ROOT = Path(fptlib.physics.__file__).parent
MODULES = sorted(
    module.name for module in pkgutil.iter_modules([str(ROOT)])
    # Statistics has no units of its own; its formulas are held to published values beside it.
    if not module.name.startswith("_") and module.name != "regression"
)
UNITS = {
    "degF", "%RH", "psia", "psig", "psi", "inHg", "gpm", "gal", "tons", "Btu/lb", "Btu/lb.degF",
    "Btu/h.degF", "Btu/h per gpm.degF", "lb/lb", "lb/ft3", "ft3/lb", "ft", "kW", "kW/ton", "kW/K",
    "K/kW", "lb per ton-hour", "min", "h", "%", "mass %", "-", "any",
}


def public_functions():
    for name in MODULES:
        module = importlib.import_module(f"fptlib.physics.{name}")
        for function_name, function in vars(module).items():
            own = inspect.isfunction(function) and function.__module__ == module.__name__
            if own and not function_name.startswith("_"):
                yield pytest.param(module, function, id=f"{name}.{function_name}")


def section(text, title):
    found = re.search(rf"^{title}:(.*?)(?=^\w[\w ]*:|^>>>|\Z)", text, re.S | re.M)
    return found.group(1) if found else ""


@pytest.mark.parametrize("module, function", list(public_functions()))
def test_docstring_holds_the_signature(module, function):
    text = inspect.getdoc(function)
    parameters = list(inspect.signature(function).parameters)
    documented = dict(re.findall(r"^    (\w+) \[([^\]]+)\]:", section(text, "Args"), re.M))
    assert list(documented) == parameters
    assert set(documented.values()) <= UNITS
    assert text.splitlines()[0].endswith(".")
    assert "Source:" in text
    if inspect.signature(function).return_annotation not in (None, "None"):
        units = re.findall(r"\[([^\]]+)\]", section(text, "Returns"))
        assert units and set(units) <= UNITS


def raised_names(function):
    """Names of the package's errors that the function's own body raises or hands on."""
    tree = ast.parse(inspect.getsource(inspect.unwrap(function)).lstrip())
    names = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    errors = importlib.import_module("fptlib.physics.errors")
    raised = {name for name in names if inspect.isclass(getattr(errors, name, None))}
    refusals = [n for n in ast.walk(tree)
                if isinstance(n, ast.Call) and getattr(n.func, "id", "") == "refuse"]
    plain = any(len(call.args) < 4 for call in refusals)
    return raised | ({"ImpossibleState"} if plain else set())


@pytest.mark.parametrize("module, function", list(public_functions()))
def test_docstring_names_the_errors(module, function):
    documented = set(re.findall(r"^    (\w+):", section(inspect.getdoc(function), "Raises"), re.M))
    assert raised_names(function) <= documented


@pytest.mark.parametrize("module, function", list(public_functions()))
def test_worked_example_runs(module, function):
    tests = doctest.DocTestFinder(recurse=False).find(function, globs=dict(vars(module)))
    assert tests and tests[0].examples, "no worked example"
    output: list[str] = []
    result = doctest.DocTestRunner(verbose=False).run(tests[0], out=output.append)
    assert result.failed == 0, "".join(output)


def test_import_is_light():
    """numpy alone: no pandas, scipy, psychrolib or CoolProp at import."""
    code = (
        "import sys\n"
        f"import {', '.join('fptlib.physics.' + name for name in MODULES)}\n"
        "heavy = {'pandas', 'scipy', 'psychrolib', 'CoolProp', 'matplotlib'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    found = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True,
        cwd=ROOT.parent.parent,
    )
    assert found.stdout.strip() == "[]"


@pytest.mark.parametrize("path", sorted(ROOT.glob("*.py")), ids=lambda path: path.stem)
def test_physics_imports_nothing_above_it(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("fptlib"):
            assert node.module.startswith("fptlib.physics")
