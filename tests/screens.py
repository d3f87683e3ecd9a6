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
# Words that can be seen on the whole page, and above a height; those of pictures do not count.
WORDS = """(height) => { let all = 0, first = 0;
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const holder = node.parentElement;
    if (holder.closest('svg, option, .skip') || !holder.checkVisibility()) continue;
    const count = node.textContent.split(/\\s+/).filter(w => /[\\p{L}\\p{N}]/u.test(w)).length;
    if (!count) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const box = range.getBoundingClientRect();
    if (box.width < 2) continue;
    all += count;
    if (box.top < height) first += count }
  return [all, first] }"""
UNFOLD = "() => document.querySelectorAll('details').forEach(d => { d.open = true })"


def over_the_edge(page):
    """How far the page is wider than the screen; a phone would zoom out to hide it."""
    page.wait_for_load_state()  # without its style every page is too wide
    return page.evaluate("document.documentElement.scrollWidth") - page.viewport_size["width"]


HEAVIEST_BYTES, LONGEST_PX, MOST_WORDS = 60_000, 4000, 170


def too_much(page, answer, to_read=False, room=1.0):
    """Where a page is too heavy, or on a phone too long or too wordy with everything folded.

    A first screen answers one question in about 150 words, head and navigation on top. What is
    there to be read like a book may be long. `room`: as many times as that, for a language with
    longer words.
    """
    wrong = []
    if len(answer.body()) > room * HEAVIEST_BYTES:
        wrong.append(f"{len(answer.body())} bytes of HTML")
    if page.viewport_size["width"] == 390 and not to_read:
        height = page.evaluate("document.documentElement.scrollHeight")
        if height > room * LONGEST_PX:
            wrong.append(f"{height} px long")
        first = page.evaluate(WORDS, page.viewport_size["height"])[1]
        if first > MOST_WORDS:
            wrong.append(f"{first} words on the first screen")
    return wrong
