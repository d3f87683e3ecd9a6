"""What a template writes: fixed wordings made once, values escaped as ever."""

from __future__ import annotations

import pytest
from jinja2 import UndefinedError
from markupsafe import Markup, escape

from mustwright.languages import language_called
from mustwright.texts import say
from mustwright.web.translation import made_environment, written

VALUES = (
    "plain", "a & b", "<b>", '"', "'", "", Markup("<b>bold</b>"), Markup("a & b"), 3, 1.5, None,
    True, say("a {what}", what="<i>"), say("fine"),
)  # fmt: skip


@pytest.mark.parametrize("value", VALUES)
def test_a_value_is_written_as_it_is_escaped(value):
    assert written(value) == str(escape(value))
    english = made_environment(None)
    assert english.from_string("{{ v }}|{{ [v]|join }}|{{ v ~ v }}").render(v=value) == "|".join(
        [str(escape(value)), str(escape(value)), str(escape(value)) * 2]
    )


def test_a_macro_a_set_block_and_a_filter_escape_once():
    text = (
        "{% macro m(x) %}<p>{{ x }}</p>{% endmacro %}{{ m(v) }}"
        "{% set s %}<i>{{ v }}</i>{% endset %}{{ s }}{% filter upper %}{{ v }}{% endfilter %}"
    )
    made = made_environment(None).from_string(text).render(v="a & b")
    assert made == "<p>a &amp; b</p><i>a &amp; b</i>A &AMP; B"


def test_what_is_missing_is_an_error():
    with pytest.raises(UndefinedError):
        made_environment(None).from_string("{{ nothing }}").render()


@pytest.mark.parametrize("code", ["en", "de"])
def test_a_block_without_values_is_a_part_of_the_template(code):
    language = language_called(code)
    made = made_environment(language)
    wording = "Log" if language is None else language.wording("Log", "")
    text = "{% trans %}Log{% endtrans %} {% trans %}100 % &amp; <b>x</b>{% endtrans %}"
    template = made.from_string(text)
    assert template.render() == f"{wording} 100 % &amp; <b>x</b>"
    assert "gettext" not in made.compile(text, raw=True)
    counted = "{% trans n=n %}{{ n }} & {{ v }}{% endtrans %}"
    assert made.from_string(counted).render(n=2, v="<b>") == "2 & &lt;b&gt;"
    assert made.from_string("{{ _('Log') }}{{ gettext('Log') }}").render() == wording * 2
