"""What of a plan falls due by a trigger: a feed, a part of the salt."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any

from mustwright.nutrition.triggers import Trigger, read_trigger


class FallsDue:
    """Something kept with its trigger as written in a protocol file, under ``when``."""

    key: str
    trigger: Mapping[str, Any]

    @cached_property
    def rule(self) -> Trigger:
        """When it falls due."""
        return read_trigger(self.trigger["when"], f"{self.key}.trigger")
