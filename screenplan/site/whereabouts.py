"""Where layers lie: what is refused because nobody can say it, or because it is another place, and the frame around it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from pyproj import CRS

from screenplan.contracts import INPUTS, PARCELS
from screenplan.ground.datum import Transformation, is_ground
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.frame import LocalFrame
from screenplan.site.frames import bounds_of
from screenplan.site.likely_systems import say_likely
from screenplan.site.placing import ELSEWHERE_M, Placing
from screenplan.site.plausible import MOST_ACROSS_M, find_misfit, guess_unit, refuse_misfit
from screenplan.site.raster import read_terrain
from screenplan.site.repair import Findings
from screenplan.site.subject import POINT_CRS
from screenplan.site.terrain import TerrainSource

#: Layers that must hold something if they are given.
NEVER_EMPTY = ("parcels", "planting_line")


class Whereabouts(Placing):
    """Judges where layers lie, and lays the frame."""

    def _require_crs(self) -> None:
        for layer in self.layers.values():
            if not INPUTS[layer.name].geometry:
                continue
            if layer.crs is None and not (layer.rows == 0 and layer.name not in NEVER_EMPTY):
                self.problems += refuse(
                    "The layer has no CRS",
                    "State the CRS in which its coordinates are" + self._say_likely(layer),
                    **layer.where,
                    key=layer.crs_key,
                    kind="system",
                ).problems
        self._raise_problems()

    def _say_likely(self, layer) -> str:
        """Say in which systems a layer would lie where the others do, or the point that was given."""
        others = [
            (other.bounds, other.crs)
            for other in self.layers.values()
            if other.name != layer.name
            and INPUTS[other.name].geometry
            and other.crs is not None
            and not find_misfit(other.crs, other.bounds)
        ]
        if self.chosen.point is not None:
            others.append(((*self.chosen.point, *self.chosen.point), CRS(POINT_CRS)))
        likely = say_likely(layer.bounds, others)
        how = f". Write its code as crs under layers.{layer.name}, or start with --crs {layer.name}=CODE"
        return likely + how if likely else ""

    def _check_subject(self, source, rows) -> None:
        bounds = bounds_of(rows.geometry)
        try:
            refuse_misfit(source, bounds, rows.index)
        except InputError as error:
            raise InputError(
                replace(problem, mend=problem.mend + self._say_likely(source))
                for problem in error.problems
            ) from None
        if bounds is None:
            raise refuse(
                "The chosen parcel has no geometry with finite coordinates",
                "Draw its outline, or choose another parcel",
                **source.where,
                rows=rows.index.tolist(),
                kind="geometry",
            )

    def _check_extent(self, source, rows, way: Transformation) -> None:
        """Refuse a parcel or a drawn line that reaches farther than the frame's lengths are good."""
        bounds = bounds_of(rows.geometry)
        if bounds is None:
            return
        corners = shapely.get_coordinates(shapely.box(*bounds))
        with np.errstate(invalid="ignore"):
            x, y = self.frame.points_in(corners[:, 0], corners[:, 1], way)
        if not np.isfinite([x, y]).all():
            return  # said when the rows are placed
        across = float(max(np.hypot(x[2:4] - x[:2], y[2:4] - y[:2])))  # the two diagonals
        if across > MOST_ACROSS_M:
            thing, mend = "The parcel is", "give a smaller parcel"
            if source.name != PARCELS.name:
                thing, mend = "The line is", "give a smaller line"
            elif self.chosen.ids:
                thing, mend = "The lots are", "plan lots that lie nearer together"
            raise refuse(
                f"{thing} {{{across / 1000.0:.0f} km}} across, and a plan covers "
                f"{{{MOST_ACROSS_M / 1000.0:g} km}} at most" + guess_unit(source.crs, across),
                f"State the CRS in which the coordinates really are, or {mend}",
                **source.where,
                rows=rows.index.tolist(),
                key=source.crs_key,
                kind="system",
            )

    def _lay_frame(self, source, rows, terrain) -> LocalFrame:
        try:
            frame = LocalFrame.around(rows, self.about.height)
        except InputError as error:
            problem = error.problems[0]
            raise refuse(problem.what, problem.mend, **source.where, key=source.crs_key) from None
        if not frame.is_placed and not is_ground(frame.source_crs):
            self.warnings.append(
                f"Nobody knows how the CRS '{frame.source_crs.name}' lies on the earth: all layers are "
                "read in it alone, and there are no positions for a receiver or a web map"
                + (", no sun and no light; up in it is taken as north" if frame.is_plane else "")
                + ". With a CRS of known datum (layers.parcels.crs) there are."
            )
        if frame.is_plane:
            return frame
        if self.about.height is None and isinstance(terrain, TerrainSource):
            # The terrain's height, above sea level, is far better than none for the scale.
            try:
                spot, *_ = read_terrain(
                    terrain, frame, (-1.0, -1.0, 1.0, 1.0), datum_tolerance_m=self.about.most_datum
                )
            except InputError:
                return frame  # said, or mended, when the whole ground is read
            frame = LocalFrame.around(rows, float(spot.height_at(0.0, 0.0)))
            self.warnings.append(
                "The scale of lengths uses the terrain's height for the height above the "
                "ellipsoid; that costs up to {1.7 mm} in {100 m}."
            )
        return frame

    def _explain_absence(self, source, way, misfit: str | None, findings: Findings) -> None:
        """Say why nothing is within reach: another place, or only empty here."""
        if misfit:
            findings.refused(
                (),
                misfit,
                "State the CRS in which the coordinates really are" + self._say_likely(source),
                key=source.crs_key,
                kind="system",
            )
            return
        wide = self._read_near(source, way, ELSEWHERE_M)
        distances = self._distances(self._place(wide, source, way, Findings(source.name)))
        name = source.name.replace("_", " ")
        if not len(distances) or distances.min() > ELSEWHERE_M:
            findings.refused(
                (),
                f"The layer of {name} lies elsewhere: nothing in it is within "
                f"{{{ELSEWHERE_M / 1000:g} km}} of the subject parcel",
                "Give the layer of this place, or state the CRS in which its coordinates are"
                + self._say_likely(source),
                key=source.crs_key,
                kind="system",
            )
        elif source.name in NEVER_EMPTY:
            findings.refused(
                (),
                f"Nothing of the layer of {name} is within {{{self.about.reach:g} m}} of the subject",
                "Draw it at the subject parcel, or leave the layer out",
            )
        else:
            self.warnings.append(
                f"The layer of {name} holds nothing within {{{self.about.reach:g} m}} of the subject."
            )
