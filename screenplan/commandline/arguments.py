"""What the command line takes besides plain values."""

from __future__ import annotations

import click

from screenplan.ground.paths import check_reachable


class PathArgument(click.Path):
    """A path that may be there or not, and that the operating system can look at.

    Parameters
    ----------
    writes : bool
        Whether it is to be written.
    """

    def __init__(self, *, writes: bool = False):
        super().__init__()
        self.writes = writes

    def convert(self, value, param, ctx):
        """Refuse a path that cannot be one, before a command is run."""
        check_reachable(value, writes=self.writes)
        return super().convert(value, param, ctx)
