"""The whole job: the same plan whatever the reference system, and from Python as from files."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import screenplan
from screenplan.ground.errors import InputError
from screenplan.plan import check_plan
from screenplan.running.pipeline import run_plan

#: Two ways to the same place agree to the rounding of coordinates of millions of metres.
SAME_PLACE_M = 1e-4

#: A lot in the middle of zone 14, so that all of the systems below are good there.
CORNER = (500_000.0, 4_980_000.0)
SYSTEMS = {
    "degrees": "EPSG:4326",
    "UTM metres": "EPSG:32614",
    "web Mercator": "EPSG:3857",
    "US survey feet": "+proj=tmerc +lat_0=44 +lon_0=-99 +k=0.9999 +x_0=600000 +datum=WGS84 +units=us-ft +type=crs",
}  # fmt: skip


def scene(turn_deg=0.0):
    """A lot with its house, and a neighbour's house of two storeys to the north of it."""
    shapes = {
        "parcels": [shapely.box(0, 0, 40, 30), shapely.box(0, 30, 40, 70)],
        "buildings": [shapely.box(10, 6, 22, 14), shapely.box(12, 42, 24, 52)],
    }
    layers = {
        "parcels": gpd.GeoDataFrame({"parcel_id": ["lot", "north"]}, geometry=shapes["parcels"], crs="EPSG:32614"),
        "buildings": gpd.GeoDataFrame({"building_id": ["own", "theirs"], "storeys": [1, 2]}, geometry=shapes["buildings"], crs="EPSG:32614"),
    }  # fmt: skip
    for layer in layers.values():
        turned = layer.geometry.rotate(turn_deg, origin=(0, 0)).translate(*CORNER)
        layer.geometry = turned
    return layers


def write(layers, folder):
    sources = {}
    for name, layer in layers.items():
        file = folder / f"{name}.gpkg"
        layer.to_file(file, driver="GPKG", engine="fiona")
        sources[name] = {"file": str(file)}
    return sources


def run_on(layers, folder, **sections):
    content = {
        "subject": {"id": "lot"},
        "rows": {"along": ["north"], "spacing": "5 ft"},
        "layers": write(layers, folder),
    }
    return run_plan(check_plan(content | sections))


@pytest.fixture(scope="module")
def reference(tmp_path_factory):
    return run_on(scene(), tmp_path_factory.mktemp("reference"))


@pytest.mark.parametrize("system", SYSTEMS.values(), ids=list(SYSTEMS))
def test_the_plants_do_not_depend_on_the_reference_system(system, reference, tmp_path):
    layers = {name: layer.to_crs(system) for name, layer in scene().items()}
    run = run_on(layers, tmp_path)
    first, second = reference.layers["plants"], run.layers["plants"]
    assert len(first) == len(second) > 10
    assert (first["station_m"] - second["station_m"]).abs().max() < SAME_PLACE_M
    a = reference.site.frame.send_out(first, "EPSG:4326")
    b = run.site.frame.send_out(second, "EPSG:4326")
    apart = np.hypot(*(shapely.get_coordinates(a.geometry) - shapely.get_coordinates(b.geometry)).T)
    assert apart.max() < SAME_PLACE_M / 78_000  # a degree of longitude is 78 km at 45° N
    pd.testing.assert_series_equal(first["species"], second["species"])
    pd.testing.assert_series_equal(
        reference.layers["views"]["year_closed"], run.layers["views"]["year_closed"]
    )


def test_layers_in_different_systems_go_together(reference, tmp_path):
    layers = scene()
    layers["buildings"] = layers["buildings"].to_crs("EPSG:4326")
    run = run_on(layers, tmp_path)
    assert len(run.layers["plants"]) == len(reference.layers["plants"])
    pd.testing.assert_series_equal(
        reference.layers["views"]["year_closed"], run.layers["views"]["year_closed"]
    )


def test_spacing_on_the_ground_is_as_asked(reference):
    # Arithmetic: evened, so no gap above 5 ft and both ends planted: ceil(L / s) + 1 plants.
    line = reference.layers["planting_lines"].iloc[0]
    plants = reference.layers["plants"]
    assert len(plants) == int(np.ceil(line["length_m"] / 1.524 - 1e-9)) + 1
    assert plants["gap_before_m"].dropna().max() <= 1.524 + 1e-6
    # The lot is 40 m on the UTM grid, whose scale at its middle is 0.9996.
    assert reference.layers["sides"].set_index("side_id")["length_m"]["north"] == pytest.approx(
        40 / 0.9996, abs=0.002
    )


