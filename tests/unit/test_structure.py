"""The house itself: no circle of imports between modules, no class name with two meanings."""

from __future__ import annotations

import ast
from collections import defaultdict
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import mustwright

ROOT = Path(mustwright.__file__).parent
LONGEST_LINES = 480  # 400 before sentences named their values, which takes a line for each
COMPILED_KERNEL = "kinetics/ensemble.py"  # one file: Numba's cache does not see changes elsewhere


def modules() -> dict[str, Path]:
    found = {}
    for path in sorted(ROOT.rglob("*.py")):
        parts = ("mustwright", *path.relative_to(ROOT).with_suffix("").parts)
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


MODULES = modules()


@cache
def tree_of(name: str) -> ast.Module:
    return ast.parse(MODULES[name].read_text(encoding="utf-8"))


@cache
def imported_by(name: str) -> set[str]:
    """Modules that a module imports anywhere, within functions and for types too."""
    found = set()
    for node in ast.walk(tree_of(name)):
        if isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                found.add(inner if inner in MODULES else node.module)
        elif isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
    return found & set(MODULES) - {name}


def test_no_circle_of_imports():
    try:
        order = list(
            TopologicalSorter({name: imported_by(name) for name in MODULES}).static_order()
        )
    except CycleError as error:
        raise AssertionError(" -> ".join(error.args[1])) from None
    assert len(order) == len(MODULES) > 200


def test_a_class_name_means_one_thing():
    homes = defaultdict(list)
    for name in MODULES:
        for node in ast.walk(tree_of(name)):
            if isinstance(node, ast.ClassDef):
                homes[node.name].append(name)
    assert {name: where for name, where in homes.items() if len(where) > 1} == {}


def test_no_module_is_a_catch_all():
    lines = {
        path.relative_to(ROOT).as_posix(): len(path.read_text(encoding="utf-8").splitlines())
        for path in MODULES.values()
    }
    long = {name: n for name, n in lines.items() if n > LONGEST_LINES}
    assert set(long) <= {COMPILED_KERNEL}
    assert sorted(lines.values())[len(lines) // 2] <= 150


def test_services_need_a_port():
    """A module of use cases that reaches no port belongs further down."""
    ports = {
        f"mustwright.services.{name}" for name in ("repository", "batch.repository", "notebook")
    }

    def reaches(name: str, seen: set[str]) -> bool:
        seen.add(name)
        return any(
            one in ports or (one not in seen and reaches(one, seen)) for one in imported_by(name)
        )

    services = [n for n in MODULES if n.startswith("mustwright.services.") and n not in ports]
    packages = {n for n in services if MODULES[n].name == "__init__.py"}
    assert [n for n in services if n not in packages and not reaches(n, set())] == []


def test_a_physical_constant_stands_in_one_module():
    """No number of four digits or more of `constants` is typed again elsewhere."""

    def numbers(text: str) -> set[float]:
        found = (n.value for n in ast.walk(ast.parse(text)) if isinstance(n, ast.Constant))
        return {v for v in found if type(v) is float and len(f"{v:.15g}".replace(".", "")) > 4}

    known = numbers((ROOT / "constants.py").read_text(encoding="utf-8"))
    assert len(known) > 20
    again = {
        str(path.relative_to(ROOT)): sorted(known & numbers(path.read_text(encoding="utf-8")))
        for path in ROOT.rglob("*.py")
        if path.name != "constants.py"
    }
    assert {name: values for name, values in again.items() if values} == {}
