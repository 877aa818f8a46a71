"""The drawings as axes: their scale, their shapes, and that they bear what layers may hold."""

import io

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
import shapely
from crown_kit import POWERS, named
from hypothesis import given
from hypothesis import strategies as st
from report_kit import sample

from screenplan.ground.crown_shapes import SHAPES
from screenplan.ground.said import FOOT_M
from screenplan.outputs.drawings import (
    draw_effects,
    draw_elevation,
    draw_growth,
    draw_needed_height,
    draw_plan,
    draw_section,
    draw_sun,
    draw_years,
    drawing_style,
    plan_sheet,
    section_ids,
)
from screenplan.outputs.drawings.crowns import crown_outline
from screenplan.outputs.drawings.effects import (
    FIRST_MARK_MM,
    NEXT_MARK_MM,
    _sheet,
    effect_findings,
    legend_mm,
)
from screenplan.outputs.drawings.kind_marks import kind_marks
from screenplan.outputs.drawings.plan import _ranges, closed_by, kept_visible
from screenplan.outputs.drawings.scale import (
    LONGEST_BAR_MM,
    MARGIN_MM,
    METRIC_SCALES,
    SHEET_MM,
    bar_length,
    draw_scale_bar,
    lay_sheet,
)
from screenplan.outputs.drawings.sketch import draw_sketch
from screenplan.outputs.drawings.style import clean, off_screen
from screenplan.outputs.drawings.sun import lost_hours, sun_classes, sun_words
from screenplan.outputs.drawings.svg import to_svg
from screenplan.outputs.palette import COLOURS
from screenplan.outputs.plant_list import plant_list
from screenplan.planting.shapes import shape_radius

mpl.use("Agg")

#: Coordinates in an SVG are rounded to hundredths of a point.
SVG_PT = 0.011


@pytest.fixture(scope="module")
def layers():
    return sample().layers


@pytest.fixture(autouse=True)
def _tidy():
    with drawing_style():
        yield
    import matplotlib.pyplot as plt

    plt.close("all")


@given(st.floats(1.0, 3000.0), st.floats(1.0, 3000.0), st.sampled_from(["metric", "us"]))
def test_sheet_is_the_largest_round_scale_that_fits(wide, high, units):
    sheet = lay_sheet((0.0, 0.0, wide, high), units=units)
    assert sheet.west <= 0.0
    assert sheet.east >= wide
    assert sheet.south <= 0.0
    assert sheet.north >= high
    assert sheet.width_mm == SHEET_MM[0]
    assert sheet.height_mm <= SHEET_MM[1]
    if units == "us":
        assert sheet.scale % 12 == 0  # so many feet to the inch
    elif sheet.scale in METRIC_SCALES[1:]:
        larger = METRIC_SCALES[METRIC_SCALES.index(sheet.scale) - 1]
        room = [(mm - 2 * MARGIN_MM) / 1000.0 * larger for mm in SHEET_MM]
        assert wide > room[0] or high > room[1]


@given(st.floats(1.0, 3000.0), st.sampled_from(["metric", "us"]))
def test_bar_is_a_round_length_that_fits(size, units):
    sheet = lay_sheet((0.0, 0.0, size, size), units=units)
    length, label = bar_length(sheet)
    number, unit = label.split()
    assert unit == ("ft" if units == "us" else "m")
    assert length == pytest.approx(float(number) * (FOOT_M if units == "us" else 1.0))
    assert length <= sheet.metres(LONGEST_BAR_MM)


def test_plan_fills_a_figure_of_the_sheets_size_at_its_scale(layers):
    sheet = plan_sheet(layers)
    ax = draw_plan(layers)
    width, height = ax.figure.get_size_inches() * 25.4
    assert (width, height) == pytest.approx((sheet.width_mm, sheet.height_mm))
    place = ax.get_window_extent().transformed(ax.figure.dpi_scale_trans.inverted())
    # Closed form: metres across the axes over metres across the paper is the scale.
    west, east = ax.get_xlim()
    assert (east - west) / (place.width * 0.0254) == pytest.approx(sheet.scale, rel=1e-9)
    south, north = ax.get_ylim()
    assert (north - south) / (place.height * 0.0254) == pytest.approx(sheet.scale, rel=1e-9)


