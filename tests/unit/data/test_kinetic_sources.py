"""Every document a kinetic parameter names is in the bibliography."""

import re

from mustwright import data

DOCUMENT = re.compile(r"\b[A-Z][A-Za-z]+[12][0-9]{3}[a-z]?\b")


def sources(table):
    for value in table.values():
        if isinstance(value, dict):
            yield from sources(value)
    if isinstance(table.get("source"), str):
        yield table["source"]


def test_documents_named_by_the_kinetic_parameters_are_in_the_bibliography():
    table = dict(data.load("kinetics/parameters"))
    named = {d for text in sources(table) for d in DOCUMENT.findall(text)}
    assert len(named) >= 8
    assert named - set(data.load("bibliography")) == set()
