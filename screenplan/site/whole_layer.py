"""Layers of files that are read whole at once, under the same face as those that are read in parts."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import geopandas as gpd
from pyproj import CRS

from screenplan.site.files import hash_file
from screenplan.site.frames import FrameLayer


@dataclass(frozen=True)
class WholeLayer(FrameLayer):
    """A layer that was read whole from a file.

    Parameters
    ----------
    name, frame
        As in `FrameLayer`; the CRS of the frame does not count.
    file : str
        The file, for messages.
    crs_key : str
        Key of a plan that states its CRS.
    layer : str or None
        The layer in it, for messages.
    crs : CRS or None
        The CRS of its coordinates; None where neither file nor plan states one.
    notes : tuple of str
        What a person should know of the file.
    is_turned_easily : bool
        Whether nobody knows which of its two coordinates is east; see `screenplan.site.point_lists`.
    """

    file: str = ""
    crs_key: str = ""
    layer: str | None = None
    crs: CRS | None = None
    notes: tuple[str, ...] = ()
    is_turned_easily: bool = False

    @cached_property
    def _numbered(self) -> gpd.GeoDataFrame:
        numbered = self._number()
        return numbered.set_geometry(
            gpd.GeoSeries(numbered.geometry.array, index=numbered.index, crs=None)
        ).set_crs(self.crs, allow_override=True)

    def to_record(self) -> dict[str, object]:
        """Give what a run record says of it."""
        return super().to_record() | {
            "file": self.file,
            "layer": self.layer,
            "sha256": hash_file(Path(self.file)),
        }