def test_bar_in_the_svg_has_its_length(layers):
    sheet = plan_sheet(layers)
    with off_screen():
        svg = to_svg(draw_plan(layers).figure, "p", title="t", says="s")
    import re

    paths = re.findall(r'<path d="([^"]*)"[^>]*style="fill: var\(--bar[^"]*"', svg)
    spans = [np.ptp([float(x) for x in re.findall(r"[ML] (-?[\d.]+) ", path)]) for path in paths]
    length, _ = bar_length(sheet)
    assert max(spans) == pytest.approx(length * 1000.0 / sheet.scale * 72.0 / 25.4, abs=SVG_PT)


def test_scale_bar_avoids_what_it_would_hide():
    import matplotlib.pyplot as plt

    sheet = lay_sheet((0.0, 0.0, 40.0, 40.0))
    corner = shapely.LineString([(sheet.west, sheet.south), (10.0, 10.0)])

    def left_end(avoid):
        ax = plt.figure().add_axes((0, 0, 1, 1))
        draw_scale_bar(ax, sheet, avoid)
        return min(patch.get_x() for patch in ax.artists or ax.patches)

    assert left_end(None) < sheet.west + 5.0
    assert left_end(corner) > 20.0


@pytest.mark.parametrize("shape", [*SHAPES, *POWERS], ids=named)
def test_outline_is_that_of_the_crowns_of_the_views(shape):
    outline = crown_outline(shape, 4.0, 2.0, 0.5)
    assert outline[:, 1].min() == pytest.approx(0.5)
    assert outline[:, 1].max() == pytest.approx(4.0)
    assert np.ptp(outline[:, 0]) == pytest.approx(2.0, abs=0.02)
    # Against the radius that the rays are followed with, off the edges of the flat ends.
    inner = outline[(outline[:, 1] > 0.51) & (outline[:, 1] < 3.99)]
    radius = shape_radius(shape, 4.0, 2.0, 0.5, inner[:, 1])
    assert np.abs(inner[:, 0]) == pytest.approx(radius)


def test_rows_are_drawn_where_they_stand(layers):
    plants, crowns = layers["plants"], layers["crowns"]
    line = plants["line_id"].iloc[0]
    row = plants.loc[plants["line_id"] == line]
    ax = draw_elevation(layers, line, years=(10,), filled=(10,))
    drawn = next(c for c in ax.collections if str(c.get_gid()).startswith("y10.row"))
    low = row["ground_m"].min()
    low = min(low, layers["needed_profile"].query("line_id == @line")["ground_m"].min())
    tops = {
        int(plant.plant_id): (plant.station_m, plant.ground_m - low) for plant in row.itertuples()
    }
    tall = crowns.loc[(crowns["year"] == 10) & crowns["plant_id"].isin(row["plant_id"])]
    assert len(drawn.get_paths()) == len(tall)
    for path, crown in zip(drawn.get_paths(), tall.itertuples(), strict=True):
        # A crown with an exponent ends in a small level top, the middle of which is over the stem.
        vertices = path.vertices
        tips = vertices[np.isclose(vertices[:, 1], vertices[:, 1].max())]
        peak = 0.5 * (tips.min(axis=0) + tips.max(axis=0))
        station, foot = tops[crown.plant_id]
        assert peak == pytest.approx((station, foot + crown.height_m), abs=0.02)


def test_no_line_of_a_dimension_strikes_through_a_plants_number(layers):
    # Only the row is known, so that its length stands on the inner side, where the numbers are.
    alone = {name: layer for name, layer in layers.items() if name != "sides"}
    alone["planting_lines"] = layers["planting_lines"].assign(offset_m=np.nan)
    sheet, ax = plan_sheet(alone), draw_plan(alone)
    ids = set(layers["plants"]["plant_id"].astype(str))
    colour = mpl.colors.to_rgba(COLOURS["plant"])
    numbers = [
        text.get_position()
        for text in ax.texts
        if text.get_text() in ids and mpl.colors.to_rgba(text.get_color()) == colour
    ]
    lines = [
        shapely.LineString(piece)
        for drawn in ax.collections
        if isinstance(drawn, mpl.collections.LineCollection) and drawn.get_zorder() == 18
        for piece in drawn.get_segments()
    ]
    assert len(numbers) >= 4
    assert len(lines) >= 10
    nearest = shapely.distance(np.array(lines)[:, None], shapely.points(numbers)[None, :]).min()
    # Letters of 6 points are at most 2.1 mm high.
    assert nearest > sheet.metres(1.05)


