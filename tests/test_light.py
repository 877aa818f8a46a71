"""Sun and sky light: against pvlib, closed forms, symmetry, and a brute search of all rays."""

import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from effects_kit import house, layer, parcels, row, windows
from hypothesis import given, settings
from hypothesis import strategies as st
from options_kit import plan_with
from pvlib.solarposition import spa_python
from pyproj import Transformer

from screenplan.contracts.tables import notes_of
from screenplan.effects import lit as lit_module
from screenplan.effects.horizon import EVERYTHING, SECTORS, things_above
from screenplan.effects.light import count_light
from screenplan.effects.lit import Source, light_at
from screenplan.effects.places_in_light import sun_places_in_light
from screenplan.effects.sun import _steps, _zone, overcast_sky, sun_directions, sun_path
from screenplan.ground.errors import InputError
from screenplan.ground.frame import LocalFrame
from screenplan.outputs.rasters import NO_DATA, write_sun_hours
from screenplan.planting.species import load_species
from screenplan.planting.stand import stand_of
from screenplan.site.terrain import Terrain
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.obstacles import lay_obstacles
from screenplan.views.timeline import Scene

UP = np.array([[0.0, 0.0, 1.0]])
HOME = (9.0, 50.0)
#: Sky patches are few: shares are good to about this.
SKY_TOLERANCE = 0.01
#: Before a window lies half of them.
WINDOW_SKY_TOLERANCE = 0.02


def scene_of(*, walls=None, plants=None, terrain=None, years=3, species_table=None):
    species_table = load_species() if species_table is None else species_table
    _, none = row()
    plants = none.iloc[:0] if plants is None else plants
    stand = stand_of(plants, species_table=species_table, years=years)
    crowns = crowns_of(stand)
    ground = Terrain.flat() if terrain is None else terrain
    return Scene(lay_obstacles(None, walls, ground), runs_of(stand, crowns), crowns)


def wall(xy, height):
    return layer([shapely.LineString(xy)], screen_id=["w"], kind=["wall"], height_m=[height],
                 width_m=[None], opacity=[1.0])  # fmt: skip


def lit_from(points, direction, scene, **options):
    direction = np.atleast_2d(np.asarray(direction, float))
    points = np.atleast_2d(np.asarray(points, float))
    count = len(direction)
    source = Source(direction, np.ones(count), np.zeros(count, int), 1, **options)
    return light_at(points, np.tile(UP, (len(points), 1)), source, scene)


def sun_at(azimuth_deg, up_deg):
    a, e = np.radians([azimuth_deg, up_deg])
    return np.array([np.cos(e) * np.sin(a), np.cos(e) * np.cos(a), np.sin(e)])


# ---- the sun


def hours_by_month(path):
    """Hours in which the sun is up over a level horizon, (12,)."""
    return np.bincount(path.month, weights=path.hours, minlength=12)


@pytest.mark.evidence(
    part="Sun and sky",
    kind="published",
    against="The worked example of the solar position algorithm: zenith 50.11162°, azimuth 194.34024°",
    source="Reda and Andreas, NREL/TP-560-34302",
    status="code",
    tolerance="0.00005° with its own air and height; 0.01° as the library takes it",
)
def test_the_published_solar_example():
    # Reda and Andreas, NREL/TP-560-34302, worked example: zenith 50.11162 degrees, azimuth 194.34024.
    time = pd.DatetimeIndex(["2003-10-17 12:30:30-07:00"])
    place = spa_python(time, 39.742476, -105.1786, altitude=1830.14, pressure=82000, temperature=11, delta_t=67)  # fmt: skip
    assert place["apparent_zenith"].iloc[0] == pytest.approx(50.11162, abs=5e-5)
    assert place["azimuth"].iloc[0] == pytest.approx(194.34024, abs=5e-5)
    # Ours takes sea level and mild air: refraction and parallax differ by less than 0.01 degrees.
    east, north, up = sun_directions(time.tz_convert("UTC"), -105.1786, 39.742476)[0]
    assert np.degrees(np.arccos(up)) == pytest.approx(50.11162, abs=0.01)
    assert np.degrees(np.arctan2(east, north)) % 360 == pytest.approx(194.34024, abs=0.01)


