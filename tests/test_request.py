"""The ground to ask about: it holds all that is broken with its margin, its days are the calendar's, and KML tells it."""

import datetime as dt
import math
from functools import cache

import pyogrio
import pytest
import shapely
import works_site as site
from options_kit import plan_with
from test_exchange import frame

from screenplan.contracts import LOCATE_REQUEST
from screenplan.outputs.conform import conform
from screenplan.outputs.exchange import REQUEST_FILE, write_exchange
from screenplan.planting.stock import hole_width
from screenplan.works.calendar import schedule_work
from screenplan.works.fence import lay_fence
from screenplan.works.quantities import count_material
from screenplan.works.request import PEG_M, POST_HOLE_M, outline_request
from screenplan.works.stakeout import stake_out

TODAY = dt.date(2027, 1, 15)


@cache
def made(scheme="perimeter", planting="2027-04-10"):
    """All that the request is drawn from."""
    subject, lines, plants = site.planted()
    plan = plan_with(fence_scheme=scheme, fence_years=4, calendar_planting=planting)
    own = site.layers(subject, lines, plants)
    posts, _, options = lay_fence(own, plan=plan)
    _, pegs, *_ = staked = stake_out(own | {"fence_posts": posts}, plan=plan)
    counted = count_material(own | {"fence_options": options}, plan=plan)
    own |= {"fence_posts": posts, "pegs": pegs, "fence_options": options, "quantities": counted}
    own["schedule"] = schedule_work(own, plan=plan, today=TODAY)
    names = ("tape_points", "pegs", "base_lines", "stakes", "stake_checks")
    return own | dict(zip(names, staked, strict=True))


def request(layers, **options):
    found = outline_request(layers, plan=plan_with(**options))
    conform(found, LOCATE_REQUEST)
    return found


def test_a_lone_row_is_a_rectangle_as_long_as_the_strip_and_wider_by_the_margin():
    layers = made("none") | {"pegs": None, "fence_posts": None}
    found = request(layers, calendar_request_margin=0.3)
    x = layers["plants"].geometry.x
    # Closed form: strips end half their width, 0.5 m, beyond the last plants, and holes are 0.7 m wide.
    wide, high = x.max() - x.min() + 1.0 + 0.6, 1.0 + 0.6
    corners = (4.0 - math.pi) * 0.3**2  # they are round
    # The outline is drawn around the true one, by half a millimetre at most.
    most = wide * high - corners + 2.0 * (wide + high) * 0.0006
    assert wide * high - corners - 1e-4 <= found["area_m2"].iloc[0] <= most
    assert found["holes"].tolist() == [len(layers["plants"])]
    assert found["says"].iloc[0] == f"{len(layers['plants'])} planting holes, the turf of the strip"


@pytest.mark.parametrize("margin", [0.0, 0.5, 2.0])
def test_all_that_is_broken_lies_in_it_with_its_margin(margin):
    layers = made()
    found = request(layers, calendar_request_margin=margin)
    ground = shapely.union_all(found.geometry.to_numpy())
    plants = layers["plants"]
    hole = hole_width(plants["stock"].iloc[0], plants["stock_height_m"].iloc[0])
    for points, half in (
        (plants.geometry, hole / 2.0),
        (layers["fence_posts"].geometry, POST_HOLE_M),
        (layers["pegs"].geometry, PEG_M),
    ):
        assert shapely.contains(ground, points).all()
        edge = shapely.distance(points.to_numpy(), ground.boundary)
        assert edge.min() >= half + margin - 1e-9
    assert found["posts"].sum() == len(layers["fence_posts"]) > 0
    assert found["pegs"].sum() == len(layers["pegs"]) > 0
    assert not shapely.overlaps(found.geometry.to_numpy()[:, None], found.geometry.to_numpy()).any()


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Days of a request for locating: 17 (Nebraska), 28 (Illinois), 30 (Colorado), the day of asking counted",
    source="Nebraska Administrative Code 155-2-005; Illinois, the one-call centre's pages; Colorado Revised Statutes 9-1.5-103(4)(b)",
    status="read",
    tolerance="exact",
)
@pytest.mark.parametrize(
    ("key", "life"), [("request_nebraska", 17), ("request_illinois", 28), ("request_colorado", 30)]
)
def test_it_holds_as_long_as_the_place_says_and_is_asked_for_on_the_days_of_the_calendar(key, life):
    layers = dict(made())
    plan = plan_with(calendar_planting="2027-04-10", calendar_request=key)
    layers["schedule"] = schedule_work(layers, plan=plan, today=TODAY)
    found = request(layers, calendar_planting="2027-04-10", calendar_request=key).iloc[0]
    tasks = layers["schedule"].set_index("task")
    assert found["ask_date"] == tasks.loc["locate", "first_date"]
    assert found["renew_date"] == tasks.loc["renew", "first_date"]
    ask, last, renew = (dt.date.fromisoformat(str(found[f"{what}_date"])[:10]) for what in ("ask", "last", "renew"))  # fmt: skip
    assert (last - ask).days + 1 == life
    assert ask <= renew <= last


def test_without_a_day_of_planting_days_are_counted():
    found = request(made(planting=None)).iloc[0]
    assert found["ask_day"] < found["answered_day"] < found["last_day"]
    assert found[["ask_date", "last_date", "renew_date"]].isna().all()


@pytest.mark.evidence(
    part="Files",
    kind="other software",
    against="The outline of the ground to ask about, as KML",
    source="GDAL through pyogrio",
    status="run",
    tolerance="1e-3 m2 of its area",
)
def test_another_program_reads_the_outline_where_it_lies(tmp_path):
    at = frame()
    own = {
        name: layer.set_crs(at.crs, allow_override=True) if hasattr(layer, "geometry") else layer
        for name, layer in made().items()
    }
    own["locate_request"] = request(made()).set_crs(at.crs, allow_override=True)
    write_exchange(own, tmp_path, send_out=at.send_out, frame_note="Metres")
    read = pyogrio.read_dataframe(tmp_path / REQUEST_FILE).to_crs(at.crs)
    assert read["area_m2"].tolist() == pytest.approx(own["locate_request"]["area_m2"].tolist())
    asked = own["locate_request"].geometry
    apart = shapely.symmetric_difference(read.geometry.to_numpy(), asked.to_numpy())
    assert shapely.area(apart).max() < 1e-3


def test_where_nobody_said_where_on_earth_the_site_lies_no_outline_is_written(tmp_path):
    own = made() | {"locate_request": request(made())}
    write_exchange(own, tmp_path, send_out=None, frame_note="Metres")
    assert not (tmp_path / REQUEST_FILE).exists()
    assert (tmp_path / "stakeout.dxf").exists()
