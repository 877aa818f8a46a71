"""One site's layers, read one after the other; `screenplan.site.reading` is its face."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from screenplan.contracts import INPUTS, PARCELS, PLANTING_LINE, Contract
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.said import said
from screenplan.site.buildings import fill_floors, fill_heights
from screenplan.site.columns import (
    check_mapping,
    is_unit_said,
)
from screenplan.site.composed import is_held
from screenplan.site.frames import bounds_of
from screenplan.site.heights import doubt_heights, refuse_heights
from screenplan.site.noting import table_of_repairs
from screenplan.site.openstreetmap import given_by_tags, take_tags
from screenplan.site.overlaps import doubles, drop_doubles, find_overlaps
from screenplan.site.ownership import parcels_of
from screenplan.site.parts import settle_parts
from screenplan.site.placing import read_columns
from screenplan.site.plausible import find_misfit
from screenplan.site.raster import read_terrain
from screenplan.site.repair import Findings, check_types
from screenplan.site.shaping import kept
from screenplan.site.site import Site
from screenplan.site.sources import hash_unless_large
from screenplan.site.subject import IDS_KEY, choose_each, choose_rows
from screenplan.site.terrain import Terrain
from screenplan.site.usual_names import take_usual_names
from screenplan.site.whereabouts import NEVER_EMPTY, Whereabouts

#: A frame's lengths are good to 3 in ten million this far from its middle.
FARTHEST_M = 5000.0


class Reader(Whereabouts):
    """Reads the layers of one site."""

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
                "Name the file that holds it under [layers.parcels], or leave the section subject out",
                key="subject",
            )
        source = self.layers[PLANTING_LINE.name]
        if not source.rows:
            self._read_layer(PLANTING_LINE.name)  # refuses it
        rows = source.read()
        misfit = find_misfit(source.crs, bounds_of(rows.geometry))
        if misfit or bounds_of(rows.geometry) is None:
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
            repairs=table_of_repairs(self.repairs),
            transformations=self.transformations,
            warnings=[said(warning) for warning in self.warnings],
            inputs=self.inputs,
        )

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
        if self.warn:
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

    def _says_unit(self, layer: str, column: str) -> bool:
        """Tell whether the unit of a column's values is known."""
        return is_unit_said(INPUTS[layer].column(column), self.named[layer])

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


def _ground_of(lots: gpd.GeoDataFrame):
    """Give the ground that is planned: of several lots all of them, as they are."""
    shapes = lots.geometry.to_numpy()
    return shapes[0] if len(shapes) == 1 else shapely.geometrycollections(shapes)


def _empty(contract: Contract, crs: CRS) -> pd.DataFrame:
    kinds = {"text": object, "date": object, "number": float, "integer": "int64", "boolean": bool}
    columns = {c.name: pd.Series([], dtype=kinds[c.type]) for c in contract.columns}
    if not contract.geometry:
        return pd.DataFrame(columns)
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries([], crs=crs), crs=crs)
