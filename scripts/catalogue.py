"""The catalogue of texts: what the code says, and what each language says for it.

``python scripts/catalogue.py list PART``      what German still lacks of one part: ``id| wording``
``python scripts/catalogue.py fill PART FILE`` takes lines ``id| translation`` into its ``.po`` file
``python scripts/catalogue.py check``          says what is missing, not used any more, or wrong
``python scripts/catalogue.py scripts``        writes what scripts say into ``static/words.js``
``python scripts/catalogue.py tidy``           drops what is not said any more

A wording that a count decides has two lines, ``id.0|`` and ``id.1|``; a line break is
``\\n``. Parts are the packages of mustwright, ``pages`` for templates, ``scripts`` for what
runs in a browser, ``data`` for data files.
"""

from __future__ import annotations

import ast
import hashlib
import io
import json
import re
import string
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.pofile import read_po, write_po

from mustwright import data

SOURCE = Path(__file__).resolve().parent.parent / "src/mustwright"
LANGUAGES = SOURCE / "data/languages"
STATIC = SOURCE / "web/static"
TABLE = re.compile(r"(?<=// The table begins here\.\n)(.*?)(?=  // The table ends here\.)", re.S)
SAID = ("say", "say_n", "literal")
PERCENT = re.compile(r"%\((\w+)\)s")


@dataclass(frozen=True)
class Wording:
    """One entry of the catalogue; `many` where a count decides."""

    one: str
    many: str = ""
    context: str = ""

    @property
    def key(self) -> str:
        """Short and always the same for the same wording."""
        whole = "\x04".join((self.context, self.one, self.many))
        return hashlib.sha1(whole.encode()).hexdigest()[:7]

    @property
    def message(self) -> str | tuple[str, str]:
        """As a gettext catalogue names it."""
        return (self.one, self.many) if self.many else self.one


@cache
def wordings() -> dict[Wording, str]:
    """Everything that is said to a user, each with the part where it is first said."""
    found: dict[Wording, str] = {}
    for path in sorted(SOURCE.rglob("*.py")):
        inside = path.relative_to(SOURCE).parts
        part = inside[0] if len(inside) > 1 else "core"
        for wording in _in_code(path):
            found.setdefault(wording, part)
        if part == "cli":
            for wording in _in_help(path):
                found.setdefault(wording, part)
    for path in sorted((SOURCE / "web/templates").glob("*.html")):
        for wording in _in_template(path):
            found.setdefault(wording, "pages")
    for wording in in_scripts():
        found.setdefault(wording, "scripts")
    for text in data.every_text():
        found.setdefault(Wording(text), "data")
    return found


def in_scripts() -> list[Wording]:
    """What runs in a browser says."""
    found = []
    for path in sorted(STATIC.glob("*.js")):
        with path.open("rb") as file:
            said = extract("javascript", file, {"say": None, "here": None})
            found += [Wording(str(message)) for _, message, _, _ in said]
    return found


def _in_code(path: Path) -> Iterator[Wording]:
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        name = _called(node)
        if name not in SAID or not node.args:
            continue
        texts = [a.value if isinstance(a, ast.Constant) else None for a in node.args]
        context = next((_constant(k.value) for k in node.keywords if k.arg == "context"), "")
        if isinstance(texts[0], str) and (context or is_wording(texts[0])):
            many = texts[1] if name == "say_n" and len(texts) > 1 else ""
            yield Wording(texts[0], many if isinstance(many, str) else "", context)


