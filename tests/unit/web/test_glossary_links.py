"""Links to the glossary: only in running text, and nothing else of the page changes."""

from __future__ import annotations

import re

import pytest

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


def test_a_part_of_a_page_is_left_as_it_is():
    assert with_glossary("<p>the lees</p>") == "<p>the lees</p>"


def test_escaped_text_stays_escaped_and_nothing_else_changes():
    text = main("<p>&lt;b&gt;lees&lt;/b&gt; &amp; YAN &#39;DAP&#39;</p><ul><li>pH</li></ul>")
    made = with_glossary(text)
    assert LINK.sub(r"\1", made) == text
    assert len(LINK.findall(made)) == 4