def test_growth_shows_open_and_closed_views_apart(layers):
    views = layers["views"]
    views = views.loc[views["status"].isin(["closes", "stays open"])]
    ax = draw_growth(layers, years=(0, 10))
    count = {c.get_gid(): len(c.get_paths()) for c in ax.collections if c.get_gid()}
    for year in (0, 10):
        shut = int(closed_by(views, year).sum())
        assert shut > 0
        assert count[f"y{year:02d}.open"] == len(views) - shut
        assert count[f"y{year:02d}.closed"] == shut
    dashes = {c.get_gid(): c.get_linestyle()[0][1] for c in ax.collections if c.get_gid() in ("y10.open", "y10.closed")}  # fmt: skip
    assert dashes["y10.open"] is None
    assert dashes["y10.closed"] is not None


def test_small_multiples_have_one_panel_a_year(layers):
    made = draw_years(layers, years=(0, 5, 20))
    assert len(made) == 3
    assert len({ax.figure for ax in made}) == 1
    assert len({round(float(np.ptp(ax.get_xlim())), 6) for ax in made}) == 1


def test_section_goes_from_window_to_place(layers):
    view = section_ids(layers)[0]
    sight = layers["sight_lines"].set_index("view_id").loc[view]
    ax = draw_section(layers, view)
    assert ax.get_xlim()[1] >= sight.length_m
    line = next(line for line in ax.lines if line.get_xdata()[-1] == sight.length_m and line.get_xdata()[0] == 0)  # fmt: skip
    low = layers["sections"].query("view_id == @view")["ground_m"].min()
    assert line.get_ydata() == pytest.approx([sight.eye_z_m - low, sight.head_z_m - low])
    with pytest.raises(KeyError, match="no such view"):
        draw_section(layers, "no such view")


def test_needed_height_is_that_of_the_profile(layers):
    profile = layers["needed_profile"]
    line = profile.loc[profile["needed_m"].idxmax(), "line_id"]
    ax = draw_needed_height(layers, line)
    most = profile.loc[profile["line_id"] == line, "needed_m"].max()
    assert max(np.max(line.get_ydata()) for line in ax.lines) >= most
    assert f"{most:.1f} m" in [text.get_text() for text in ax.texts]
    feet = draw_needed_height(layers, line, units="us")
    assert f"{most / FOOT_M:.1f} ft" in [text.get_text() for text in feet.texts]


def test_axes_of_a_notebook_can_be_given(layers):
    import matplotlib.pyplot as plt

    _, (left, right) = plt.subplots(1, 2)
    assert draw_plan(layers, left) is left
    assert draw_section(layers, section_ids(layers)[0], right) is right
    left.figure.savefig(io.BytesIO(), format="png")


def test_what_is_not_there_is_not_drawn(layers):
    few = {
        name: layers[name] for name in ("parcels", "planting_lines", "plants", "crowns", "views")
    }
    draw_plan(few).figure.savefig(io.BytesIO(), format="png")
    draw_growth(few, years=(5,)).figure.savefig(io.BytesIO(), format="png")
    line = layers["plants"]["line_id"].iloc[0]
    draw_elevation(few, line).figure.savefig(io.BytesIO(), format="png")
    assert section_ids(few) == []


@pytest.mark.parametrize(
    "name",
    ["$\\frac{1}{0}$", "$x", "_hidden", "雪の下", "שלום", "a\nb\x00", "<b>&", "x" * 500, pd.NA],
)
def test_any_name_can_be_drawn(layers, name):
    named = {k: v.copy() for k, v in layers.items()}
    named["buildings"]["building_id"] = pd.array([name] * len(named["buildings"]), dtype="string")
    named["private_places"]["name"] = pd.array(
        [name] * len(named["private_places"]), dtype="string"
    )
    with off_screen():
        svg = to_svg(draw_plan(named).figure, "p", title=name, says="s")
    assert "<b>" not in svg
    assert "\x00" not in svg
    if isinstance(name, str):
        assert clean(name).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") in svg


def test_years_are_layers_of_which_one_is_shown(layers):
    with off_screen():
        svg = to_svg(draw_growth(layers, years=(0, 5)).figure, "g", title="t", says="s", shown=5)
    assert 'class="of-year" data-year="5"' in svg
    assert 'class="of-year hidden" data-year="0"' in svg
    assert 'class="of-year" data-year="0"' not in svg


def test_codes_of_views_are_shortened():
    assert _ranges(["V3", "V1", "V2", "V7", "V2"]) == "V1–3, 7"
    assert _ranges([]) == ""