def test_an_upper_window_looks_over_the_line_and_the_row_closes_it(reference):
    views = reference.layers["views"]
    seen = views[views["status"].isin(["closes", "stays open"])]
    assert len(seen)
    assert (seen["open_now"] > 0.1).all()
    # Growth never opens a view while crowns are nested, as cones are.
    years = reference.layers["view_years"]
    summer = years[years["season"] == "summer"].sort_values("year")
    assert (
        summer.groupby(["view_id", "growth"])["open"].apply(lambda share: share.diff().max()).max()
        <= 1e-12
    )


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(turn=st.floats(0, 360), spacing=st.floats(0.8, 4.0))
def test_plants_stand_in_the_plantable_zone_at_any_angle(turn, spacing):
    layers = scene(turn)
    chain = {"parcels": layers["parcels"], "buildings": layers["buildings"]}
    options = {
        "subject_id": "lot",
        "frame": screenplan.LocalFrame.around(layers["parcels"].iloc[[0]]),
    }
    for name in ("sides", "zones"):
        chain |= screenplan.run_step(name, chain, **options)
    options["plan"] = {"rows": {"along": ["all"], "spacing": f"{spacing} m"}}
    for name in ("lines", "plants"):
        chain |= screenplan.run_step(name, chain, **options)
    plants, zone = chain["plants"], chain["plantable_zone"].union_all()
    assert len(plants) > 4
    assert shapely.distance(plants.geometry.to_numpy(), zone).max() < 0.002
    forbidden = shapely.union_all(
        shapely.buffer(chain["no_plant_zones"].geometry.to_numpy(), -0.002)
    )
    assert not shapely.intersects(plants.geometry.to_numpy(), forbidden).any()
    assert plants["gap_before_m"].dropna().max() <= spacing + 0.002


# -- steps from Python -----------------------------------------------------------------------


def test_a_step_keeps_the_callers_system_and_index():
    parcels = scene()["parcels"].set_axis(["a", "b"], axis=0)
    places = gpd.GeoDataFrame({"place_id": ["bench"]}, geometry=[shapely.Point(CORNER[0] + 30, CORNER[1] + 20)],
                              crs="EPSG:32614", index=["mine"])  # fmt: skip
    before = parcels.copy()
    given = screenplan.run_step(
        "places", {"parcels": parcels, "private_places": places}, subject_id="lot"
    )["private_places"]
    assert given.crs == parcels.crs
    assert list(given.index) == ["mine"]
    assert given.geometry.iloc[0].distance(places.geometry.iloc[0]) < SAME_PLACE_M
    pd.testing.assert_frame_equal(before, parcels)


def test_the_given_terrain_carries_the_houses_too():
    # Closed form: on a plane the mean ground under a footprint is the ground at its middle, which
    # is 47 m north of the lot's south side, 32 m from the frame's origin; a tenth of it is 3.2 m.
    layers = scene()
    window = gpd.GeoDataFrame({"window_id": ["w"], "sill_m": [0.9]}, crs="EPSG:32614",
                              geometry=[shapely.Point(CORNER[0] + 18, CORNER[1] + 42)])  # fmt: skip
    y = np.array([-100.0, 100.0])
    plane = screenplan.Terrain(0.1 * np.column_stack([y, y]), -100.0, -100.0, 200.0, 200.0)
    frame = screenplan.LocalFrame.around(layers["parcels"].iloc[[0]])
    windows = screenplan.run_step(
        "windows", layers | {"windows": window}, frame=frame, subject_id="lot", terrain=plane
    )["windows"]
    assert windows["floor_m"].iloc[0] == pytest.approx(3.2, abs=0.01)


def test_a_step_alone_gives_what_the_whole_run_gave(reference, tmp_path):
    layers = scene()
    sides = screenplan.run_step("sides", {"parcels": layers["parcels"]}, subject_id="lot")["sides"]
    whole = reference.layers["sides"]
    assert list(sides["side_id"]) == list(whole["side_id"])
    assert (sides["length_m"] - whole["length_m"]).abs().max() < SAME_PLACE_M