@pytest.mark.parametrize("latitude", [-75.0, 0.0, 50.0, 78.0])
@pytest.mark.evidence(
    part="Sun and sky",
    kind="other software",
    against="Directions of the sun at four latitudes over a year",
    source="pvlib",
    status="run",
    tolerance="1 in 10⁹",
)
def test_directions_are_those_of_pvlibs_front_door(latitude):
    # The algorithm is loaded without the rest of pvlib; its whole interface gives the same.
    times = pd.date_range("2027-01-01", "2027-12-31", freq="37h", tz="Europe/Berlin")
    place = spa_python(times, latitude, 9.0)
    up, turn = np.radians(place["apparent_elevation"]), np.radians(place["azimuth"])
    east, north, high = sun_directions(times, 9.0, latitude).T
    assert high == pytest.approx(np.sin(up), abs=1e-9)
    assert east == pytest.approx(np.cos(up) * np.sin(turn), abs=1e-9)
    assert north == pytest.approx(np.cos(up) * np.cos(turn), abs=1e-9)


@pytest.mark.evidence(
    part="Sun and sky",
    kind="other software",
    against="Hours of sun of a year on an open site, by month",
    source="pvlib",
    status="run",
    tolerance="exact",
)
def test_hours_on_an_open_site_are_pvlibs():
    # The same middles of hours, counted with pvlib alone: exactly as many are above the horizon.
    path = sun_path(*HOME, calendar_year=2027, days_a_month=31, step_minutes=60)
    times = pd.date_range("2027-01-01 00:30", "2027-12-31 23:30", freq="h", tz="UTC")
    above = spa_python(times, HOME[1], HOME[0])["apparent_elevation"] > 0
    assert path.hours.sum() == above.sum()
    assert hours_by_month(path) == pytest.approx(above.groupby(above.index.month).sum().to_numpy())


@pytest.mark.evidence(
    part="Sun and sky",
    kind="other software",
    against="The length of a day of each month, minute by minute",
    source="pvlib",
    status="run",
    tolerance="one step of 30 minutes, which the library states",
)
def test_each_day_is_within_the_stated_error_of_the_step():
    # Against pvlib minute by minute: each of a day's two changes is placed to within half a step.
    step = 30
    path = sun_path(*HOME, calendar_year=2027, days_a_month=1, step_minutes=step)
    for month in range(12):
        length = pd.Timestamp(2027, month + 1, 1).days_in_month
        day = pd.Timestamp(2027, month + 1, length // 2 + 1, tz="UTC")
        minutes = pd.date_range(day, periods=1440, freq="min")
        true = (spa_python(minutes, HOME[1], HOME[0])["apparent_elevation"] > 0).sum() / 60
        ours = path.hours[path.month == month].sum() / length
        assert abs(ours - true) <= step / 60


def test_polar_day_and_night():
    path = sun_path(15.0, 78.0, days_a_month=31, step_minutes=60)
    assert hours_by_month(path)[5] == 30 * 24  # June: the sun does not set
    assert hours_by_month(path)[11] == 0  # December: it does not rise
    assert hours_by_month(sun_path(0.0, -90.0, step_minutes=60))[11] == 31 * 24


def test_days_on_which_the_clocks_change_have_their_own_length():
    for name in ("Europe/Berlin", "America/Chicago", "Asia/Kolkata", "Pacific/Chatham", "UTC"):
        times, weight, _, _ = _steps(_zone(name), 2027, 31, 30)
        # Arithmetic: a year has 8760 hours whatever the clocks do, and no step is doubled.
        assert weight.sum() == pytest.approx(8760)
        assert times.is_unique
        assert (times[1:] - times[:-1] == pd.Timedelta(minutes=30)).all()
    berlin = _steps(_zone("Europe/Berlin"), 2027, 31, 60)[3]
    # The night of 2027-03-28 has no hour from 2 to 3, that of 2027-10-31 has it twice.
    assert (berlin // 60 == 2).sum() == 365


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"time_zone": "Mars/Olympus"}, "is not the name of a time zone"),
        ({"time_zone": "../etc"}, "is not the name of a time zone"),
        ({"step_minutes": 7}, "cannot be taken"),
        ({"days_a_month": 0}, "cannot be taken"),
        ({"calendar_year": 1200}, "is not a year to look at"),
    ],
)
def test_a_wrong_sampling_is_refused(options, message):
    with pytest.raises(InputError, match=message):
        sun_path(*HOME, **options)


