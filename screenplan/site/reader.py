"""One site's layers, read one after the other; `screenplan.site.reading` is its face."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from screenplan.contracts import INPUTS, PARCELS, PLANTING_LINE, Contract
from screenplan.contracts.tables import DTYPES
from screenplan.ground.datum import Transformation, fetch_command, is_ground
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.frame import LocalFrame
from screenplan.ground.said import said
from screenplan.plan import Options
from screenplan.site.buildings import fill_floors, fill_heights, leave_out_floorless
from screenplan.site.columns import (
    check_mapping,
    check_units,
    convert_columns,
    fill_defaults,
    is_unit_said,
)
from screenplan.site.composed import is_held
from screenplan.site.frames import FrameLayer
from screenplan.site.heights import doubt_heights, refuse_heights
from screenplan.site.likely_systems import say_likely
from screenplan.site.openstreetmap import given_by_tags, take_tags
from screenplan.site.overlaps import doubles, drop_doubles, find_overlaps
from screenplan.site.ownership import parcels_of
from screenplan.site.parts import settle_parts
from screenplan.site.plausible import MOST_ACROSS_M, find_misfit, guess_unit, refuse_misfit
from screenplan.site.raster import read_terrain
from screenplan.site.repair import WHOLE_LAYER, Findings, check_types, flatten, mend
from screenplan.site.shaping import kept, with_shapes
from screenplan.site.site import Site
from screenplan.site.sources import LayerSource, hash_unless_large
from screenplan.site.subject import IDS_KEY, POINT_CRS, choose_each, choose_rows
from screenplan.site.terrain import Terrain, TerrainSource
from screenplan.site.usual_names import take_usual_names
from screenplan.site.wings import merge_parts

#: A layer with nothing nearer to the subject is about another place.
ELSEWHERE_M = 2000.0
#: A frame's lengths are good to 3 in ten million this far from its middle.
FARTHEST_M = 5000.0
#: Layers that must hold something if they are given.
NEVER_EMPTY = ("parcels", "planting_line")


class Reader:
    """Reads the layers of one site; holds what every layer needs to know."""

    def __init__(self, layers, named, plan: Options, frame: LocalFrame | None = None):
        self.layers, self.named = layers, named
        self.chosen, self.about = plan.subject, plan.site
        self.us = plan.plan.units == "us"
        self._laid = frame
        self.repairs: list[tuple[str, int, str]] = []
        self.transformations: list[dict] = []
        self.warnings: list[str] = []
        self.inputs: list[dict] = []
        self.problems: list = []

    @property
    def frame(self) -> LocalFrame:
        """The frame into which all is read; it is given, or laid before the first layer."""
        assert self._laid is not None
        return self._laid

    def read(self, point_crs, terrain) -> Site:
        """Read everything; see `screenplan.site.reading.read_site`."""
        self._require_crs()
        if PARCELS.name not in self.layers:
            return self._read_line(terrain)
        source = self.layers[PARCELS.name]
        self._require_kind(source)
        id_column = self._id_column(source)
        if self.chosen.ids:
            lots, point = choose_each(source, id_column, self.chosen.ids), None
        else:
            rows, point = choose_rows(
                source,
                id_column,
                subject_id=self.chosen.id,
                subject_point=self.chosen.point,
                point_crs=point_crs,
            )
            lots = [rows]
        for rows in lots:
            self._check_subject(source, rows)
        rows = lots[0] if len(lots) == 1 else gpd.GeoDataFrame(pd.concat(lots), crs=source.crs)
        self._laid = self._laid or self._lay_frame(source, rows, terrain)
        chosen = [int(lot.index[0]) for lot in lots]
        parcels = self._read_parcels(source, rows, chosen, point)
        return self._read_others(parcels, terrain)

    def _read_line(self, terrain) -> Site:
        """Read a site of which only the line of the row is known: no parcel, and no subject."""
        if self.chosen.id is not None or self.chosen.point is not None or self.chosen.ids:
            raise refuse(
                "A parcel is chosen, and no layer of parcels is given",
                "Name the file that holds it under layers.parcels, or leave the section subject out",
                key="subject",
            )
        source = self.layers[PLANTING_LINE.name]
        if not source.rows:
            self._read_layer(PLANTING_LINE.name)  # refuses it
        rows = source.read()
        misfit = find_misfit(source.crs, _finite_bounds(rows))
        if misfit or _finite_bounds(rows) is None:
            raise refuse(
                misfit or "The planting line has no finite coordinates",
                "State the CRS in which the coordinates really are, or draw the line",
                **source.where,
                kind="system",
            )
        self._laid = self._laid or self._lay_frame(source, rows, terrain)
        way = self.frame.transformation_from(source.crs, **source.where)
        placed = self._place(rows, source, way, Findings.of(source))
        self.subject = shapely.union_all(placed.geometry.to_numpy())
        return self._read_others(_empty(PARCELS, self.frame.crs), terrain)

    def _read_others(self, parcels, terrain) -> Site:
        """Read all layers but the parcels, and the ground."""
        site_layers = {PARCELS.name: parcels}
        for name in self.layers:
            if name != PARCELS.name:
                try:
                    site_layers[name] = self._read_layer(name)
                except InputError as error:
                    self.problems += error.problems
        ground = self._read_terrain(terrain)
        self._raise_problems()
        if "buildings" in site_layers:
            houses = site_layers["buildings"]
            owner = pd.Series(parcels_of(houses, parcels), index=houses.index, dtype=object)
            houses = houses.assign(parcel_id=owner)
            site_layers["buildings"] = fill_floors(houses, ground)
        self.warnings.insert(0, f"{self.frame.length_note}.")
        return Site(
            frame=self.frame,
            layers={name: site_layers[name] for name in INPUTS if name in site_layers},
            terrain=ground,
            subject_id=", ".join(parcels.loc[parcels["is_subject"], "parcel_id"].astype(str)),
            repairs=_table_of_repairs(self.repairs),
            transformations=self.transformations,
            warnings=[said(warning) for warning in self.warnings],
            inputs=self.inputs,
        )

    def _raise_problems(self, findings: Findings | None = None) -> None:
        """Refuse what was found wrong, with what is found of a layer by now."""
        if findings is not None:
            self.problems += findings.problems
        if self.problems:
            raise InputError(self.problems)

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

    def _require_kind(self, source) -> None:
        """Refuse parcels of another kind of geometry before anything is looked for in them."""
        findings = Findings.of(source)
        if source.rows:
            check_types(source.types, PARCELS, findings)
        self._raise_problems(findings)

    def _id_column(self, source) -> str | None:
        """Find the file's column of parcel ids; None if it has none."""
        key, named = PARCELS.key, self.named[PARCELS.name]
        findings = Findings.of(source)
        check_mapping(PARCELS, source.columns, named, findings)
        self._raise_problems(findings)
        column = named.columns.get(key, key)
        return column if is_held(column, source.columns) else None

    def _check_subject(self, source, rows) -> None:
        bounds = _finite_bounds(rows)
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
        bounds = _finite_bounds(rows)
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

    def _read_parcels(self, source, rows, chosen: Sequence[int], point) -> gpd.GeoDataFrame:
        findings, way = Findings.of(source), self._way_from(source)
        self._check_extent(source, rows, way)
        subject = self._place(rows, source, way, findings)
        if not set(chosen) <= set(subject.index):
            self._raise_problems(findings)
        self.subject = _ground_of(subject.loc[~subject.index.duplicated()].loc[chosen])
        if self.subject.distance(shapely.Point(0.0, 0.0)) > FARTHEST_M:
            raise refuse(
                f"The subject lies more than {{{FARTHEST_M / 1000:g} km}} from the middle of the frame",
                "Use the frame of this site, or leave it out",
                **source.where,
            )
        near = self._read_near(source, way)
        near = pd.concat([near, rows.loc[rows.index.difference(near.index)]]).sort_index()
        near = gpd.GeoDataFrame(near, crs=source.crs)
        # The subject's row was placed above; placing all again lists its repairs once.
        findings = Findings.of(source)
        parcels = self._finish(source, near, way, findings, keep=chosen)
        if not set(chosen) <= set(parcels.index):
            self._raise_problems(findings)
        if point is not None:
            (point,) = self.frame.project_in(np.array([point]), way)
        for row in chosen:
            parcels = parcels.assign(is_subject=parcels.index == row)
            self._refuse_doubled(source, parcels, chosen)
            parcels = drop_doubles(parcels, findings)
            parcels = settle_parts(parcels, point, findings)
        self._raise_problems(findings)
        if len(chosen) > 1:
            parcels = parcels.assign(is_subject=parcels.index.isin(chosen))
        self.subject = _ground_of(parcels[parcels["is_subject"]])
        parcels = kept(parcels, self._is_near(parcels) | parcels["is_subject"].to_numpy())
        self.warnings += find_overlaps(parcels)
        self._take(source, way, parcels, findings)
        return parcels.reset_index(drop=True)

    def _refuse_doubled(self, source, parcels, chosen: Sequence[int]) -> None:
        """Refuse lots of one outline, of which nobody could say who plants what."""
        double = [row for row in doubles(parcels) if row in chosen]
        if double:
            subject = parcels["is_subject"]
            names = parcels.loc[subject | parcels.index.isin(double), "parcel_id"].astype(str)
            raise refuse(
                f"Lots {' and '.join(names)} have the same outline",
                "Keep one of them in subject.ids",
                **source.where,
                rows=sorted([*parcels.index[subject], *double]),
                key=IDS_KEY,
            )

    def _read_layer(self, name: str) -> pd.DataFrame:
        source, contract = self.layers[name], INPUTS[name]
        findings = Findings.of(source)
        if source.rows == 0:
            if name in NEVER_EMPTY:
                raise refuse(
                    f"The layer of {name.replace('_', ' ')} is empty",
                    "Draw what it should hold, or leave the layer out",
                    **source.where,
                )
            self.warnings.append(f"The layer of {name.replace('_', ' ')} is empty.")
            self._record(source, None, 0)
            return _empty(contract, self.frame.crs)
        if not contract.geometry:
            return self._read_table(source, contract, findings)
        named = self.named[name]
        present = (*source.columns, *given_by_tags(name, source.columns))
        check_mapping(contract, present, named, findings)
        misfit = find_misfit(source.crs, source.bounds)
        try:
            way = self._way_from(source)
        except InputError as error:
            raise InputError(findings.problems + list(error.problems)) from None
        source = self._turn(source, way)
        near = self._read_near(source, way)
        near = take_tags(name, near, tuple(named.columns), tuple(named.fixed), findings)
        if name == "planting_line":
            self._check_extent(source, near, way)
        done = self._finish(source, near, way, findings)
        if done.empty and not findings.problems:
            self._explain_absence(source, way, misfit, findings)
        theirs = named.columns.get("height_m")
        if theirs and not self._says_unit(name, "height_m") and not findings.problems:
            refuse_heights(name, done, theirs, findings)
        if name == "buildings" and not findings.problems:
            done = fill_heights(done, self.about.storey_height, findings)
            self.warnings += doubt_heights(done)
        self._check_keys(done, contract, findings)
        return self._take(source, way, done, findings)

    def _read_table(self, source, contract: Contract, findings: Findings) -> pd.DataFrame:
        """Read a layer of which only the columns count, wherever its rows lie."""
        named = self.named[source.name]
        named = take_usual_names(contract, source.columns, named, findings, us=self.us)
        done = read_columns(source, named, findings)
        self._check_keys(done, contract, findings)
        return self._take(source, None, done, findings)

    def _way_from(self, source) -> Transformation:
        """Choose the change of datum of a layer."""
        tolerance = self.about.most_datum
        return self.frame.transformation_from(source.crs, tolerance_m=tolerance, **source.where)

    def _take(
        self, source, way: Transformation | None, done: pd.DataFrame, findings: Findings
    ) -> pd.DataFrame:
        """Give a layer that is read, its repairs and its origin noted; refuse what is wrong in it."""
        if findings.problems:
            raise InputError(findings.problems)
        self.repairs += findings.repairs
        self._record(source, way, len(done))
        return done

    def _box(self, reach_m: float) -> tuple[float, float, float, float]:
        """Give the box that reaches so far beyond the subject."""
        west, south, east, north = self.subject.bounds
        return west - reach_m, south - reach_m, east + reach_m, north + reach_m

    def _read_near(self, source, way: Transformation, reach_m: float | None = None):
        reach = self.about.reach if reach_m is None else reach_m
        return source.read(self.frame.boxes_out(self._box(reach), way))

    def _distances(self, frame: gpd.GeoDataFrame) -> np.ndarray:
        """Distances of rows from the subject, (rows,)."""
        return shapely.distance(np.asarray(frame.geometry.array, dtype=object), self.subject)

    def _is_near(self, frame: gpd.GeoDataFrame) -> np.ndarray:
        """Tell which rows are within reach of the subject, (rows,)."""
        return self._distances(frame) <= self.about.reach

    def _turn(self, source, way: Transformation):
        """Turn a list of points without a header whose fields are east and north, where it lies here only so."""
        if not getattr(source, "is_turned_easily", False) or source.frame.empty:
            return source
        x, y = source.frame.geometry.x.to_numpy(), source.frame.geometry.y.to_numpy()
        far = [
            self.subject.distance(shapely.Point(*np.mean(self.frame.points_in(*pair, way), axis=1)))
            for pair in ((x, y), (y, x))
        ]
        if not (far[1] <= ELSEWHERE_M and not far[0] <= ELSEWHERE_M):
            return source
        turned = source.frame.set_geometry(gpd.points_from_xy(y, x))
        note = (
            "it has no header: only with east before north it lies here, so its fields are taken so"
        )
        return replace(source, frame=turned, notes=(note,))

    def _place(self, frame, source, way: Transformation, findings: Findings) -> gpd.GeoDataFrame:
        """Rows in the frame, two-dimensional; what cannot lie there is refused."""
        flat = flatten(frame, source.curved_among(frame), findings)
        given = moved = np.asarray(flat.geometry.array, dtype=object)
        there = np.ones(len(flat), dtype=bool)
        if source.crs != self.frame.crs and len(flat):
            moved = self.frame.project_in(given, way)
            there = np.isfinite(shapely.bounds(moved)).all(axis=-1) & self.frame.come_back(
                given, way
            )
        lost = np.flatnonzero(~there)
        if len(lost):
            findings.refused(
                flat.index[lost],
                f"Coordinates cannot lie in the CRS '{source.crs.name}'",
                "State the CRS in which the coordinates really are, or correct these rows",
                key=source.crs_key,
                kind="system",
            )
        return kept(with_shapes(flat, moved, self.frame.crs), there)

    def _finish(
        self, source, near, way: Transformation, findings: Findings, keep: Sequence[int] = ()
    ) -> gpd.GeoDataFrame:
        """Rows within reach, mended, with the contract's columns."""
        contract, named = INPUTS[source.name], self.named[source.name]
        before, findings.repairs = findings.repairs, []
        placed = self._place(near, source, way, findings)
        placed = kept(placed, self._is_near(placed) | placed.index.isin(keep))
        rows = set(placed.index)
        # What is said of rows out of reach does not matter, save of rows without a place.
        findings.repairs = before + [
            repair
            for repair in findings.repairs
            if repair[1] in rows or "row left out" in repair[2]
        ]
        if source.name == "buildings" and not {"storeys", "height_m"} & set(named.fixed):
            placed = leave_out_floorless(placed, named.columns, findings)
        mended = mend(placed, contract, findings)
        cells = _convert(mended, source, named, findings)
        whole = gpd.GeoDataFrame(cells, geometry=mended.geometry.array)
        whole = _drop_copies(whole, findings, keep)
        if source.name == "buildings":
            whole = merge_parts(whole, self.about.storey_height, findings)
        if contract is PARCELS:
            unnamed = whole["parcel_id"].isna()
            if unnamed.any():
                whole.loc[unnamed, "parcel_id"] = [f"row {row}" for row in whole.index[unnamed]]
        return fill_defaults(whole, contract)

    def _says_unit(self, layer: str, column: str) -> bool:
        """Tell whether the unit of a column's values is known."""
        return is_unit_said(INPUTS[layer].column(column), self.named[layer])

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

    def _check_keys(self, frame, contract: Contract, findings: Findings) -> None:
        twice = frame[contract.key].duplicated(keep=False)
        for name, rows in frame.index[twice].groupby(frame.loc[twice, contract.key]).items():
            findings.refused(
                rows,
                f"The {contract.key} '{name}' stands for {len(rows)} rows",
                "Give each its own, or leave the column out: rows are numbered then",
            )

    def _read_terrain(self, terrain) -> Terrain:
        if terrain is None:
            self.warnings.append("No terrain is given; the site is taken as flat.")
            return Terrain.flat()
        if isinstance(terrain, Terrain):
            return terrain
        try:
            ground, notes, way, record = read_terrain(
                terrain, self.frame, self._box(self.about.reach),
                datum_tolerance_m=self.about.most_datum,
            )  # fmt: skip
        except InputError as error:
            self.problems += error.problems
            return Terrain.flat()
        path = Path(terrain.file)
        self.warnings += [f"{note}." for note in notes]
        self.transformations.append({"layer": "terrain", **way})
        self._tell_change("The terrain", way)
        whole = hash_unless_large(path)
        if whole["sha256"] is not None:
            del record["read_sha256"]  # the whole says more
        self.inputs.append(
            {"name": "terrain", "file": str(path), "layer": None, **whole, "sidecars": {},
             "rows_near": None, **record}
        )  # fmt: skip
        return ground

    def _record(self, source, way: Transformation | None, near: int) -> None:
        self.inputs.append({**source.to_record(), "rows_near": near})
        what = source.name.replace("_", " ")
        self.warnings += [f"The layer of {what}: {note}." for note in source.notes]
        if way is None:
            return
        self.transformations.append({"layer": source.name, **way.to_record()})
        self._tell_change(f"The layer of {what}", way.to_record())

    def _tell_change(self, what: str, way: Mapping[str, Any]) -> None:
        """Tell how well a change of datum is known, and what would know it better."""
        if not way["accuracy_m"]:
            return
        better = ""
        if way["missing_grids"]:
            grids = way["missing_grids"]
            better = f" ({{{way['better_m']:g} m}} with {', '.join(grids)}: fetch by {fetch_command(grids)})"
        self.warnings.append(
            f"{what} was brought from '{way['source']}' to '{way['target']}', good to "
            f"{{{way['accuracy_m']:g} m}}{better}: it may lie so far beside where it belongs."
        )


