"""The pages stand, on both screens, with and without scripts; the watch sees what goes wrong."""

from __future__ import annotations

import pytest


def test_the_first_page(page, axe, shoot):
    answer = page.goto("/")
    assert answer.status == 200
    assert page.get_by_role("heading", level=1).count() == 1
    assert axe(page) == []
    shoot(page, "home")


def test_the_first_page_without_scripts(plain_page):
    plain_page.goto("/")
    assert plain_page.get_by_text("Dry lane mead").first.is_visible()


def test_nothing_hangs_over_the_edge(page):
    page.goto("/")
    wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0


def test_a_page_that_is_not_there(page, axe, watch):
    watch.expect("404")
    page.goto("/nope")
    assert axe(page) == []
    page.get_by_role("link", name="To the first page").click()
    assert page.url.endswith("/")


@pytest.mark.parametrize("viewport", ["laptop"], indirect=True)
@pytest.mark.parametrize(
    ("script", "complaint"),
    [
        ("console.warn('careful')", "careful"),
        ("setTimeout(() => { throw new Error('oh') })", "exception: oh"),
        ("document.body.style.cssText; document.body.setAttribute('style', 'color: red')",
         "Content Security Policy"),
        ("document.body.append(Object.assign(document.createElement('script'),"
         " {textContent: 'window.ran = 1'}))", "Content Security Policy"),
        ("new Image().src = 'http://other.invalid/x.png'", "Content Security Policy"),
        ("location.href = 'http://127.0.0.1:1/'", "request to another origin"),
    ],
)  # fmt: skip
def test_the_watch_sees(page, watch, script, complaint):
    page.goto("/")
    watch.expect(complaint)
    page.evaluate(f"() => {{ {script} }}")
    page.wait_for_timeout(300)
    assert watch.complaints
    watch.complaints[:] = [c for c in watch.complaints if complaint in c]
