"""Numbers typed at a command: with a point, or with the decimal sign of the language spoken."""

from __future__ import annotations

from typing import Any

import click


class _Number(click.types.FloatParamType):
    """A number; what follows a decimal comma is read where the language has one."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The number that was typed."""
        from mustwright.units import plainly_typed

        plain: Any = plainly_typed(value) if isinstance(value, str) else value
        return float(super().convert(plain, param, ctx))


NUMBER = _Number()
