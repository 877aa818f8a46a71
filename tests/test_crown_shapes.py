"""A crown shape has one record: another one, registered there alone, is planned with to the end."""

import ast
import math
import re
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
from crown_kit import COLUMN, PARABOLOID, POWERS, named
from crown_shape_toy import DOME

from screenplan.contracts import GROWTHS
from screenplan.ground.crown_shapes import POWER, SHAPES, CrownShape, error_share, shape_of
from screenplan.outputs.drawings.crowns import crown_outline
from screenplan.plan import read_plan
from screenplan.planting.shapes import is_nested, meeting_band, shape_radius
from screenplan.planting.species import planned_species

TESTS = Path(__file__).parent
PACKAGE = TESTS.parent / "screenplan"
SAMPLE = TESTS.parent / "sample_data"
#: Plants of the sample are grown to within this of their full size in the year that counts as mature.
MATURE = 1e-3


def test_a_shape_more_follows_from_its_record():
    # Closed form: half an ellipsoid, (r / R)^2 + (z / h)^2 = 1 above its foot.
    z = np.linspace(0.0, 4.0, 9)
    assert shape_radius(DOME, 4.0, 3.0, 0.0, z) == pytest.approx(1.5 * np.sqrt(1 - (z / 4) ** 2))
    low, high = meeting_band(DOME, 4.5, 3.0, 1.8, 0.5)
    assert (low, high) == (0.5, pytest.approx(0.5 + 4.0 * np.sqrt(1 - 0.6**2)))
    x, y = crown_outline(DOME, 4.5, 3.0, 0.5).T
    assert (x / 1.5) ** 2 + ((y - 0.5) / 4.0) ** 2 == pytest.approx(1.0)
    assert (x.min(), x.max(), y.max()) == pytest.approx((-1.5, 1.5, 4.5))
    assert is_nested(DOME, (5.0, 1.5, 0.0), (4.0, 1.5, 0.0))
    assert not is_nested(DOME, (5.0, 1.5, 0.2), (4.0, 1.4, 0.0))


@pytest.mark.parametrize("shape", [*SHAPES, *POWERS], ids=named)
def test_an_outline_is_as_wide_as_the_crown_at_each_height(shape):
    x, y = crown_outline(shape, 4.5, 3.0, 0.5).T
    assert np.abs(x) == pytest.approx(shape_radius(shape, 4.5, 3.0, 0.5, y), abs=1e-6)
    assert (y.min(), y.max(), np.abs(x).max()) == pytest.approx((0.5, 4.5, 1.5), abs=0.01)


@pytest.mark.parametrize(
    ("square", "along_row", "says"),
    [
        ((1.0, -3.0, 3.0), False, "not convex"),  # waisted
        ((-0.1, 1.1, 0.0), False, "not convex"),  # no radius at its tip
        ((0.0, 2.0, 0.0), False, "not 1"),
        ((0.0, 0.5, 0.5), False, "not tested"),  # half a hyperboloid
        ((0.0, 1.0, 0.0), True, "not tested"),  # a round one along its row
    ],
)
def test_a_record_that_the_tests_of_sight_lines_cannot_take_is_refused(square, along_row, says):
    with pytest.raises(ValueError, match=says):
        CrownShape("wrong", square, along_row)


def test_no_other_module_names_a_shape():
    # A crown of a tree that stands already is an ellipsoid by convention, said there alone. "column" and
    # "box" are words of other things too, so they are not looked for.
    words = set(SHAPES) - {"column", "box"}
    named = {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and node.value in words
    }
    assert named == {"ground/crown_shapes.py", "views/obstacles.py"}


#: Exponents of the crowns of the plan below, at low, typical and high growth.
PROFILE = (0.5, 0.4, 0.3)


# Closed forms: full-grown crowns of height h and spread w, s apart, meet up to h sqrt(1 - (s/w)^2) if they
# are domes, and up to h (1 - (s/w)^(1/p)) if they have the exponent p: that is off by e / p at most.
@pytest.mark.parametrize(
    ("keys", "word"),
    [
        (f'shape = "{DOME.word}"', DOME.word),
        (f'shape = "{POWER}"\nprofile = {list(PROFILE)}', POWER),
    ],
    ids=["registered", "power"],
)
def test_a_shape_more_is_planned_with_to_the_end(tmp_path, keys, word):
    text = (SAMPLE / "hillside.toml").read_text(encoding="utf-8")
    text, changed = re.subn(r'species = \["juniperus.*\n', 'species = "toy"\n', text)
    assert changed == 1
    text = text.replace("[plan]\n", "[plan]\ndrawing_tables = true\n", 1)
    text = re.sub(r'file = "([^"]*)"', lambda m: f'file = "{(SAMPLE / m[1]).as_posix()}"', text)
    plan, out = tmp_path / "plan.toml", tmp_path / "out"
    like = "juniperus_virginiana"
    plan.write_text(text + f'\n[species.toy]\nlike = "{like}"\n{keys}\n', "utf-8")
    done = subprocess.run(
        [sys.executable, str(TESTS / "crown_shape_toy.py"), "run", str(plan), "--out", str(out)],
        capture_output=True, text=True, check=False, cwd=TESTS.parent,
    )  # fmt: skip
    assert done.returncode in (0, 1), done.stderr
    crowns = gpd.read_file(out / "plan.gpkg", layer="crowns")
    assert set(crowns["shape"]) == {word}
    typical = PROFILE[GROWTHS.index("typical")] if word == POWER else None
    assert all(
        crowns["profile_exponent"] == typical if typical else crowns["profile_exponent"].isna()
    )
    # As the plan has it: its red cedars are a narrow selection.
    kind = planned_species(read_plan(SAMPLE / "hillside.toml")[0])[like]
    closure = pyogrio.read_dataframe(out / "plan.gpkg", layer="closure")
    assert set(closure["growth"]) == set(GROWTHS)
    for row in closure.itertuples():
        h = kind.full_height(row.growth)
        w = kind.full_spread(row.growth)
        apart, p = row.spacing_m / w, PROFILE[GROWTHS.index(row.growth)]
        expected = h * (1.0 - apart ** (1.0 / p) if word == POWER else math.sqrt(1.0 - apart**2))
        off = h * error_share(p) / p if word == POWER else 0.0
        assert row.mature_closed_height_m == pytest.approx(expected, abs=off + MATURE * expected)
    sections = pyogrio.read_dataframe(out / "plan.gpkg", layer="sections")
    assert sections["crown_to_y20"].notna().any()
    views = gpd.read_file(out / "plan.gpkg", layer="views")
    assert views["year_closed"].notna().any()
    report = (out / "report.html").read_text(encoding="utf-8")
    assert report.count("<svg ") > 5


@pytest.mark.parametrize("z", [0.5, 1.7, 3.9])
def test_a_dome_lies_between_a_paraboloid_and_a_column(z):
    narrow, mine, wide = (
        shape_radius(shape, 4.0, 3.0, 0.0, z) for shape in (PARABOLOID, DOME, COLUMN)
    )
    assert narrow < mine < wide


@pytest.mark.parametrize("shape", ["box", "cone", "column", "ellipsoid", shape_of("power", 0.3)])
def test_a_taller_crown_is_in_no_lower_one(shape):
    lower, taller = (2.0, 1.0, 0.0, 1.0), (3.0, 1.0, 0.0, 1.0)
    assert not is_nested(shape, lower, taller)
    assert is_nested(shape, lower, lower)
