"""What is wrong with a command line, in the language spoken here.

The library that reads the command line says it in English; its sentences are told apart by their
wordings. One that is not known here stays English.
"""

from __future__ import annotations

import re
import string

from mustwright.texts import Text, join, literal

_KINDS = {
    "integer": literal("integer"),
    "float": literal("float"),
    "integer range": literal("integer range"),
}
_WORDINGS = (
    literal("No such option {name}."),
    literal("No such command {name}."),
    literal("Missing command."),
    literal("Missing argument {name}."),
    literal("Missing option {name}."),
    literal("Missing argument {name}. {more}"),
    literal("Missing option {name}. {more}"),
    literal("Choose from: {choices}"),
    literal("Invalid value: {reason}"),
    literal("Invalid value for {name}: {reason}"),
    literal("Option {name} requires an argument."),
    literal("Option {name} requires {count} arguments."),
    literal("Option {name} does not take a value."),
    literal("Argument {name} takes {count} values."),
    literal("Got unexpected extra argument ({words})"),
    literal("Got unexpected extra arguments ({words})"),
    literal("{value} is not one of {choices}."),
    literal("{value} is not a valid {kind}."),
    literal("{value} is not in the range {range}."),
    literal("Could not open file {name}: {reason}"),
    literal("Did you mean {name}?"),
    literal("(Did you mean one of: {names}?)"),
)
_HINT = re.compile(r"(?P<says>.*?) (?P<hint>\(?Did you mean .*)")


def usage_words(message: str) -> str:
    """A sentence of the library in our words; any other as it is.

    Examples
    --------
    >>> usage_words("Invalid value for '--port': 'a' is not a valid integer.")
    "Invalid value for '--port': 'a' is not a valid integer."
    """
    if found := _HINT.fullmatch(message):
        return join(" ", (usage_words(found["says"]), usage_words(found["hint"])))
    for wording, pattern in _patterns():
        if found := pattern.fullmatch(message):
            values: dict[str, str] = dict(found.groupdict())
            for part in ("reason", "more"):
                if part in values:
                    values[part] = usage_words(values[part])
            if "kind" in values:
                values["kind"] = _KINDS.get(values["kind"], values["kind"])
            return wording.format(**values)
    return message


def _patterns() -> list[tuple[Text, re.Pattern[str]]]:
    return [(wording, re.compile(_pattern(wording))) for wording in _WORDINGS]


def _pattern(wording: str) -> str:
    parts = []
    for before, name, _, _ in string.Formatter().parse(wording):
        parts.append(re.escape(before))
        if name is not None:
            words = name in ("reason", "more", "choices", "words", "names", "range", "value")
            parts.append(f"(?P<{name}>.+)" if words else rf"(?P<{name}>'[^']*'|\S+(?: range)?)")
    return "".join(parts)
