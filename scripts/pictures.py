"""The pictures of the handbook and of the README, taken of the pages with Chromium.

    python scripts/pictures.py      # after a change of the screens; then scripts/handbook.py

They show the batch of the handbook: its own commands are run in a cellar of their own, and each
picture is taken on the day it belongs to.
"""

from __future__ import annotations

import io
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import browser
import handbook

LARGEST_KB = 60
WIDTH, HEIGHT, SHARPNESS = 880, 1400, 1.25  # of the screen [px], and device pixels for each

MOST_HIGH = 860  # of a picture [px]: the rest is cut off


@dataclass(frozen=True)
class Shot:
    """What is shown: the address, the day, and the parts of the page from first to last.

    Of the commands of that day as many are run as `played` says. What is folded and asked for by
    `unfolded` is opened first.
    """

    name: str
    day: int
    played: int
    address: str
    first: str
    last: str = ""
    unfolded: str = ""


PLAN = "/musts/dry-lane?protocol=halves_at_onset_and_third"
SHOTS = (
    Shot("plan", 0, 0, PLAN, "article.plan header", "ol.steps"),
    Shot("forecast", 0, 0, PLAN, "details:has(#will) figure", "", "details:has(#will)"),
    Shot("pitch", 0, 0, PLAN, "details:has(#pitch)", "", "details:has(#pitch)"),
    Shot("batch", 3, 9, "/batches/dry-lane", "section[aria-labelledby=line]"),
    Shot("sulfite", 28, 2, "/finish/sulfite?batch=dry-lane", "section.answer"),
)
COMPARE = Shot("compare", 0, 0, "/musts/dry-lane/compare", "section[aria-labelledby=picture]")


@contextmanager
def served(player: handbook.Player) -> Iterator[str]:
    """The pages over the cellar of the player, at the player's time."""
    import uvicorn

    from mustwright.compose import Compose
    from mustwright.errors import ConflictError
    from mustwright.kinetics.ready import warm_up
    from mustwright.web.app import create_app

    warm_up()
    compose = Compose(player.folder / "home", lambda: player.now, zone=UTC)
    sheet = (player.folder / "dry-lane.toml").read_text("utf-8")
    with suppress(ConflictError):  # there since the picture before
        compose.cellar.save("sheet", "dry-lane", sheet, None, "Dry lane")
    compose.begin_forecasting()
    config = uvicorn.Config(create_app(compose), port=0, log_level="error")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join()
        compose.close()


def play_until(player: handbook.Player, todo: list[handbook.Part], shot: Shot) -> None:
    """Run the commands that come before a picture, and take them off the list."""
    played = 0
    while todo and (todo[0].day, played) < (shot.day, shot.played):
        played += todo[0].day == shot.day
        if wrong := player.play(todo.pop(0)):
            sys.exit("\n".join(wrong))
    player.now = handbook.BEGUN + timedelta(days=shot.day)


def taken(page, address: str, shot: Shot) -> bytes:
    """A picture of the parts of a page."""
    page.goto(f"{address}{shot.address}", wait_until="networkidle")
    for _ in range(60):  # a forecast that is worked out behind the page
        if not page.locator(".waiting").count() and "being worked out" not in page.inner_text(
            "main"
        ):
            break
        time.sleep(0.3)
        page.reload()
    if shot.unfolded:
        page.locator(shot.unfolded).first.evaluate("e => { e.open = true }")
    boxes = [
        page.locator(one).first.bounding_box() for one in (shot.first, shot.last or shot.first)
    ]
    left = min(box["x"] for box in boxes) - 8
    top = boxes[0]["y"] - 8
    right = max(box["x"] + box["width"] for box in boxes) + 8
    bottom = boxes[1]["y"] + boxes[1]["height"] + 8
    size = {"width": right - left, "height": min(bottom - top, MOST_HIGH)}
    clip = {"x": max(left, 0), "y": max(top, 0), **size}
    return page.screenshot(clip=clip, full_page=True)


def kept(png: bytes, path: Path) -> int:
    """Write a picture as WebP, as sharp as the size allows; its size in bytes."""
    from PIL import Image

    picture = Image.open(io.BytesIO(png)).convert("RGB")
    for quality in (90, 80, 70, 60, 50, 40):
        picture.save(path, "WEBP", quality=quality, method=6)
        if path.stat().st_size <= LARGEST_KB * 1000:
            return path.stat().st_size
    sys.exit(f"pictures: {path.name} is over {LARGEST_KB} kB at any quality")


def main() -> int:
    """Take every picture."""
    from playwright.sync_api import sync_playwright

    handbook.PICTURES.mkdir(parents=True, exist_ok=True)
    images = handbook.ROOT / "docs" / "images"
    with (
        tempfile.TemporaryDirectory() as folder,
        handbook.Player(Path(folder)).ready() as player,
        sync_playwright() as playwright,
    ):
        chromium = playwright.chromium.launch(
            executable_path=browser.ensure(), args=["--no-sandbox", "--disable-gpu"]
        )
        page = chromium.new_page(
            viewport={"width": WIDTH, "height": HEIGHT}, device_scale_factor=SHARPNESS
        )
        todo = [part for part in handbook.parts() if part.kind == "sh"]
        player.play(next(part for part in handbook.parts() if part.kind == "toml"))
        for shot in (COMPARE, *SHOTS):
            play_until(player, todo, shot)
            target = (images if shot is COMPARE else handbook.PICTURES) / f"{shot.name}.webp"
            with served(player) as address:
                size = kept(taken(page, address, shot), target)
            print(target.relative_to(handbook.ROOT), size)
        chromium.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
