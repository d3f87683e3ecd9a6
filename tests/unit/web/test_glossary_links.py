"""Links to the glossary: only in running text, and nothing else of the page changes."""

from __future__ import annotations

import re

import pytest

from mustwright.languages import language_called, speaking
from mustwright.web.glossary_links import with_glossary

LINK = re.compile(r'<a class="term" href="/glossary#\w+">(.*?)</a>')


def main(inner: str) -> str:
    return f"<p>lees</p><main>{inner}</main><p>lees</p>"


def test_the_first_of_a_word_is_linked_and_no_other():
    made = with_glossary(main("<p>Rack it off the lees. The lees stay.</p><p>Racking again.</p>"))
    assert made == main(
        '<p><a class="term" href="/glossary#racking">Rack</a> it off the '
        '<a class="term" href="/glossary#lees">lees</a>. The lees stay.</p><p>Racking again.</p>'
    )


@pytest.mark.parametrize(
    "inner",
    [
        "<h2>The lees</h2>", '<a href="/x">the lees</a>', "<svg><text>lees</text></svg>",
        '<form method="post"><label>lees</label> lees</form>', "<code>lees</code>",
        '<details class="fig"><summary>1</summary>lees</details>', '<p title="lees">x</p>',
        "<p>lees_depth, x/lees, must.lees, lees-like, &lees;</p>", "<p>It must be so.</p>",
        "<button>Rack</button>", "<table><th>lees</th></table>",
    ],
)  # fmt: skip
def test_words_elsewhere_are_left_alone(inner):
    assert with_glossary(main(inner)) == main(inner)


def test_what_unfolds_by_name_is_read_but_not_the_working_of_a_figure_in_it():
    fig = '<details class="fig"><summary>2 g</summary><p>lees</p></details>'
    made = with_glossary(main(f"<details><summary>lees</summary>{fig} the lees</details>"))
    link = '<a class="term" href="/glossary#lees">lees</a>'
    assert made == main(f"<details><summary>lees</summary>{fig} the {link}</details>")


def test_a_word_with_two_senses_counts_only_after_words_that_tell():
    assert "#must" in with_glossary(main("<p>Stir the must.</p>"))
    assert "#must" not in with_glossary(main("<p>You must stir.</p>"))


def test_figures_are_passed_over_and_what_stands_among_them_is_not():
    text = "<table><td>1.049</td><td> 12 – 15 </td><td>3 lees</td><td>1.2 %</td></table>"
    link = '<a class="term" href="/glossary#lees">lees</a>'
    assert with_glossary(main(text)) == main(text.replace("lees", link))


def test_a_text_that_is_known_links_by_what_this_page_has_linked():
    first = main("<p>Rack it off the lees.</p>")
    assert with_glossary(first) == with_glossary(first)
    twice = main("<p>lees</p><p>Rack it off the lees.</p>")
    assert with_glossary(twice).count("#lees") == 1
    long = main(f"<p>{'so ' * 200}the lees</p>")
    assert with_glossary(long).count("#lees") == 1
    with speaking(language_called("de")):
        assert "#lees" not in with_glossary(first)


def test_a_part_of_a_page_is_left_as_it_is():
    assert with_glossary("<p>the lees</p>") == "<p>the lees</p>"


def test_escaped_text_stays_escaped_and_nothing_else_changes():
    text = main("<p>&lt;b&gt;lees&lt;/b&gt; &amp; YAN &#39;DAP&#39;</p><ul><li>pH</li></ul>")
    made = with_glossary(text)
    assert LINK.sub(r"\1", made) == text
    assert len(LINK.findall(made)) == 4