@pytest.mark.parametrize(("here", "same"), [((-180, 40), (180, 40)), ((360, -35), (0, -35)), ((10, 90), (200, 90))])  # fmt: skip
def test_places_at_the_ends_of_the_degrees_are_places(here, same):
    # Invariant: a turn of 360° on, or turned about the pole, the sun is as high.
    one, two = (sun_path(*at, step_minutes=240) for at in (here, same))
    assert one.direction[:, 2] == pytest.approx(two.direction[:, 2], abs=1e-9)
    assert one.hours.sum() == two.hours.sum()


@pytest.mark.parametrize("at", [(-180.1, 0), (360.1, 0), (0, 90.1), (0, -90.1)])
def test_what_is_no_place_on_earth_is_refused(at):
    with pytest.raises(InputError, match="is no place on earth"):
        sun_path(*at)


# ---- shade


@pytest.mark.parametrize(("azimuth", "up"), [(180, 20), (135, 35), (225, 10), (200, 60)])
def test_the_length_and_direction_of_a_walls_shadow(azimuth, up):
    # Closed form: the shadow of a wall of height h reaches h / tan(e) away from the sun.
    h = 3.0
    scene = scene_of(walls=wall([(-100, 0), (100, 0)], h))
    away = -sun_at(azimuth, up)[:2] / np.cos(np.radians(up))
    reach = h / np.tan(np.radians(up))
    inside, beyond = ([*(away * reach * share), 0.0] for share in (0.999, 1.001))
    assert lit_from([inside, beyond], sun_at(azimuth, up), scene).now[:, 0].tolist() == [0, 1]


def test_the_tip_of_a_plants_shadow():
    # Closed form: the tip of a cone of height h, flatter than the sun's rays, throws its shadow to
    # h / tan(e).
    table = load_species({"cone": {"like": "thuja_occidentalis", "shape": "cone"}})
    _, plants = row(((0, 0), (0.1, 0)), step=1.0, stock=3.0, species="cone")
    scene = scene_of(plants=plants, years=1, species_table=table)
    reach = 3.0 / np.tan(np.radians(30.0))
    points = [(0.0, reach * share, 0.0) for share in (0.99, 1.01)]
    lit = lit_from(points, sun_at(180, 30), scene)
    assert lit.open[:, 0, 1, 0].tolist() == [0, 1]
    assert lit.now[:, 0].tolist() == [1, 1]  # without the plant


def test_morning_and_afternoon_mirror_each_other():
    _, plants = row(((0, -10), (0, 10)), stock=2.0)
    scene = scene_of(plants=plants)
    rng = np.random.default_rng(1)
    points = np.column_stack([rng.uniform(-6, 6, 60), rng.uniform(-9, 9, 60), np.zeros(60)])
    mirrored = points * (-1, 1, 1)
    one = lit_from(points, sun_at(110, 25), scene)
    two = lit_from(mirrored, sun_at(250, 25), scene)
    assert one.open == pytest.approx(two.open)
    assert 0 < one.open.sum() < one.free.sum() * one.open.shape[2] * one.open.shape[3]


def test_rays_that_are_not_followed_would_have_met_nothing(monkeypatch):
    # The same with every ray followed, on ground with a hill, walls and plants that grow.
    y, x = np.mgrid[-60:61:4.0, -60:61:4.0]
    hill = Terrain(8 * np.exp(-((x / 20) ** 2 + ((y - 30) / 15) ** 2)) + 0.05 * x, -60, -60, 4, 4)
    _, plants = row(((-20, 5), (20, 9)), species="magnolia_grandiflora", stock=2.0)
    plants["ground_m"] = hill.height_at(plants.geometry.x, plants.geometry.y)
    scene = scene_of(
        walls=wall([(-15, -20), (10, -12)], 4.0), plants=plants, terrain=hill, years=20
    )
    rng = np.random.default_rng(2)
    xy = rng.uniform(-40, 40, (150, 2))
    points = np.column_stack([xy, hill.height_at(*xy.T) + 0.1])
    up = rng.uniform(0.01, 1.0, 300)
    turn = rng.uniform(0, 2 * np.pi, 300)
    flat = np.sqrt(1 - up**2)
    directions = np.column_stack([flat * np.sin(turn), flat * np.cos(turn), up])
    found = lit_from(points, directions, scene)
    followed = []
    whole = lit_module._rays

    def count(points, direction, follow, start, top):
        followed.append(start[-1])
        return whole(points, direction, follow, start, top)

    monkeypatch.setattr(lit_module, "_rays", count)
    lit_from(points, directions, scene)
    # Neither of those that may meet the ground, nor of the steeper ones, are all followed.
    assert sum(followed) < 0.7 * len(points) * len(directions)
    every = np.full((len(points), 72), 1e30)
    monkeypatch.setattr(lit_module, "things_above", lambda *_: every)
    brute = lit_from(points, directions, scene)
    assert found.now == pytest.approx(brute.now)
    assert found.open == pytest.approx(brute.open)


