"""A whole working, which the pages show part by part."""

from __future__ import annotations

import html
import re


def whole_working(client, address: str) -> str:
    """Every part of the working at an address, one page after another."""
    first = client.get(address)
    assert first.status_code == 200
    parts = re.findall(r'<p class="part"><a href="([^"#]+)#w\d+">', first.text)
    assert parts
    return "".join(client.get(address.split("?")[0] + html.unescape(part)).text for part in parts)