def _in_help(path: Path) -> Iterator[Wording]:
    """Help of commands and options, paragraph by paragraph, as it is looked up when printed."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        texts: list[str] = []
        if isinstance(node, ast.FunctionDef) and any(map(_makes_a_command, node.decorator_list)):
            texts.append(ast.get_docstring(node) or "")
        if isinstance(node, ast.Call):
            texts += [_constant(k.value) for k in node.keywords if k.arg == "help"]
            if _called(node) == "Row":
                texts += [_constant(node.args[2])]
        for text in texts:
            for paragraph in text.split("\n\n"):
                if paragraph.strip() and not paragraph.startswith("\b"):
                    yield Wording(" ".join(paragraph.split()))


def _makes_a_command(decorator: ast.expr) -> bool:
    return isinstance(decorator, ast.Call) and _called(decorator) in ("command", "group")


def _called(node: ast.Call) -> str:
    named = node.func
    return named.attr if isinstance(named, ast.Attribute) else getattr(named, "id", "")


def _constant(node: ast.expr) -> str:
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


def _in_template(path: Path) -> Iterator[Wording]:
    options = {"trimmed": "true", "newstyle_gettext": "true", "trim_blocks": "true",
               "lstrip_blocks": "true", "silent": "false"}  # fmt: skip
    keywords = {"gettext": None, "_": None, "ngettext": (1, 2)}
    with path.open("rb") as file:
        for _, message, _, _ in extract("jinja2.ext:babel_extract", file, keywords, (), options):
            one, many = message if isinstance(message, tuple) else (message, "")
            yield Wording(one, many or "")


def is_wording(template: str) -> bool:
    """Whether a language may have its own wording for it: there is a letter or a date in it.

    Examples
    --------
    >>> is_wording("{grams:.1f}"), is_wording("{grams:.1f} g"), is_wording("{at:%d %B}")
    (False, False, True)
    """
    parts = list(string.Formatter().parse(template))
    dated = any(re.search("%[A-Za-z]", spec or "") for _, _, spec, _ in parts)
    return dated or any(re.search(r"[^\W\d_]{2}", UNITS.sub("", text)) for text, *_ in parts)


UNITS = re.compile(
    r"\b(mg|kg|mL|hL|cm|mm|pH|SG|Brix|bar|psi|kPa|vol|mol|meq|lb|oz|gal|imp|US|CO2|SO2|N/L)\b"
)


def catalogue(code: str, part: str) -> Catalog:
    """What a language says for one part."""
    path = LANGUAGES / code / f"{part}.po"
    if not path.exists():
        return Catalog(locale=code)
    return read_po(io.BytesIO(path.read_bytes()), locale=code)


def known(code: str) -> dict[Wording, tuple[str, str | tuple[str, ...]]]:
    """Every entry that a language has, with the part that holds it and what it says."""
    found = {}
    for path in sorted((LANGUAGES / code).glob("*.po")):
        for message in catalogue(code, path.stem):
            if not message.id:
                continue
            one, many = message.id if isinstance(message.id, tuple) else (message.id, "")
            found[Wording(one, many, message.context or "")] = (path.stem, message.string)
    return found


def missing(code: str) -> dict[Wording, str]:
    """What is said and the language has no word for, with its part."""
    have = known(code)
    return {w: part for w, part in wordings().items() if not _is_said(have.get(w))}


def _is_said(entry: tuple[str, str | tuple[str, ...]] | None) -> bool:
    return entry is not None and all(entry[1] if isinstance(entry[1], tuple) else (entry[1],))


def unused(code: str) -> list[tuple[str, Wording]]:
    """What the language has and nobody says any more, with the file that holds it."""
    used = wordings()
    return [(part, w) for w, (part, _) in known(code).items() if w not in used]


def names_in(text: str) -> set[str]:
    """The values that a wording names; the specification after a colon is the language's own.

    Examples
    --------
    >>> sorted(names_in("{a:.1f} of {b}")), names_in("%(c)s {} %%")
    (['a', 'b'], {'c'})
    """
    found = set(PERCENT.findall(text))
    if "%(" in text:
        return found
    for _, name, spec, _ in string.Formatter().parse(text):
        found |= {name} if name else set()
        found |= names_in(spec) if spec else set()
    return found


def wrong(code: str) -> list[str]:
    """Translations that name other values than the wording, differ by part, or cannot be read."""
    out = _differing(code)
    for wording, (part, says) in known(code).items():
        forms = says if isinstance(says, tuple) else (says,)
        wanted = [names_in(w) for w in (wording.one, wording.many or wording.one)]
        for form in forms:
            try:
                names = names_in(form)
            except ValueError as error:
                out.append(f"{part}: {form!r}: {error}")
                continue
            if form and names not in wanted:
                out.append(f"{part}: {wording.one!r} names {sorted(wanted[0])}, {form!r} not")
    return out


def _differing(code: str) -> list[str]:
    said: dict[Wording, dict[str, str | tuple[str, ...]]] = {}
    for path in sorted((LANGUAGES / code).glob("*.po")):
        for message in catalogue(code, path.stem):
            if message.id:
                one, many = message.id if isinstance(message.id, tuple) else (message.id, "")
                wording = Wording(one, many, message.context or "")
                said.setdefault(wording, {})[path.stem] = message.string
    return [
        f"{wording.one!r} is said in different ways: {parts}"
        for wording, parts in said.items()
        if len(set(parts.values())) > 1
    ]


def fill(code: str, part: str, lines: Sequence[str]) -> tuple[int, list[str]]:
    """Take translations into the file of one part; how many, and the lines that fit nothing."""
    by_key = {w.key: w for w, of in wordings().items() if of == part}
    whole, taken, odd = catalogue(code, part), 0, []
    forms: dict[Wording, dict[int, str]] = {}
    for line in lines:
        key, bar, says = line.rstrip("\n").partition("|")
        key, _, form = key.strip().partition(".")
        if not line.strip() or line.startswith("#"):
            continue
        if not bar or key not in by_key:
            odd.append(line)
            continue
        text = says[1:] if says.startswith(" ") else says
        forms.setdefault(by_key[key], {})[int(form or 0)] = text.replace("\\n", "\n")
    for wording, says in forms.items():
        if wording.many and set(says) != {0, 1}:
            odd.append(f"{wording.key}: both {wording.key}.0| and {wording.key}.1| are needed")
            continue
        string_ = (says[0], says[1]) if wording.many else says[0]
        whole.delete(wording.message, wording.context or None)
        whole.add(wording.message, string_, context=wording.context or None)
        taken += 1
    write(code, part, whole)
    return taken, odd


def script_table(codes: Sequence[str] = ("de",)) -> str:
    """The table of ``static/words.js`` as it should be."""
    said = {}
    for code in codes:
        have = known(code)
        said[code] = {w.one: have[w][1] for w in in_scripts() if w in have}
    written = json.dumps(said, ensure_ascii=False, indent=2, sort_keys=True)
    return f"  const TABLE = {written};\n"


def with_table(script: str, table: str) -> str:
    """A script with a table in the place of its own."""
    return TABLE.sub(lambda _: table, script)


def write(code: str, part: str, whole: Catalog) -> None:
    """Keep a part, in the order of its wordings, without dates that change by themselves."""
    path = LANGUAGES / code / f"{part}.po"
    path.parent.mkdir(parents=True, exist_ok=True)
    plain = Catalog(locale=code, charset="utf-8", fuzzy=False)
    for message in whole:
        if message.id:
            plain.add(message.id, message.string, context=message.context)
    with path.open("wb") as file:
        write_po(file, plain, width=98, omit_header=True, sort_output=True)


def main(typed: Sequence[str]) -> int:
    """One of the commands above; 1 where something is missing or wrong."""
    code = "de"
    if typed[:1] == ["list"]:
        for wording, part in missing(code).items():
            if part == typed[1]:
                shown = [wording.one, wording.many] if wording.many else [wording.one]
                for k, text in enumerate(shown):
                    form = f".{k}" if wording.many else ""
                    note = f"   [{wording.context}]" if wording.context else ""
                    print(f"{wording.key}{form}| " + text.replace("\n", "\\n") + note)
        return 0
    if typed[:1] == ["fill"]:
        lines = Path(typed[2]).read_text("utf-8").split("\n")
        taken, odd = fill(code, typed[1], lines)
        print(f"{taken} taken", *odd, sep="\n")
        return bool(odd)
    if typed[:1] == ["scripts"]:
        script = STATIC / "words.js"
        script.write_text(with_table(script.read_text("utf-8"), script_table()), "utf-8")
        return 0
    if typed[:1] == ["tidy"]:
        for part, wording in unused(code):
            whole = catalogue(code, part)
            whole.delete(wording.message, wording.context or None)
            write(code, part, whole)
        return 0
    counts: dict[str, int] = {}
    for part in missing(code).values():
        counts[part] = counts.get(part, 0) + 1
    for part, count in counts.items():
        print(f"{part}: {count} missing")
    for part, wording in unused(code):
        print(f"{part}: not said any more: {wording.one!r}")
    for line in (faults := wrong(code)):
        print(line)
    return bool(counts or faults)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