@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0, 270.0])
@pytest.mark.parametrize("ends", [(-1, 1), (1, -1)])
def test_the_bound_on_what_stands_about_a_point(turn, ends):
    # Closed form: a wall 5 m high and 20 m long, 20 m off a point that is 1 m up, rises 4 in 20 at most and
    # is seen over ±26.57°, twelve sectors of 5°. Elsewhere nothing bounds a ray.
    a = np.radians(turn)
    ahead, across = np.array([np.sin(a), np.cos(a)]), np.array([np.cos(a), -np.sin(a)])
    scene = scene_of(walls=wall([20 * ahead + 10 * end * across for end in ends], 5.0))
    bound = things_above(np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 6.0]]), scene)
    seen = (np.arange(-6, 6) + int(turn // 5)) % SECTORS
    expected = np.full(SECTORS, -EVERYTHING)
    expected[seen] = 0.2
    assert bound[0] == pytest.approx(expected, abs=1e-6)
    assert (bound[1] == -EVERYTHING).all()  # from above it
    # The crown of a plant stands in the way by its widest, from where that begins, and its tip.
    _, plants = row(((0, 10), (0.1, 10)), step=1.0, stock=3.0)
    grown = scene_of(plants=plants, years=1)
    crowns, runs = grown.crowns, grown.runs
    bound = things_above(np.array([[0.0, 0.0, 0.0]]), grown)[0]
    r, h = crowns.widest[runs.kind[0]], crowns.height.max()
    spread = np.arcsin(r / 10.0) / np.radians(5.0)
    near = np.arange(-int(np.ceil(spread)), int(np.ceil(spread))) % SECTORS
    expected = np.full(SECTORS, -EVERYTHING)
    expected[near] = h / (10.0 - r)
    assert bound == pytest.approx(expected, abs=1e-6)


@settings(max_examples=12)
@given(st.floats(0.5, 8), st.floats(0.0, 4), st.floats(1, 15), st.floats(0, 15))
def test_taller_takes_more_and_farther_takes_less(height, more, away, farther):
    path = sun_path(*HOME, step_minutes=120)

    def hours(h, d):
        scene = scene_of(walls=wall([(-20, -d), (20, -d)], h), years=1)
        source = Source(path.direction, path.hours, path.month, 12)
        return light_at(np.array([[0.0, 0.0, 0.1]]), UP, source, scene).now

    here = hours(height, away)
    assert (hours(height + more, away) <= here + 1e-9).all()
    assert (hours(height, away + farther) >= here - 1e-9).all()


# ---- the sky


def test_an_open_overcast_sky():
    # Closed forms for L = (1 + 2 sin γ)/3: level ground 7π/9, an upright plane (3/14 + 4/(7π)) of it.
    direction, light = overcast_sky(4000)
    level = (light * direction[:, 2]).sum()
    upright = (light * np.clip(direction[:, 1], 0, None)).sum()
    assert level == pytest.approx(7 * np.pi / 9, rel=1e-3)
    assert upright / level == pytest.approx(3 / 14 + 4 / (7 * np.pi), rel=1e-2)


def test_the_sky_inside_a_ring_of_wall():
    # Closed form: below the elevation γ0 of a ring's top lie (s²/2 + 2 s³/3) / (7/6) of the light on
    # level ground, with s = sin γ0.
    turn = np.linspace(0, 2 * np.pi, 181)
    ring = np.column_stack([10 * np.cos(turn), 10 * np.sin(turn)])
    scene = scene_of(walls=wall(ring, 6.0), years=1)
    source = Source(*overcast_sky(2000), np.zeros(2000, int), 1, cosine=True)
    found = light_at(np.zeros((1, 3)), UP, source, scene)
    s = np.sin(np.arctan(6.0 / 10.0))
    assert found.now[0, 0] / found.free[0, 0] == pytest.approx(
        1 - (s**2 / 2 + 2 * s**3 / 3) / (7 / 6), abs=SKY_TOLERANCE
    )


def upright_sky(rise):
    """Share of an upright plane's overcast sky over a long wall before it, by summing the half space."""
    turn, up = np.meshgrid(
        np.radians(np.arange(-89.9, 90.0, 0.2)), np.radians(np.arange(0.1, 90.0, 0.2))
    )
    light = (1 + 2 * np.sin(up)) / 3 * np.cos(up) ** 2 * np.cos(turn)
    return (light * (np.tan(up) > rise * np.cos(turn))).sum() / light.sum()


def test_the_sky_that_a_window_has_today():
    # Evidence: the integral over the half space before the window, of which a wall of 7 m, 8 m off and
    # long, hides what is lower than its edge; the window is looked at from its quarters, 1.3 and 1.9 m up.
    lines, plants = row(((2.0, 20.0), (5.0, 20.0)), stock=0.5)
    few = plan_with(light_step=240, light_cell=10.0, growth_years=1, views_report_years=(0, 1))
    shares = []
    for screens in (None, wall([(-800, 42), (830, 42)], 7.0)):
        light, *_ = count_light(
            {
                "parcels": parcels(),
                "planting_lines": lines,
                "plants": plants,
                "windows": windows(),
                "buildings": house(),
                "existing_screens": screens,
            },
            position_deg=HOME,
            plan=few,
        )
        mine = light.set_index("light_id").loc["window w0"]
        shares.append(mine["sky_now"])
        # So small and far a row takes next to nothing of it.
        assert mine["sky_y00"] == pytest.approx(mine["sky_now"], abs=0.005)
    expected = np.mean([upright_sky((7.0 - z) / 8.0) for z in (1.3, 1.9)])
    assert expected < 0.7
    assert shares == [1.0, pytest.approx(expected, abs=WINDOW_SKY_TOLERANCE)]


# ---- the step


def test_losses_are_what_is_left_taken_from_what_is_today():
    # Arithmetic on the layers' own columns, with a row that takes more than half of a window's light.
    lines, plants = row(((5.0, 46.0), (25.0, 46.0)), species="thuja_standishii_plicata", stock=1.5)
    years = range(16)
    light, months, _ = count_light({"parcels": parcels(), "planting_lines": lines, "plants": plants, "windows": windows(), "buildings": house()}, position_deg=HOME, plan=plan_with(light_step=120, light_cell=10.0, growth_years=15, views_report_years=years))  # fmt: skip
    mine = light.set_index("light_id").loc["window w0"]
    sun = np.array([mine[f"sun_y{year:02d}"] for year in years])
    sky = np.array([mine[f"sky_y{year:02d}"] for year in years])
    assert mine["sun_lost"] == pytest.approx(1.0 - sun.min() / mine["sun_now_h"])
    assert mine["sky_lost"] == pytest.approx(1.0 - sky.min() / mine["sky_now"])
    assert min(mine["sun_lost"], mine["sky_lost"]) > 0.5
    assert mine["year_worst"] == sun.argmin()
    own = months[months["light_id"] == "window w0"]
    assert own["lost_h"].to_numpy() == pytest.approx((own["sun_now_h"] - own["sun_h"]).to_numpy())
    by_year = own.groupby("year")[["sun_now_h", "sun_h"]].sum()
    assert by_year["sun_h"].to_numpy() == pytest.approx(sun)
    assert by_year["sun_now_h"].to_numpy() == pytest.approx(np.full(16, mine["sun_now_h"]))
    worst = own[own["year"] == sun.argmin()].set_index("month")["lost_h"]
    assert mine["worst_month"] == worst.idxmax()
    assert mine["worst_month_h"] == pytest.approx(worst.max())
    (note,) = notes_of(light)
    assert "in steps of 120 minutes" in note
    assert "to within 60 minutes" in note


def run(**options):
    lines, plants = row(stock=1.5, species=options.pop("species", "thuja_occidentalis"))
    own = options.pop("sun_places", None)
    lots = options.pop("lots", None)
    lots = parcels() if lots is None else lots
    given = {
        name: options.pop(name)
        for name in ("terrain", "limits", "species_table")
        if name in options
    }
    layers = {"parcels": lots, "planting_lines": lines, "plants": plants, "windows": windows(), "buildings": house(), "sun_places": own}  # fmt: skip
    layers |= {name: options.pop(name, None) for name in ("existing_screens", "new_screens")}
    if options.pop("bare", False):
        layers |= {"planting_lines": lines.iloc[:0], "plants": plants.iloc[:0]}
    return count_light(
        layers, position_deg=options.pop("position_deg", HOME), **given,
        plan=plan_with(**{"light_step": 60, "light_cell": 5.0, **options}),
    )  # fmt: skip


@pytest.mark.parametrize("bare", [True, False], ids=["alone", "with plants"])
def test_a_new_screen_takes_its_light_from_the_first_day(bare):
    # Invariant: today's light is that of the site without it, what is left is that of the site with it.
    screen = wall([(2.0, 38.0), (38.0, 38.0)], 4.0).assign(screen_id=["new wall 1"])
    new = screen.assign(piece_id=screen["screen_id"])
    without, stands = run(bare=bare), run(bare=bare, existing_screens=screen)
    told = run(bare=bare, existing_screens=screen, new_screens=new)
    light = told[0].loc[told[0]["kind"] != "row"].set_index("light_id")
    today, left = (found[0].set_index("light_id") for found in (without, stands))
    # Without plants only the new screen says which gardens lie near.
    assert {"garden N", "garden S", "window w0"} <= set(light.index)
    mine = light.index.intersection(left.index)
    years = [name for name in light if name.startswith(("sun_y", "sky_y"))]
    assert light.loc[mine, years].to_numpy(float) == pytest.approx(left.loc[mine, years].to_numpy(float), rel=1e-12)  # fmt: skip
    assert light.loc[mine, "sun_now_h"].tolist() == pytest.approx(today.loc[mine, "sun_now_h"].tolist())  # fmt: skip
    assert light.loc[mine, "sky_now"].tolist() == pytest.approx(today.loc[mine, "sky_now"].tolist())
    window = light.loc["window w0"]
    assert window["sun_y00"] < 0.99 * window["sun_now_h"]
    if bare:
        assert window["year_worst"] == 0
        assert window["sun_lost"] == pytest.approx(1.0 - window["sun_y00"] / window["sun_now_h"])
        assert left.loc["window w0", "sun_lost"] == 0.0
    # In December the sun at noon stands lower than over its top, and that is told by the clock.
    winter = told[1].loc[(told[1]["light_id"] == "window w0") & (told[1]["month"] == 12)]
    assert winter["shade_from"].notna().any()
    # Each cell, by the cells' places.
    if not bare:
        assert told[2]["sun_now_h"].tolist() == pytest.approx(without[2]["sun_now_h"].tolist())
        assert told[2]["sun_y00"].tolist() == pytest.approx(stands[2]["sun_y00"].tolist())


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (1, "one day stands for each month"),
        (3, "3 days stand for each month"),
        (31, "every day is taken"),
    ],
)
def test_the_note_tells_which_days_were_followed(days, said):
    light, *_ = run(
        growth_years=1, views_report_years=(0,), light_days=days, light_step=240, light_cell=10.0
    )
    (note,) = notes_of(light)
    assert f"{said}; clouds are not counted" in note
    assert "some days" not in note


