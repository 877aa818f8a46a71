"""Names and orders follow the site: not the file's system, the order of its rows, nor its rings."""

import numpy as np
import pytest
import same_site as site
import shapely

from screenplan.contracts import OUTPUTS
from screenplan.running.pipeline import run_plan
from screenplan.site.places import lay_places
from screenplan.site.sides import find_sides
from screenplan.site.walls import walls_of
from screenplan.site.windows import lay_windows

#: GeoJSON keeps seven digits of a degree: up to 6 mm each way, told apart at twice that.
SAME_M = 0.02
LAYERS = ["windows", "private_places", "sides", "no_plant_zones", "planting_lines", "plants", "tape_points"]  # fmt: skip
PLAN = {"rows": {"along": ["north", "east"], "spacing": "2.05 m"}, "site": {"boundary_accuracy": "0.3 m"}}  # fmt: skip


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    return run(site.layers(), tmp_path_factory.mktemp("home"), site.HOME)


def run(layers, folder, system, kind="gpkg"):
    plan = site.write(layers, folder, system, kind=kind) | PLAN
    return run_plan(plan, folder, only=LAYERS).layers


def differ(one, other, *, ordered=True) -> list[str]:
    """Tell which layers name other things, or other places by the same name."""
    found = []
    for name in LAYERS:
        key = OUTPUTS[name].key
        ours, theirs = (layers[name].set_index(key) for layers in (one, other))
        same = ours.index.equals(theirs.index) if ordered else set(ours.index) == set(theirs.index)
        if not same:
            found.append(f"{name}: {ours.index.tolist()} and {theirs.index.tolist()}")
            continue
        theirs = theirs.loc[ours.index]
        away = shapely.hausdorff_distance(ours.geometry.to_numpy(), theirs.geometry.to_numpy())
        if np.max(away, initial=0.0) > SAME_M:
            found.append(f"{name}: moved by {np.max(away):.2f} m")
        words = [c for c in ours.columns if c.endswith("_id") or c == "name"]
        for column in words:
            if ours[column].astype(str).tolist() != theirs[column].astype(str).tolist():
                found.append(f"{name}.{column}")
    return found


@pytest.mark.parametrize("system", site.SYSTEMS)
def test_names_do_not_depend_on_the_system(home, tmp_path, system):
    # One site in metres about it, in another zone, in feet, in degrees, in the web's metres.
    assert not differ(home, run(site.layers(), tmp_path, site.SYSTEMS[system]))


def test_names_do_not_depend_on_the_format(home, tmp_path):
    assert not differ(home, run(site.layers(), tmp_path, "EPSG:4326", "geojson"))


@pytest.mark.parametrize("seed", [1, 2])
def test_names_do_not_depend_on_where_a_ring_begins(home, tmp_path, seed):
    assert not differ(home, run(site.rings_redrawn(site.layers(), seed), tmp_path, site.HOME))


@pytest.mark.parametrize("seed", [1, 2])
def test_names_do_not_depend_on_the_order_of_the_rows(tmp_path, seed):
    # Rows with identifiers of their own; without, their number in the file is their name.
    given = site.named(site.layers())
    ours = run(given, tmp_path / "ours", site.HOME)
    theirs = run(site.rows_shuffled(given, seed), tmp_path / "theirs", site.HOME)
    # Views stand in the order of who looks, onlookers in that of their layer.
    assert not differ(ours, theirs, ordered=False)
    assert ours["windows"]["window_id"].tolist() == theirs["windows"]["window_id"].tolist()


def frames(layers):
    """Layers as the steps take them: in metres, the subject marked."""
    parcels = layers["parcels"].assign(is_subject=layers["parcels"]["parcel_id"] == "lot 5")
    return parcels, layers["buildings"]


def apart(one, other) -> float:
    return shapely.hausdorff_distance(one.geometry.to_numpy(), other.geometry.to_numpy()).max()


def jittered(frame, seed, size=0.004):
    """Move each vertex by some millimetres, as coordinates of another system are."""
    chance = np.random.default_rng(seed)

    def moved(xy):
        off = chance.uniform(-size, size, xy.shape)
        off[-1] = off[0]  # rings stay closed
        return xy + off

    def shape(polygon):
        rings = [
            moved(shapely.get_coordinates(ring)) for ring in (polygon.exterior, *polygon.interiors)
        ]
        return shapely.Polygon(rings[0], rings[1:])

    return frame.set_geometry([shape(polygon) for polygon in frame.geometry], crs=frame.crs)


@pytest.mark.parametrize("seed", range(12))
def test_steps_name_alike_whatever_the_last_digits(seed):
    layers = site.rings_redrawn(site.named(site.layers()), seed)
    ours, theirs = frames(site.named(site.layers())), frames(layers)
    theirs = tuple(jittered(frame, seed + k) for k, frame in enumerate(theirs))
    one, other = (lay_windows(*given).set_index("window_id") for given in (ours, theirs))
    # One that looks at exactly 30° to its wall may come or go, and leaves the others their names.
    both = one.index.intersection(other.index)
    assert len(both) >= 0.9 * max(len(one), len(other))
    assert (one.loc[both, "name"] == other.loc[both, "name"]).mean() > 0.9
    assert apart(one.loc[both], other.loc[both]) < 0.05
    assert apart(lay_places(*ours), lay_places(*theirs)) < 0.05
    one, other = (find_sides(given[0])["side_id"].tolist() for given in (ours, theirs))
    assert one == other


def test_walls_begin_at_the_first_corner_clockwise_from_north():
    # A rectangle: all its corners are equally far out, and the last digits chose among them.
    xy = np.array([[0.0, 0.0], [8.0, 0.0], [8.0, 5.0], [0.0, 5.0]])
    for first in range(4):
        for way in (1, -1):
            walls = walls_of(shapely.Polygon(np.roll(xy, first, axis=0)[::way]))
            assert walls.start.tolist() == [[8.0, 5.0], [0.0, 5.0], [0.0, 0.0], [8.0, 0.0]]
            assert walls.facing_deg.tolist() == [0.0, 270.0, 180.0, 90.0]


def test_walls_of_parts_and_courtyards_come_the_largest_first():
    large = shapely.difference(
        shapely.box(0, 0, 20, 20), shapely.union_all([shapely.box(2, 2, 5, 5), shapely.box(8, 8, 16, 16)])
    )  # fmt: skip
    small = shapely.box(30, 0, 36, 6)
    walls = walls_of(shapely.MultiPolygon([small, large]))
    turned = shapely.Polygon(large.exterior, [*large.interiors][::-1])
    other = walls_of(shapely.MultiPolygon([turned, small]))
    assert walls.start.tolist() == other.start.tolist()
    # The outer ring of 80 m, its courtyards of 32 and 12 m, the part of 24 m.
    assert np.round(np.add.reduceat(walls.length_m, [0, 4, 8, 12])).tolist() == [80, 32, 12, 24]


def test_equal_sides_are_numbered_by_their_place():
    # Two sides of 12.25 m face north, equally long but for the last digits: the outer one is north-1.
    for off in (-1e-6, 1e-6):
        outline = shapely.Polygon(
            [(0, 0), (24.5, 0), (24.5, 20), (12.25 + off, 20), (12.25 + off, 30), (0, 30)]
        )
        parcels = site.gpd.GeoDataFrame(
            {"parcel_id": ["a"], "is_subject": [True]}, geometry=[outline]
        )
        sides = find_sides(parcels).set_index("side_id")
        assert sides.loc["north-1"].geometry.centroid.y == pytest.approx(30.0)
        assert sides.index[0] == "north-1"