@pytest.fixture(scope="module")
def troubles(layers):
    """A run with a row of each layer of effects, made by hand about the sample site's own plants."""
    import geopandas as gpd

    made = dict(layers)
    plants = layers["plants"].sort_values("plant_id").iloc[:3]
    ids, feet = plants["plant_id"].to_numpy(), plants.geometry.to_numpy()
    west, south, east, _ = layers["parcels"].query("is_subject").total_bounds

    def layer(geometry, **columns):
        return gpd.GeoDataFrame(columns, geometry=list(geometry))

    strip = shapely.box(west, south, east, south + 3.0)
    made["sight_areas"] = layer(
        [strip] * 3,
        kind=["drive", "stopping", "emerging"],
        plants=[1, 2, 0],
        first_year=[0, 3, pd.NA],
    )
    made["sight_plants"] = layer(feet[:2], plant_id=ids[:2], year=[0, 3])
    made["wire_plants"] = layer(feet[:2], plant_id=ids[:2], what=["zoning", "wire"], year=[4, 5])
    made["locate_zones"] = layer([strip])
    made["holes_at_lines"] = layer([feet[0].buffer(0.3)], plant_id=ids[:1])
    made["deep_roots"] = layer(feet[:1], plant_id=ids[:1], year=[6])
    made["outgrown"] = layer(
        feet, plant_id=ids, year=[7, 8, 9],
        what=["crown over the boundary", "height at the boundary", "height at a wall"],
    )  # fmt: skip
    made["noise_paths"] = layer(
        [shapely.LineString([(west, south), feet[0].coords[0]])], loss_db=[0.0]
    )
    column, line = (axis.ravel() for axis in np.meshgrid(range(4), range(3)))
    lost = np.array([0, 100, 500, 1500, 2500, 0, 0, 0, 100, 100, 100, 100], float)
    made["sun_grid"] = layer(
        shapely.points(west + 2.0 * column, south + 2.0 * line), column=column, line=line,
        cell_m=2.0, sun_now_h=4000.0, sun_y05=4000.0 - lost / 2.0, sun_y10=4000.0 - lost,
    )  # fmt: skip
    made["light"] = layer(
        [shapely.Point(west, south), shapely.Point(east, south), shapely.Point(east, south + 9)],
        kind=["window", "window", "bed"], target_id=["a", "b", "c"], sun_lost=[0.25, 0.0, np.nan],
    )  # fmt: skip
    return made


EFFECT_LAYERS = (
    "sight_areas", "sight_plants", "wire_plants", "locate_zones", "holes_at_lines", "deep_roots",
    "outgrown", "noise_paths",
)  # fmt: skip


def test_effects_are_drawn_apart_without_colour(troubles):
    ax = draw_effects(troubles)
    drawn = {str(artist.get_gid()) for artist in (*ax.collections, *ax.lines)}
    assert {f"effect.{name}" for name in EFFECT_LAYERS} <= drawn
    findings = effect_findings(troubles)
    marks = [(f.look["marker"], f.look["color"] == f.look["markeredgecolor"]) for f in findings if f.form == "mark"]  # fmt: skip
    assert len(marks) == 8  # the rows above: sight, 2 of wires, hole, roots, 3 outgrown
    assert len({marker for marker, _ in marks}) == len(marks)
    areas = [(f.look["hatch"], f.look["linestyle"]) for f in findings if f.form == "area"]
    assert len(set(areas)) == len(areas) == 4
    texts = [text.get_text() for text in ax.texts]
    for finding in findings:
        assert finding.words in texts
    assert any(words.endswith("2 plants, first at planting") for words in texts)
    assert "Way of the sound from a road: no measurable reduction" in texts


def test_marks_of_a_plant_stand_one_behind_the_other(troubles):
    ax = draw_effects(troubles)
    first = troubles["plants"].sort_values("plant_id").geometry.iloc[0]
    marks = [
        np.column_stack(line.get_data())[0]
        for line in ax.lines
        if str(line.get_gid()).startswith("effect.")
    ]
    away = np.array([np.hypot(*(mark - (first.x, first.y))) for mark in marks])
    metres = _sheet(troubles, effect_findings(troubles)).metres
    # The first plant has sight, wire zoning, hole, roots and crown: five marks of one file.
    expected = [metres(FIRST_MARK_MM + k * NEXT_MARK_MM) for k in range(5)]
    assert all(np.isclose(away, length).any() for length in expected)