def test_what_a_row_takes_grows_with_it():
    light, months, grid = run(growth_years=20, views_report_years=(0, 5, 20))
    window = light.set_index("light_id").loc["window w0"]
    # Crowns of cones hold those of the year before: sun never comes back.
    assert window["sun_y00"] >= window["sun_y05"] >= window["sun_y20"]
    assert window["sky_y00"] >= window["sky_y20"]
    assert window["sun_lost"] > 0.02
    assert window["sun_lost_high"] >= window["sun_lost"]
    assert window["sun_free_h"] >= window["sun_now_h"]
    mine = months.loc[(months["light_id"] == "window w0") & (months["year"] == 20)]
    assert mine["sun_h"].sum() == pytest.approx(window["sun_y20"])
    assert mine["lost_h"].sum() == pytest.approx(window["sun_now_h"] - window["sun_y20"])
    # A row to the south takes most in winter, when the sun is low.
    assert window["worst_month"] in (10, 11, 12, 1, 2, 3)
    assert mine["shade_from"].notna().any()
    assert (grid["sun_y20"] <= grid["sun_now_h"] + 1e-6).all()
    # The grid's cells are the gardens' points: their mean is the garden's.
    garden = light.set_index("light_id").loc[["garden S", "garden N"]]
    assert grid["sun_now_h"].sum() == pytest.approx((garden["sun_now_h"] * [_cells(grid, 0, 40), _cells(grid, 40, 80)]).sum())  # fmt: skip