def read_columns(source, named: LayerSource, findings: Findings) -> pd.DataFrame:
    """Make the columns of a contract without geometry of a layer's; what is wrong is noted."""
    contract = INPUTS[source.name]
    check_mapping(contract, source.columns, named, findings)
    return fill_defaults(_convert(source.read(), source, named, findings), contract)


def _convert(frame: pd.DataFrame, source, named: LayerSource, findings: Findings) -> pd.DataFrame:
    """Make the columns of a contract of the attributes of rows."""
    contract, attributes = INPUTS[source.name], pd.DataFrame(frame).drop(columns="geometry")
    check_units(attributes, contract, source.crs, named, findings)
    return convert_columns(attributes, contract, named, findings)


def _drop_copies(
    frame: gpd.GeoDataFrame, findings: Findings, keep: Sequence[int]
) -> gpd.GeoDataFrame:
    """Leave out rows that repeat another one in all that is read of it."""
    shapes = np.asarray(frame.geometry.array, dtype=object)
    if not pd.DataFrame(shapely.bounds(shapes)).duplicated().any():
        return frame  # what is equal has equal bounds
    shapes = shapely.to_wkb(shapely.normalize(shapes))
    table = pd.DataFrame(frame.drop(columns="geometry")).astype(str).assign(shape=shapes)
    again = table.duplicated().to_numpy() & ~frame.index.isin(keep)
    first = table.groupby(list(table.columns), sort=False, dropna=False)
    firsts = first.ngroup().to_numpy()
    for position in np.flatnonzero(again):
        original = frame.index[np.flatnonzero(firsts == firsts[position])[0]]
        findings.mended([frame.index[position]], f"copy of row {original}: row left out")
    return kept(frame, ~again)