@pytest.mark.parametrize("name", EFFECT_LAYERS)
def test_a_single_effect_is_drawn_alone(layers, troubles, name):
    ax = draw_effects({**layers, name: troubles[name]})
    drawn = {str(artist.get_gid()) for artist in (*ax.collections, *ax.lines)}
    assert {gid for gid in drawn if gid.startswith("effect.")} == {f"effect.{name}"}


def test_effects_keep_to_scale_and_legend_to_the_sheet(troubles):
    for ax, sheet in (
        (draw_effects(troubles), _sheet(troubles, effect_findings(troubles))),
        (draw_sun(troubles), None),
    ):
        place = ax.get_window_extent().transformed(ax.figure.dpi_scale_trans.inverted())
        scale = np.ptp(ax.get_xlim()) / (place.width * 0.0254)
        assert np.ptp(ax.get_ylim()) / (place.height * 0.0254) == pytest.approx(scale)
        if sheet is not None:
            assert scale == pytest.approx(sheet.scale)
        assert round(scale) in METRIC_SCALES
        _inside(ax, [text for text in ax.texts if text.get_zorder() >= 31])


def test_no_ground_is_drawn_under_the_legend(troubles):
    ax = draw_effects(troubles)
    findings = effect_findings(troubles)
    sheet = _sheet(troubles, findings)
    foot = sheet.south + sheet.metres(legend_mm(len(findings)))
    edge = ax.transData.transform((0.0, foot))[1]
    drawn = [artist for artist in (*ax.collections, *ax.lines) if artist.get_zorder() < 28.0]
    assert drawn
    assert all(artist.get_clip_box().y0 == pytest.approx(edge) for artist in drawn)


def test_nothing_is_drawn_of_no_effects(layers, troubles):
    assert draw_effects(layers) is None
    assert draw_sun(layers) is None
    empty = {name: troubles[name].iloc[:0] for name in (*EFFECT_LAYERS, "sun_grid", "light")}
    assert draw_effects({**layers, **empty}) is None
    assert draw_sun({**layers, **empty}) is None


def test_ground_is_classed_by_hours_lost_in_the_worst_year(troubles):
    lost, year = lost_hours(troubles)
    assert year == 10
    assert lost.max() == 2500.0
    # Closed form: five cells of 4 m² lose 100 h, one each 500, 1500 and 2500 h.
    areas = {low: shape.area for low, _, shape in sun_classes(troubles)}
    assert areas == pytest.approx({100.0: 20.0, 400.0: 4.0, 1000.0: 4.0, 2000.0: 4.0})
    grid = troubles["sun_grid"].geometry
    strongest = sun_classes(troubles)[-1][2]
    assert strongest.centroid.distance(grid.iloc[4]) == pytest.approx(0.0, abs=1e-9)
    ax = draw_sun(troubles)
    hatches = {c.get_gid(): c.get_hatch() for c in ax.collections if str(c.get_gid()).startswith("sun.")}  # fmt: skip
    assert len(set(hatches.values())) == len(hatches) == 4
    texts = [text.get_text() for text in ax.texts]
    assert texts.count("25 %") == 2  # the one window that loses some, and the legend
    assert "20.0 m² lose 100 to 400 hours" in sun_words(troubles)
    # 20 m² over (0.3048 m)², the foot of 1959.
    assert "215 sq ft lose 100 to 400 hours" in sun_words(troubles, units="us")
    assert sun_words(troubles).endswith("Those that lose sun: window a 25%.")


def _inside(ax, texts):
    renderer = ax.figure.canvas.get_renderer()
    width, height = ax.figure.bbox.size
    assert texts
    for text in texts:
        box = text.get_window_extent(renderer)
        assert box.x0 >= 0.0, text.get_text()
        assert box.y0 >= 0.0, text.get_text()
        assert box.x1 <= width, text.get_text()
        assert box.y1 <= height, text.get_text()


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("size", [8.0, 24.0, 40.0, 300.0])
def test_scale_bar_is_on_the_sheet_and_off_the_boundary(size, units):
    import geopandas as gpd

    lot = shapely.box(0.0, 0.0, size, size)
    row = shapely.LineString([(1.0, size - 1.0), (size - 1.0, size - 1.0)])
    few = {
        "parcels": gpd.GeoDataFrame({"parcel_id": ["1"], "is_subject": [True]}, geometry=[lot]),
        "planting_lines": gpd.GeoDataFrame({"line_id": ["n"]}, geometry=[row]),
    }
    sheet = plan_sheet(few, units=units)
    assert sheet.height_mm <= SHEET_MM[1] + 1e-9
    import matplotlib.pyplot as plt

    figure = plt.figure(figsize=(sheet.width_mm / 25.4, sheet.height_mm / 25.4))
    ax = figure.add_axes((0, 0, 1, 1), xlim=(sheet.west, sheet.east), ylim=(sheet.south, sheet.north))  # fmt: skip
    draw_scale_bar(ax, sheet, kept_visible(few))
    _inside(ax, ax.texts)
    back = ax.transData.inverted()
    for text in ax.texts:
        box = text.get_window_extent().transformed(back)
        assert not lot.boundary.intersects(shapely.box(box.x0, box.y0, box.x1, box.y1))
    for patch in ax.artists or ax.patches:
        x, y = patch.get_xy()
        bar = shapely.box(x, y, x + patch.get_width(), y + patch.get_height())
        assert not lot.boundary.intersects(bar)


