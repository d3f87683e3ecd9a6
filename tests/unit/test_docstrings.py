"""The rule for docstrings of the science: units, returns and errors wherever it takes three things.

A public function or method that takes more than two arguments (``self`` aside) names each of them
under Parameters, gives those that are numbers a unit, says what it returns, and names the errors
of `mustwright.errors` that its own module raises from it, and none that nothing raises. Whole
numbers (a seed, a count) need no unit, and a ratio says ``[-]`` or "dimensionless".
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

import mustwright
from mustwright import errors

ROOT = Path(mustwright.__file__).parent
PACKAGES = ("must", "yeast", "nutrition", "finishing", "learning", "kinetics")
FEW = 2
OUR_ERRORS = {
    name
    for name, kind in vars(errors).items()
    if isinstance(kind, type) and issubclass(kind, errors.MustwrightError)
}
NUMERIC = re.compile(r"\b(float|ArrayLike|Floats|float64|Figure)\b")
SECTIONS = ("Parameters", "Returns", "Yields", "Raises", "Notes", "Examples", "Warns", "See Also")
# What may stand in square brackets as a unit, one or several parted by commas; "-" is a ratio.
KNOWN_UNITS = frozenset(
    unit.strip()
    for unit in """
    - | any unit | % | % vol | % by mass | % mass | °C | K | 1/K | 1/% vol | d | h
    L | mL | kg | g | mg | bar | atm | Pa | Brix | Plato | SG | 1/d | %/h
    g/L | mg/L | mg N/L | mol/L | mmol/L | meq/L | g/L of must | mg N/L of must | g/d
    kg/L | L/kg | kg/m3 | cm3/g | g/g | kg/kg | mg/g | mg N/g | meq/g | meq/kg | mg/kg
    mol | mol/kg | mol/kg solvent | g/mol | J/mol | J/(mol K) | kg^0.5/mol^0.5 | mol/mol
    L/L | vol | price/L | price/kg
    """.replace("\n", "|").split("|")
    if unit.strip()
)


@dataclass(frozen=True)
class Function:
    """One public function or method, as its source has it."""

    name: str
    node: ast.FunctionDef
    arguments: tuple[ast.arg, ...]
    raised: frozenset[str]  # by its own module
    may_raise: frozenset[str]  # by any function of ours that it calls


def functions(tree: ast.Module) -> Iterator[Function]:
    """Public functions and methods of a module that take more than two arguments."""
    scope = scope_of(tree)
    classes = [n for n in tree.body if isinstance(n, ast.ClassDef) and n.name[0] != "_"]
    places = [("", tree.body, 0), *((f"{c.name}.", c.body, 1) for c in classes)]
    for prefix, body, skipped in places:
        for node in body:
            if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
                continue
            static = any(getattr(d, "id", "") == "staticmethod" for d in node.decorator_list)
            listed = (*node.args.posonlyargs, *node.args.args)[0 if static else skipped :]
            extra = (node.args.vararg, node.args.kwarg)
            arguments = (*listed, *node.args.kwonlyargs, *(a for a in extra if a))
            if len(arguments) > FEW:
                raised = raised_in(node, scope)
                may = raised_in(node, scope, beyond=True)
                yield Function(prefix + node.name, node, arguments, raised, may)


@dataclass(frozen=True, eq=False)
class Scope:
    """What the names of a module stand for: its own functions, and those it imports from us."""

    own: dict[str, ast.FunctionDef]
    imported: dict[str, tuple[str, str]]


def scope_of(tree: ast.Module) -> Scope:
    """The scope of a module; the name of a class stands for what runs when one is made."""
    own = {node.name: node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    for kind in (node for node in ast.walk(tree) if isinstance(node, ast.ClassDef)):
        for node in kind.body:
            if isinstance(node, ast.FunctionDef) and node.name in ("__init__", "__post_init__"):
                own[kind.name] = node
    imports = (node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom))
    return Scope(
        own,
        {
            alias.asname or alias.name: (node.module, alias.name)
            for node in imports
            if node.module and node.module.startswith("mustwright.")
            for alias in node.names
        },
    )


@cache
def scope_called(module: str) -> Scope:
    """The scope of one of our modules by its dotted name; of a package, nothing."""
    path = ROOT.parent.joinpath(*module.split(".")).with_suffix(".py")
    return scope_of(ast.parse(path.read_text(encoding="utf-8") if path.exists() else ""))


def raised_in(start: ast.FunctionDef, scope: Scope, *, beyond: bool = False) -> frozenset[str]:
    """Our errors raised by a function, or by what it calls in its module (or beyond it)."""
    found, seen, left = set(), {start}, [(start, scope)]
    while left:
        node, here = left.pop()
        raised, makers, calls = facts(node)
        found |= raised
        for maker in makers & here.own.keys():  # raise _out_of_reach(...)
            found |= names_in(here.own[maker].returns)
        for name in calls:
            there, known = here, name
            if name not in here.own and beyond and name in here.imported:
                module, known = here.imported[name]
                there = scope_called(module)
            other = there.own.get(known)
            if other is not None and other not in seen:
                seen.add(other)
                left.append((other, there))
    return frozenset(found & OUR_ERRORS)


@cache
def facts(node: ast.FunctionDef) -> tuple[set[str], set[str], set[str]]:
    """Names a function raises, what it calls to make an error, and everything it calls."""
    inside = list(ast.walk(node))
    raises = [n.exc for n in inside if isinstance(n, ast.Raise) and n.exc is not None]
    raised = set().union(*(names_in(exc) for exc in raises))
    return raised, {called(exc) for exc in raises}, {called(n) for n in inside} - {""}


def names_in(node: ast.AST | None) -> set[str]:
    return {n.id for n in ast.walk(node) if isinstance(n, ast.Name)} if node is not None else set()


def called(node: ast.AST) -> str:
    """The plain name, or the method of self, that a call goes to; empty for anything else."""
    if not isinstance(node, ast.Call):
        return ""
    if isinstance(node.func, ast.Attribute):
        return node.func.attr if getattr(node.func.value, "id", "") in ("self", "cls") else ""
    return getattr(node.func, "id", "")


def sections(text: str) -> dict[str, str]:
    """The body of each numpydoc section of a docstring."""
    found: dict[str, list[str]] = {}
    here = ""
    lines = text.splitlines()
    for i, line in enumerate(lines):
        ruled = i + 1 < len(lines) and re.fullmatch(r"-{3,}", lines[i + 1])
        if ruled and line in SECTIONS:
            here = line
            found[here] = []
        elif here:
            found[here].append(line)
    return {name: "\n".join(body[1:]).strip("\n") for name, body in found.items()}


def entries(body: str) -> dict[str, str]:
    """Each name of a Parameters or Raises section with all that is said of it."""
    found: dict[str, str] = {}
    for block in re.split(r"\n(?=\S)", body):
        names, _, rest = block.partition("\n")
        listed = names.split(" : ")[0]
        for name in listed.split(","):
            found[name.strip().lstrip("*")] = f"{names}\n{rest}"
    return found


def has_unit(text: str) -> bool:
    """Whether a description holds a unit in square brackets, or says dimensionless."""
    if "dimensionless" in text:
        return True
    return any(
        all(unit in KNOWN_UNITS for unit in one.split(", "))
        for one in re.findall(r"\[([^\[\]]+)\]", text)
    )


def is_number(annotation: ast.expr | None) -> bool:
    return annotation is not None and NUMERIC.search(ast.unparse(annotation)) is not None


def complaints(tree: ast.Module) -> list[str]:
    """What the docstrings of a module leave out."""
    found = []
    for one in functions(tree):
        parts = sections(ast.get_docstring(one.node) or "")
        parameters = entries(parts.get("Parameters", ""))
        for argument in one.arguments:
            if argument.arg not in parameters:
                found.append(f"{one.name}: {argument.arg} is not among its Parameters")
            elif is_number(argument.annotation) and not has_unit(parameters[argument.arg]):
                found.append(f"{one.name}: {argument.arg} has no unit")
        known = {a.arg for a in one.arguments}
        found += [
            f"{one.name}: {name} is no argument"
            for name in parameters
            if name and name not in known
        ]
        found += returns(one, parts)
        promised = set(entries(parts.get("Raises", "")))
        missing, idle = one.raised - promised, (promised & OUR_ERRORS) - one.may_raise
        found += [f"{one.name}: {error} is not among its Raises" for error in sorted(missing)]
        found += [f"{one.name}: {error} is never raised" for error in sorted(idle)]
    return found


def returns(one: Function, parts: dict[str, str]) -> list[str]:
    """What is wrong with a Returns section; a function that returns nothing needs none."""
    annotation = one.node.returns
    if isinstance(annotation, ast.Constant) and annotation.value is None:
        return []
    if not parts.get("Returns"):
        return [f"{one.name}: has no Returns"]
    if is_number(annotation) and not has_unit(parts["Returns"]):
        return [f"{one.name}: what it returns has no unit"]
    return []


def modules() -> list[str]:
    paths = (path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
    return sorted(path.relative_to(ROOT).as_posix() for path in paths)


def complaints_of(name: str) -> list[str]:
    return complaints(ast.parse((ROOT / name).read_text(encoding="utf-8")))


@pytest.mark.parametrize("name", modules())
def test_docstrings_say_what_goes_in_and_comes_out(name):
    assert complaints_of(name) == []


def test_there_is_something_to_check():
    trees = [ast.parse((ROOT / n).read_text(encoding="utf-8")) for n in modules()]
    found = [one for tree in trees for one in functions(tree)]
    assert len(found) > 80
    assert sum(bool(one.raised) for one in found) > 15


SAMPLE = '''
def good(grams: float, volume_l: float, seed: int, ratio: float = 1.0) -> float:
    """Grams per litre.

    Parameters
    ----------
    grams : float
        At least 0 [g].
    volume_l : float
        Above 0 [L].
    seed : int
    ratio : float
        Dimensionless, dimensionless all the way.

    Returns
    -------
    float
        [g/L].

    Raises
    ------
    ImpossibleError
        If the volume is not above 0.
    """
    return _divided(grams, volume_l)

def _divided(grams, volume_l):
    if volume_l <= 0:
        raise ImpossibleError("volume", "needs a volume above 0", volume_l)
    return grams / volume_l

def few(grams: float, volume_l: float) -> float:
    return _divided(grams, volume_l)
'''


def test_a_full_docstring_passes():
    assert complaints(ast.parse(SAMPLE)) == []


@pytest.mark.parametrize(
    ("written", "spoilt", "complaint"),
    [
        ("    seed : int\n", "", "good: seed is not among its Parameters"),
        ("grams : float\n        At", "gram : float\n        At", "good: gram is no argument"),
        ("At least 0 [g].", "At least 0.", "good: grams has no unit"),
        ("Above 0 [L].", "Above 0 [see there].", "good: volume_l has no unit"),
        ("Dimensionless, dimensionless all the way.", "A ratio.", "good: ratio has no unit"),
        ("        [g/L].\n", "", "good: what it returns has no unit"),
        ("Returns\n    -------", "Result\n    ------", "good: has no Returns"),
        (
            "    ImpossibleError\n",
            "    ValueError\n",
            "good: ImpossibleError is not among its Raises",
        ),
        ("    ImpossibleError\n", "    ConflictError\n", "good: ConflictError is never raised"),
        ('    """Grams per litre.', '    """', "good: has no Returns"),
    ],
)
def test_what_is_left_out_is_found(written, spoilt, complaint):
    assert written in SAMPLE
    text = SAMPLE.replace(written, spoilt)
    if spoilt == '    """':  # no docstring at all
        text = re.sub(r'    """\n.*?"""\n', "", text, flags=re.DOTALL)
    assert complaint in complaints(ast.parse(text))