def _ground_of(lots: gpd.GeoDataFrame):
    """Give the ground that is planned: of several lots all of them, as they are."""
    shapes = lots.geometry.to_numpy()
    return shapes[0] if len(shapes) == 1 else shapely.geometrycollections(shapes)


def _finite_bounds(frame: gpd.GeoDataFrame):
    return FrameLayer("", frame).bounds


def _empty(contract: Contract, crs: CRS) -> pd.DataFrame:
    kinds = {"text": object, "date": object, "number": float, "integer": "int64", "boolean": bool}
    columns = {c.name: pd.Series([], dtype=kinds[c.type]) for c in contract.columns}
    if not contract.geometry:
        return pd.DataFrame(columns)
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries([], crs=crs), crs=crs)


def _table_of_repairs(repairs: list[tuple[str, int, str]]) -> pd.DataFrame:
    """Lay the repairs out as a table; a repair of a whole layer has no row."""
    told = [(layer, row, said(repair)) for layer, row, repair in repairs]
    # As objects first: what pandas takes texts for by itself may not keep their quantities.
    table = pd.DataFrame(told, columns=["layer", "row", "repair"], dtype=object).astype(
        {"layer": DTYPES["text"], "row": "Int64", "repair": DTYPES["text"]}
    )
    return table.assign(row=table["row"].mask(table["row"] == WHOLE_LAYER))