def test_the_sun_drawing_says_which_windows_lose_more_than_allowed(troubles):
    told = [text.get_text() for text in draw_sun(troubles).texts]
    assert "25 %" in told
    assert not any("over" in text for text in told)
    light = troubles["light"].assign(over=["sun and sky", None, None])
    told = [text.get_text() for text in draw_sun({**troubles, "light": light}).texts]
    assert "25 %, over" in told
    assert any(text.endswith("“over”: more than you allow") for text in told)
    assert "window a 25% (more than you allow)" in sun_words({**troubles, "light": light})
    # A limit for the sky is no matter of this drawing.
    sky = {**troubles, "light": light.assign(over=["sky", None, None])}
    assert "more than you allow" not in sun_words(sky)


def test_kinds_of_a_mixed_row_are_told_apart_without_colour(layers):
    ax = draw_plan(layers)
    stems = {
        (line.get_marker(), line.get_markerfacecolor()): len(line.get_xdata())
        for line in ax.lines
        if line.get_color() in (COLOURS["plant"], COLOURS["paper"]) and line.get_zorder() == 15
    }
    counts = layers["plants"]["species"].value_counts()
    # Red cedar stands first; no plant stands already in the sample.
    assert stems == {
        ("o", COLOURS["plant"]): counts["juniperus_virginiana"],
        ("o", COLOURS["paper"]): counts["ilex_vomitoria"],
    }
    marks = {key: mark.called for key, mark in kind_marks(layers["plants"]).items()}
    said = plant_list(layers["quantities"], "metric", marks)
    assert [line.rpartition(" ")[2] for line in said] == ["(dots)", "(rings)"]


def test_more_kinds_than_marks_share_the_last():
    plants = pd.DataFrame({"species": list("abcdea"), "existing": [False] * 5 + [True]})
    called = [mark.called for mark in kind_marks(plants).values()]
    assert called == ["dots", "rings", "diamonds", "hollow diamonds", "hollow diamonds"]


def test_where_only_the_row_is_known_the_plan_shows_the_place_too(layers):
    alone = {**layers, "parcels": layers["parcels"].iloc[:0]}
    sheet = plan_sheet(alone)
    west, south, east, north = layers["private_places"].total_bounds
    assert sheet.west <= west
    assert sheet.south <= south
    assert sheet.east >= east
    assert sheet.north >= north


def test_names_on_the_sketch_stand_in_it_and_off_the_north_arrow(layers):
    ax = draw_sketch(
        {**layers, "buildings": layers["buildings"].assign(name="the house in the lane")}
    )
    renderer, frame = ax.figure.canvas.get_renderer(), ax.get_window_extent()
    arrow = [patch.get_window_extent(renderer) for patch in ax.patches if patch.get_zorder() == 30]
    arrow += [text.get_window_extent(renderer) for text in ax.texts if text.get_text() == "N"]
    named = [text for text in ax.texts if text.get_text() != "N"]
    assert len(named) >= 3
    for text in named:
        box = text.get_window_extent(renderer)
        assert frame.x0 <= box.x0
        assert box.x1 <= frame.x1
        assert not any(box.overlaps(part) for part in arrow), text.get_text()


def test_what_lies_far_outside_a_drawing_is_not_in_its_file(layers):
    far = layers["buildings"].copy()
    far.geometry = far.geometry.translate(1000.0, 0.0)
    both = {**layers, "buildings": pd.concat([layers["buildings"], far], ignore_index=True)}
    one, two = (
        to_svg(draw_plan(given).figure, "plan", title="Plan", says="Plan")
        for given in (layers, both)
    )
    # The same but for where a ring begins: a hatched area is a union of houses too.
    assert sorted(one.split()) == sorted(two.split())
