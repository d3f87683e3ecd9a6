"""What a page may not do on a screen, asked of the browser."""

from __future__ import annotations

OUTSIDE = """() => [...document.querySelectorAll('svg text')].filter(t => t.checkVisibility())
  .map(t => [t, t.getBoundingClientRect(), t.ownerSVGElement.getBoundingClientRect()])
  .filter(([, t, s]) => t.left < s.left - 1 || t.right > s.right + 1 || t.bottom > s.bottom + 1)
  .map(([t]) => t.textContent)"""
OVERLAPS = """() => { const found = [];
  for (const svg of document.querySelectorAll('svg')) {
    const texts = [...svg.querySelectorAll('text')].filter(t => t.checkVisibility())
      .map(t => [t.textContent, t.getBoundingClientRect()]);
    texts.forEach(([a, r], i) => texts.slice(i + 1).forEach(([b, s]) => {
      if (r.left < s.right - 1 && s.left < r.right - 1
          && r.top < s.bottom - 3 && s.top < r.bottom - 3) found.push([a, b]) }))
  } return found }"""
SMALL = """() => [...document.querySelectorAll(
    'button, .button, select, textarea, summary, input:not([type=hidden])')]
  .filter(e => e.tabIndex >= 0 && e.checkVisibility() && !e.closest('.fig'))
  .filter(e => !['checkbox', 'radio'].includes(e.type))
  .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect().height])
  .filter(([, height]) => height < 43.5)"""
UNFOLD = "() => document.querySelectorAll('details').forEach(d => { d.open = true })"


def over_the_edge(page):
    """How far the page is wider than the screen; a phone would zoom out to hide it."""
    return page.evaluate("document.documentElement.scrollWidth") - page.viewport_size["width"]
