"""Which version is this?"""

from __future__ import annotations

import json
import platform

import click

from mustwright import __version__
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import command


@command()
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def version(as_json: bool) -> None:
    """Say which version this is."""
    if as_json:
        echo(json.dumps({"version": __version__, "python": platform.python_version()}))
    else:
        echo(f"mustwright {__version__} (Python {platform.python_version()})")