def test_what_breaks_the_users_limits_is_marked():
    few = {"growth_years": 10, "views_report_years": (10,), "light_step": 120}
    found = run(**few)[0].set_index("light_id")
    assert found["over"].isna().all()  # no limit is set
    window = found.loc["window w0"]
    sun, sky = window["sun_lost"], window["sky_lost"]
    assert min(sun, sky) > 0.001
    # By the definition: over is what is above the limit, and at the limit nothing is.
    for most_sun_lost, most_sky_lost, over in (
        (sun / 2, sky / 2, "sun and sky"),
        (sun / 2, sky, "sun"),
        (sun, sky / 2, "sky"),
        (sun / 2, None, "sun"),
    ):
        light = run(**few, light_most_sun_lost=most_sun_lost, light_most_sky_lost=most_sky_lost)[0]
        assert light.set_index("light_id").loc["window w0", "over"] == over
    strict = run(**few, light_most_sun_lost=0.0, light_most_sky_lost=0.0)[0]
    assert set(strict.loc[strict["kind"] == "garden", "over"].dropna()) == {"sun"}
    assert strict.loc[strict["kind"] == "row", "over"].isna().all()


def _cells(grid, low, high):
    return int(grid.geometry.y.between(low, high).sum())


def test_what_drops_its_leaves_takes_less_in_winter():
    table = load_species()
    bare = table["carpinus_betulus"]
    leafy = bare.__class__(**{**vars(bare), "evergreen": True, "winter_share": 1.0, "key": "leafy"})
    table = {**table, "leafy": leafy}
    _, one, _ = run(
        growth_years=15, views_report_years=(15,), species="carpinus_betulus", species_table=table
    )
    _, two, _ = run(growth_years=15, views_report_years=(15,), species="leafy", species_table=table)
    lost = [
        table.loc[table["light_id"] == "window w0"].set_index("month")["lost_h"]
        for table in (one, two)
    ]
    assert (lost[0] <= lost[1] + 1e-9).all()
    # Closed form: bare it stops its winter share, here behind one layer of crowns.
    assert lost[0][1] == pytest.approx(bare.winter_share * lost[1][1])
    assert lost[0][6] == pytest.approx(lost[1][6])


