"""Rows for a drip line: lengths, levels and emitters."""

import math

import numpy as np
import pytest
import shapely
import works_site as site
from options_kit import plan_with

from screenplan.contracts import DRIP_LINES
from screenplan.contracts.tables import notes_of
from screenplan.outputs.conform import conform
from screenplan.site.terrain import Terrain
from screenplan.works.drip import lay_drip_lines

#: Metres; rounding of coordinates.
LENGTH = 1e-6


def plane(slope_x=0.0, slope_y=0.0) -> Terrain:
    """A plane over the site, 100 m by 100 m, 10 m high at its origin."""
    x = y = np.array([-20.0, 80.0])
    heights = 10.0 + slope_x * x[None, :] + slope_y * y[::-1][:, None]
    return Terrain(heights, x[0], y[0], 100.0, 100.0)


def laid(plants=None, terrain=None, **options):
    plants = site.planted(along=("north", "east"))[2] if plants is None else plants
    lines = lay_drip_lines(plants, plan=plan_with(**options), terrain=terrain)
    conform(lines, DRIP_LINES)
    return plants, lines


def test_a_line_runs_from_the_first_plant_to_the_last():
    # Closed form: plants of a straight row stand evenly, n of them s apart are (n - 1) s long.
    plants, lines = laid(works_emitters=2)
    assert lines["line_id"].tolist() == list(dict.fromkeys(plants["line_id"]))
    for row in lines.to_dict("records"):
        own = plants.loc[plants["line_id"] == row["line_id"]]
        assert row["plants"] == len(own)
        assert row["emitters"] == 2 * len(own)
        ends = own.geometry.iloc[[0, -1]].tolist()
        assert row["length_m"] == pytest.approx(shapely.distance(*ends), abs=LENGTH)
        assert row["length_m"] == pytest.approx((len(own) - 1) * row["spacing_m"], abs=LENGTH)
        assert row["spacing_m"] <= row["widest_m"] <= 1.5 + LENGTH  # the plan's spacing at most
        assert row["geometry"].length == pytest.approx(row["length_m"], abs=LENGTH)
    for name in ("first_level_m", "last_level_m", "rise_m", "lowest_level_m", "highest_level_m"):
        assert lines[name].isna().all()
    assert lines["slope_m"].tolist() == lines["length_m"].tolist()


def test_levels_and_lengths_on_a_plane():
    # Closed form: 3 m up in 4 m to the east; along it 5/4 of the level length, across it no rise.
    _, lines = laid(terrain=plane(slope_x=0.75))
    rows = lines.set_index("line_id")
    north = rows.loc[[name for name in rows.index if name.startswith("north")]].iloc[0]
    east = rows.loc[[name for name in rows.index if name.startswith("east")]].iloc[0]
    assert north["slope_m"] == pytest.approx(1.25 * north["length_m"], abs=LENGTH)
    assert abs(north["rise_m"]) == pytest.approx(0.75 * north["length_m"], abs=LENGTH)
    assert north["rise_m"] == pytest.approx(north["last_level_m"] - north["first_level_m"])
    assert north["highest_level_m"] - north["lowest_level_m"] == pytest.approx(abs(north["rise_m"]))
    assert east["rise_m"] == pytest.approx(0.0, abs=LENGTH)
    assert east["slope_m"] == pytest.approx(east["length_m"], abs=LENGTH)


def test_the_way_back_falls_as_much_as_it_rises():
    # Invariant: the other way along the row the rise has the other sign.
    plants, there = laid(terrain=plane(0.3, 0.1))
    back = plants.assign(station_m=-plants["station_m"])
    _, turned = laid(back, terrain=plane(0.3, 0.1))
    for line in there.to_dict("records"):
        other = turned.set_index("line_id").loc[line["line_id"]]
        assert other["rise_m"] == pytest.approx(-line["rise_m"])
        assert other["slope_m"] == pytest.approx(line["slope_m"])
        assert other["lowest_level_m"] == pytest.approx(line["lowest_level_m"])


def test_a_hump_between_the_ends_is_told():
    # By hand: a roof whose ridge, 1 m up, lies across the middle of the row; both ends are level.
    plants = site.planted()[2]
    xs = shapely.get_coordinates(plants.geometry.to_numpy())[:, 0]
    middle = float((xs.min() + xs.max()) / 2)

    class Roof:
        def height_at(self, x, y):
            return 10.0 + 1.0 - 0.1 * np.abs(np.asarray(x) - middle)

        def slope_length(self, x, y):
            steps = np.hypot(np.diff(x), np.diff(y)) * math.hypot(1.0, 0.1)
            return np.concatenate([[0.0], np.cumsum(steps)])

    _, lines = laid(plants, terrain=Roof())
    row = lines.iloc[0]
    assert row["rise_m"] == pytest.approx(0.0, abs=LENGTH)
    assert row["highest_level_m"] - row["lowest_level_m"] > 0.5


def test_plants_that_stand_get_no_water_and_one_alone_needs_no_line():
    plants = site.planted(along=("north", "east"))[2]
    first, second = dict.fromkeys(plants["line_id"])
    stands = (plants["line_id"] == second) & (plants.groupby("line_id").cumcount() > 0)
    _, lines = laid(plants.assign(existing=stands | plants["existing"]))
    assert lines["line_id"].tolist() == [first]
    assert notes_of(lines) == (f"A row of one plant needs no drip line: {second}",)
