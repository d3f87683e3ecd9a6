"""How long, how wordy and how heavy is each page: asked of a real browser, everything folded.

``python benchmarks/screens.py`` serves the demo cellar with batches in every state and opens each
page in Chromium at 390 and 1280 px: its height, the words that can be seen on all of it and on the
first screen, and its HTML. ``--shoot FOLDER`` keeps pictures, light and dark; names choose pages.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "scripts"))

from batch_pages import Cellar
from browser import ensure
from every_page import PAGES, stock
from mustwright.compose import Compose
from playing import playing
from screens import WORDS

SCREENS = {390: 844, 1280: 900}


def measured(
    browser: Browser, address: str, path: str, width: int, shot: Path | None
) -> tuple[int, int, int, float, int]:
    """Height [px], words on the page and on the first screen, HTML [kB], px over the edge."""
    height = SCREENS[width]
    page = browser.new_page(base_url=address, viewport={"width": width, "height": height})
    answer = page.goto(path)
    assert answer is not None
    found = page.evaluate("() => [document.documentElement.scrollHeight,"
                          " document.documentElement.scrollWidth - innerWidth]")  # fmt: skip
    every, first = page.evaluate(WORDS, height)
    if shot is not None:
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            page.screenshot(path=f"{shot}-{width}-{scheme}.png", full_page=True)
    kb = len(answer.body()) / 1000
    page.close()
    return found[0], every, first, kb, found[1]


def main(arguments: list[str]) -> int:
    """Stock, open, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("names", nargs="*", help="of pages; all where none is named")
    parser.add_argument("--shoot", type=Path, help="folder for pictures")
    chosen = parser.parse_args(arguments)
    named = {name: PAGES[name] for name in chosen.names} if chosen.names else PAGES
    if chosen.shoot:
        chosen.shoot.mkdir(parents=True, exist_ok=True)
    chromium = ensure()
    print(f"{'page':24}{'HTML kB':>9}", end="")
    print("".join(f"{f'px at {w}':>14}{'words':>7}{'first':>7}{'over':>6}" for w in SCREENS))
    with tempfile.TemporaryDirectory(prefix="mustwright-screens-") as folder:
        cellar = Cellar(Compose(Path(folder)))
        with playing(cellar.compose) as address, sync_playwright() as playwright:
            stock(cellar)
            browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
            for name, path in named.items():
                shot = chosen.shoot / name if chosen.shoot else None
                rows = [measured(browser, address, path, width, shot) for width in SCREENS]
                print(f"{name:24}{rows[0][3]:9.1f}", end="")
                print("".join(f"{h:14}{w:7}{f:7}{o:6}" for h, w, f, _, o in rows), flush=True)
            browser.close()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
