"""What `import meshcomp` offers: sorted, complete, documented, typed, and light."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import meshcomp

PACKAGE = Path(meshcomp.__file__).parent
MODULES = sorted(
    info.name for info in pkgutil.walk_packages(meshcomp.__path__, "meshcomp.")
)


def public(module):
    return [
        getattr(module, name)
        for name in module.__all__
        if callable(getattr(module, name)) and not isinstance(getattr(module, name), type)
    ]


def test_names_are_sorted_and_each_has_a_home():
    assert meshcomp.__all__ == sorted(meshcomp.__all__)
    assert len(set(meshcomp.__all__)) == len(meshcomp.__all__)
    assert sorted(meshcomp._HOMES) == meshcomp.__all__  # noqa: SLF001 - the table itself
    assert dir(meshcomp) == meshcomp.__all__


@pytest.mark.parametrize("name", meshcomp.__all__)
def test_each_name_is_what_its_home_defines(name):
    home, attribute = meshcomp._HOMES[name]  # noqa: SLF001
    thing = getattr(meshcomp, name)
    assert thing is getattr(importlib.import_module(home), attribute)
    assert attribute in importlib.import_module(home).__all__


def test_names_for_type_checkers_are_the_same_as_those_at_run_time():
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    typed = {
        (alias.asname or alias.name): (node.module, alias.name)
        for guard in ast.walk(tree)
        if isinstance(guard, ast.If)
        for node in guard.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert typed == meshcomp._HOMES  # noqa: SLF001


def test_other_names_are_refused():
    with pytest.raises(AttributeError, match="has no attribute 'nothing'"):
        _ = meshcomp.nothing


@pytest.mark.parametrize("name", meshcomp.__all__)
def test_each_public_name_says_what_it_does(name):
    thing = getattr(meshcomp, name)
    doc = inspect.getdoc(thing)
    assert doc
    assert doc.splitlines()[0].endswith(".")


def functions():
    return [n for n in meshcomp.__all__ if inspect.isfunction(getattr(meshcomp, n))]


@pytest.mark.parametrize("name", functions())
def test_each_public_function_names_its_parameters_in_words(name):
    function = getattr(meshcomp, name)
    signature = inspect.signature(function)
    doc = inspect.getdoc(function)
    for parameter in signature.parameters.values():
        assert parameter.annotation is not inspect.Parameter.empty
        assert parameter.name in doc
    assert signature.return_annotation is not inspect.Signature.empty


@pytest.mark.parametrize("name", functions())
def test_each_public_function_has_a_runnable_example(name):
    assert ">>> " in inspect.getdoc(getattr(meshcomp, name))


# Folders that offer nothing themselves.
PLAIN_FOLDERS = {
    "meshcomp.calibration",
    "meshcomp.fits",
    "meshcomp.kits",
    "meshcomp.measurements",
    "meshcomp.testpieces",
}


def isort_style(name):
    return (0 if name.isupper() else 1 if name[0].isupper() else 2, name)


@pytest.mark.parametrize("name", MODULES)
def test_each_module_says_what_it_is_and_what_it_offers(name):
    module = importlib.import_module(name)
    assert module.__doc__
    if name in PLAIN_FOLDERS:
        return
    # As ruff sorts them (RUF022): constants, then classes, then the rest.
    assert list(module.__all__) == sorted(module.__all__, key=isort_style)
    for function in public(module):
        assert inspect.getdoc(function), function


def test_import_loads_no_geometry():
    code = (
        "import sys, meshcomp; "
        "heavy = {'numpy', 'scipy', 'trimesh', 'manifold3d', 'lib3mf', 'networkx'}; "
        "print(sorted(heavy & set(sys.modules)))"
    )
    shown = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True
    )
    assert shown.stdout.strip() == "[]"
