"""A step's description and its function agree, so that no face can drift from the library."""

import inspect
import subprocess
import sys
from collections import defaultdict
from pathlib import Path

import geopandas
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal
from own_kit import measured

import screenplan
from screenplan.contracts import INPUTS, OUTPUTS
from screenplan.plan import key_field
from screenplan.plan.reading import read_plan
from screenplan.running.inputs import read_inputs, step_arguments
from screenplan.running.steps import STEPS

#: Steps of which GEOS ended the process on such layers, or that fell over them.
FELL_OVER = ("sides", "windows", "places")
RESOURCES = {"terrain", "rules", "limits", "species_table", "usual", "position_deg"}


@pytest.fixture(params=STEPS.values(), ids=list(STEPS))
def step(request):
    return request.param


def test_layers_and_resources_are_those_of_the_function(step):
    signature = inspect.signature(step.load()).parameters
    needed = {name for name, entry in signature.items() if entry.default is entry.empty}
    own = {"layers"} if "layers" in signature else set(step.layers)
    assert needed == (own if "layers" in signature else set(step.needs))
    assert own | set(step.resources) <= set(signature)
    assert "plan" in signature
    assert step.keys
    assert set(step.resources) <= RESOURCES


def test_every_key_is_one_of_the_plan(step):
    for key in step.keys:
        assert key_field(key)
    assert len(set(step.keys)) == len(step.keys)


def test_every_layer_has_a_contract(step):
    assert set(step.layers) <= set(INPUTS) | set(OUTPUTS)
    assert set(step.gives) <= set(OUTPUTS)


def test_steps_run_in_an_order_that_works():
    there = set(INPUTS)
    for step in STEPS.values():
        assert set(step.needs) <= there | {"windows", "private_places"}
        there |= set(step.gives)


def recording(plan, seen):
    """Give a plan that notes each key that is read of it."""

    def noting(section):
        def look(self, name):
            if name in type(section).model_fields:
                seen.add(section.key(name))
            return super(kind, self).__getattribute__(name)

        kind = type(section.called, (type(section),), {"__getattribute__": look})
        return kind.model_construct(**section.__dict__)

    sections = {name: getattr(plan, name) for name in screenplan.plan.SECTIONS}
    return plan.model_copy(update={name: noting(section) for name, section in sections.items()})


#: Plans on which all that a step may read is read: the sample, and what it leaves out.
SETTINGS = (
    [],
    [
        "growth.years=3",
        "setbacks.hole=0.5 m",
        "boundary.most_height=2 m",
        "light.hedge_guidance=true",
        "works.mulch=ring",
        "works.mulch_bulk=0.1 m3",
        "rows.rows=2",
        "plants.raised=cuttings",
        "plants.raised_years=2",
        "design.year=3",
        "design.chance=0",
        "design.choices=false",
        "design.seconds=0",
        'instead.compare=["fence", "trellis", "awning", "place_moved"]',
        "instead.move_step=10 m",
        "browsing.chance=0.5",
    ],
)


@pytest.fixture(scope="module")
def read_keys():
    """The keys that each step reads of a plan that it is handed."""
    read = defaultdict(set)
    for settings in SETTINGS:
        plan, folder = read_plan(screenplan.sample_plan(), settings)
        if settings:
            layers = {
                name: source
                for name, source in plan.layers.items()
                if name not in ("windows", "private_places")
            }
            plan = plan.model_copy(update={"layers": layers})
        site = read_inputs(plan, folder)
        layers = dict(site.layers)
        if settings:  # out of reach, so that nobody is seen
            x, y = layers["parcels"].total_bounds[:2] - 500.0
            layers["onlookers"] = layers["parcels"].iloc[:1][["geometry"]].set_geometry(
                geopandas.points_from_xy([x], [y], crs=layers["parcels"].crs)
            ).assign(onlooker_id="far")  # fmt: skip
        # One measured plant of what the sample plants, so that its years are told with and without it.
        # And one that has died.
        layers["measured_plants"] = measured(
            {"age_years": 8.0, "height_m": 3.0},
            {"age_years": 1.0, "tag_id": "1", "lost": True, "species": None},
        )
        for step in STEPS.values():
            arguments = step_arguments(step, plan, folder, site.terrain, site.frame)
            arguments["plan"] = recording(plan, read[step.name])
            if step.name == "checks":  # a row whose line no view crosses is judged by its crowns
                layers["needed_years"] = layers["needed_years"].assign(needed_m=0.0)
            layers |= step(layers, **arguments)
    return read


def test_a_step_reads_just_the_keys_that_it_names(step, read_keys):
    assert read_keys[step.name] == set(step.keys)


def with_hole(shape):
    """Give the same place with a hole that has no point."""
    if shape.geom_type != "Polygon":
        return shape
    return shapely.polygons(shape.exterior, [*shape.interiors, shapely.LinearRing()])


def with_part(shape):
    """Give the same place with a part that has no point."""
    if shape.geom_type != "Polygon":
        return shape
    return shapely.multipolygons([shape, shapely.Polygon()])


def compare_hollow():
    """Print each step that gives the same for layers with hollow outlines as for the sound ones."""
    plan, folder = read_plan(screenplan.sample_plan())
    site = read_inputs(plan, folder)
    for name in FELL_OVER:
        arguments = step_arguments(STEPS[name], plan, folder, site.terrain, site.frame)
        sound = STEPS[name](site.layers, **arguments)
        for hollow in (with_hole, with_part):
            layers = {
                name: layer.set_geometry(layer.geometry.map(hollow))
                for name, layer in site.layers.items()
            }
            for layer, same in STEPS[name](layers, **arguments).items():
                assert_geodataframe_equal(same, sound[layer])
        print(name, flush=True)


# Invariant: what has no point takes no place. In a process of its own, which GEOS ended.
def test_holes_and_parts_without_a_point_do_not_matter():
    done = subprocess.run(
        [sys.executable, "-c", "import test_steps; test_steps.compare_hollow()"],
        cwd=Path(__file__).parent, capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout.split(), done.stderr) == (0, [*FELL_OVER], "")