def test_panels_are_tilted_and_count_only_light_from_before_them():
    at = shapely.Point(20, 20)
    places = layer([at, at], sun_place_id=["south", "flat"], kind=["panel", "panel"], height_m=[8.0, 8.0],
                   tilt_deg=[90.0, 0.0], facing_deg=[180.0, 180.0])  # fmt: skip
    light, _, _ = run(sun_places=places, growth_years=2, views_report_years=(2,))
    hours = light.set_index("target_id")["sun_free_h"]
    path = sun_path(*HOME, step_minutes=60)
    # By the sun's path alone: it is before an upright plane to the south while its north part is below 0.
    assert hours["flat"] == pytest.approx(path.hours.sum())
    assert hours["south"] == pytest.approx(path.hours[path.direction[:, 1] < 0].sum())


def test_a_tilted_plane_rises_away_from_where_it_faces():
    # Closed form: a plane of tilt t that faces f climbs tan t for each metre against f, about its height
    # in the middle over the mean ground; its normal is (sin t sin f, sin t cos f, cos t).
    slope = Terrain(np.add.outer(np.zeros(9), np.arange(9) * 0.5), -5, -5, 10, 10)
    shape = shapely.box(30, 12, 36, 16)
    places = layer([shape], sun_place_id=["roof"], kind=["panel"], height_m=[5.0], tilt_deg=[35.0],
                   facing_deg=[150.0])  # fmt: skip
    (target,) = sun_places_in_light(places, slope, 1.0)
    t, f = np.radians([35.0, 150.0])
    assert target.normals == pytest.approx(
        np.tile([np.sin(t) * np.sin(f), np.sin(t) * np.cos(f), np.cos(t)], (24, 1))
    )
    x, y, z = target.points.T
    assert (x.mean(), y.mean(), len(x)) == (pytest.approx(33.0), pytest.approx(14.0), 24)
    ground = 0.05 * (33.0 + 5.0)
    against = -(x - 33.0) * np.sin(f) - (y - 14.0) * np.cos(f)
    assert z == pytest.approx(ground + 5.0 + against * np.tan(t))
    # A level bed follows the ground.
    (bed,) = sun_places_in_light(places.assign(tilt_deg=0.0, height_m=0.5), slope, 1.0)
    assert bed.points[:, 2] == pytest.approx(0.05 * (bed.points[:, 0] + 5.0) + 0.5)