@pytest.mark.parametrize(
    ("name", "layers", "message"),
    [
        ("dig", {}, "there is no step 'dig'"),
        ("sides", {}, "step sides needs the layer parcels"),
        ("closure", {}, "step closure needs the layer"),
    ],
)
def test_a_step_that_cannot_run_says_why(name, layers, message):
    with pytest.raises(InputError, match=message):
        screenplan.run_step(name, layers)


def test_a_step_without_parcels_refuses_geometries_that_it_cannot_work_on(reference):
    layers = {name: reference.layers[name] for name in ("windows", "private_places")}
    layers["planting_lines"] = reference.layers["planting_lines"]
    crossing = shapely.Polygon([(0, 0), (10, 4), (10, 0), (0, 4)])
    places = layers["private_places"].iloc[[0, 0]].copy()
    for shape, message in ((crossing, "crosses itself"), (None, "no geometry")):
        places.geometry = [places.geometry.iloc[0], shape]
        with pytest.raises(InputError, match=rf"layer private_places, row 2: .*{message}"):
            screenplan.run_step("needed", layers | {"private_places": places})


def test_a_parcel_without_reference_system_is_refused():
    parcels = scene()["parcels"].set_crs(None, allow_override=True)
    with pytest.raises(InputError, match="CRS"):
        screenplan.run_step("sides", {"parcels": parcels}, subject_id="lot")


def test_a_run_asked_for_some_layers_runs_what_they_hang_on_and_gives_the_same(
    reference, tmp_path_factory
):
    # Invariant: the steps that are left out give nothing that the asked layers hang on.
    folder = tmp_path_factory.mktemp("only")
    content = {
        "subject": {"id": "lot"},
        "rows": {"along": ["north"]},
        "layers": write(scene(), folder),
    }
    run = run_plan(content, settings=["rows.spacing=5 ft"], only=["closure", "views"])
    for name in ("closure", "views", "view_years", "planting_lines"):
        pd.testing.assert_frame_equal(run.layers[name], reference.layers[name])
    assert not {"light", "stakes", "checks", "missing_plants"} & run.layers.keys()
    assert "rows" in content
    assert "spacing" not in content["rows"]
    with pytest.raises(InputError, match="nothing was checked"):
        assert run.fails
    with pytest.raises(InputError, match=r"asked for closure, views only.*Run the whole plan"):
        screenplan.write_run(run, folder / "out")
    assert not (folder / "out").exists()


def test_alternatives_can_be_asked_for_alone(reference, tmp_path):
    content = {
        "subject": {"id": "lot"},
        "rows": {"along": ["north"], "spacing": "5 ft"},
        "alternatives": {"spacings": ["8 ft"]},
        "layers": write(scene(), tmp_path),
    }
    run = run_plan(content, only="alternatives")
    # The first is the plan itself, whose plants the whole run counts.
    assert run.layers["alternatives"]["plants"].iloc[0] == len(reference.layers["plants"])
    assert "views" not in run.layers


def test_a_layer_that_no_step_gives_is_refused():
    with pytest.raises(InputError, match=r"no step gives a layer 'hedge'.*plants"):
        run_plan("sample_data/hillside.toml", only=["hedge"])


def test_settings_do_not_change_a_plan_that_was_read():
    plan = check_plan({"layers": {"parcels": {"file": "parcels.gpkg"}}})
    with pytest.raises(InputError, match="not a plan that was read already"):
        run_plan(plan, settings=["rows.spacing=5 ft"])


def test_a_site_that_was_read_can_be_used_again(reference):
    # Invariant: the same layers by the same values give the same plan, read once or twice.
    first = run_plan("sample_data/hillside.toml", only=["sides"])
    plan = "sample_data/hillside.toml"
    wider = {"settings": ["rows.spacing=2.4 m"], "only": ["plants"]}
    again, anew = run_plan(plan, **wider, reuse=first), run_plan(plan, **wider)
    assert again.site is first.site
    pd.testing.assert_frame_equal(again.layers["plants"], anew.layers["plants"])
    with pytest.raises(InputError, match=r"another section \[subject\].*without reuse"):
        run_plan(plan, settings=["subject.id=LR-9"], reuse=first)
    with pytest.raises(InputError, match="another section"):
        run_plan(reference.plan, reuse=first)