def test_without_a_place_on_earth_nothing_is_counted():
    light, months, grid = run(position_deg=None)
    assert len(light) == len(months) == len(grid) == 0


def test_clock_times_follow_the_time_zone():
    first = {}
    for zone in ("UTC", "Asia/Kolkata"):
        _, months, _ = run(
            growth_years=20, views_report_years=(20,), light_time_zone=zone, light_days=31
        )
        january = months.loc[(months["light_id"] == "window w0") & (months["month"] == 1)].iloc[0]
        first[zone] = int(january["shade_from"][:2]) * 60 + int(january["shade_from"][3:])
    # Kolkata is 5 h 30 min ahead, all year.
    assert (first["Asia/Kolkata"] - first["UTC"]) % 1440 == pytest.approx(330, abs=60)


def test_ground_that_two_parcels_share_is_one_cell_and_told_of_both():
    # Evidence: invariant; a parcel that lies on another's ground adds no cell and changes no hours.
    lots = parcels()
    twice = pd.concat([lots, lots.iloc[[1]].assign(parcel_id="again", is_subject=False)])
    twice.geometry = twice.geometry.where(
        twice["parcel_id"] != "again", twice.geometry.translate(0.3, 0.3)
    )
    light, _, grid = run(growth_years=5, views_report_years=(0, 5), lots=twice)
    plain_light, _, plain = run(growth_years=5, views_report_years=(0, 5))
    assert not grid.duplicated(["column", "line"]).any()
    assert grid["cell_id"].tolist() == list(range(1, len(grid) + 1))
    shared = plain.merge(grid, on=["column", "line"], suffixes=("", "_twice"))
    assert len(shared) == len(plain)
    assert shared["sun_y05"].tolist() == shared["sun_y05_twice"].tolist()
    assert {"garden again", *plain_light["light_id"]} == set(light["light_id"])


# ---- the raster


def test_the_raster_lies_where_the_cells_are(tmp_path):
    lots = parcels().set_crs("EPSG:32632")
    lots = lots.set_geometry(lots.geometry.translate(500_000, 5_540_000))
    frame = LocalFrame.around(lots)
    _, _, grid = run(growth_years=5, views_report_years=(0, 5))
    grid = grid.set_crs(frame.crs)
    outputs = write_sun_hours(grid, tmp_path, frame.crs)
    assert [entry["file"] for entry in outputs] == ["sun_hours.tif", "sun_hours.qml"]
    # And no side file of GDAL's.
    assert sorted(path.name for path in tmp_path.iterdir()) == ["sun_hours.qml", "sun_hours.tif"]
    with rasterio.open(tmp_path / "sun_hours.tif") as raster:
        assert raster.count == 3
        assert raster.nodata == NO_DATA
        assert "year 5" in raster.descriptions[2]
        xy = np.column_stack([grid.geometry.x, grid.geometry.y])
        for band, name in enumerate(("sun_now_h", "sun_y00", "sun_y05"), 1):
            read = np.array(list(raster.sample(xy, indexes=band))).ravel()
            assert read == pytest.approx(grid[name].to_numpy(), rel=1e-6)
        assert (raster.read(1) != NO_DATA).sum() == len(grid)
        # The file's own CRS puts a cell where the frame does, to a millimetre (1e-8 degrees).
        lon, lat = Transformer.from_crs(raster.crs.to_wkt(), "EPSG:4326", always_xy=True).transform(
            *xy[0]
        )
    out = frame.send_out(grid.iloc[:1], "EPSG:4326").geometry.iloc[0]
    assert (lon, lat) == pytest.approx((out.x, out.y), abs=1e-8)


def test_no_raster_without_cells(tmp_path):
    _, _, grid = run(position_deg=None)
    assert write_sun_hours(grid, tmp_path, None) == []


def test_the_stated_error_holds_against_every_day_of_the_year():
    # Frozen in kind, not in number: the sampled share must lie within three times its stated error
    # (and a percent) of the share over every day.
    coarse, _, _ = run(growth_years=20, views_report_years=(20,), light_step=30)
    every, _, _ = run(growth_years=20, views_report_years=(20,), light_step=30, light_days=31)
    one, two = (light.set_index("light_id").loc["window w0"] for light in (coarse, every))
    assert abs(one["sun_lost"] - two["sun_lost"]) <= 3 * one["error_share"] + 0.01
    assert two["error_share"] < one["error_share"] + 0.005
