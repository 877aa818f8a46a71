"""Normals of the climate, as a person writes them: in the plan, or in a file beside it."""

import pytest

from screenplan.ground.errors import InputError
from screenplan.plan import DEFAULTS, check_plan, read_plan
from screenplan.plan.climate import COLDEST_C, HOTTEST_C, MOST_RAIN_M

PARCELS = {"layers": {"parcels": {"file": "lots.gpkg"}}}
#: Made up: a place with a winter, and its rain.
MEANS_C = (-6, -3, 4, 10, 16, 22, 24, 23, 18, 11, 4, -3)
RAIN_MM = (30, 30, 50, 90, 110, 120, 110, 100, 80, 70, 50, 40)
CELSIUS = [f"{mean} C" for mean in MEANS_C]
MILLIMETRES = [f"{rain} mm" for rain in RAIN_MM]
ROWS = [
    f"{month},{mean},{rain}"
    for month, (mean, rain) in enumerate(zip(CELSIUS, MILLIMETRES, strict=True), 1)
]


def climate(folder=None, **section):
    return check_plan(PARCELS | {"climate": section}, folder=folder).climate


def file_of(tmp_path, rows, head="month,temperature,rain"):
    (tmp_path / "normals.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    return climate(tmp_path, file="normals.csv")


def test_normals_are_read_in_either_scale_and_unit():
    # Closed form: 50 °F are 10 °C, an inch is 25.4 mm.
    found = climate(temperature=["50 F", "10 °C"] * 6, rain=["1 in", "25.4 mm"] * 6)
    assert set(found.temperature) == {10.0}
    assert set(found.rain) == {0.0254}
    assert not DEFAULTS.climate.temperature
    assert not DEFAULTS.climate.rain


def test_a_file_says_the_same_as_the_plan_in_any_order_of_rows(tmp_path):
    told = climate(temperature=CELSIUS, rain=MILLIMETRES)
    for rows in (ROWS, ROWS[::-1]):
        found = file_of(tmp_path, rows)
        assert (found.temperature, found.rain) == (told.temperature, told.rain)
    head, half = "Month, Rain", [f"{row.split(',')[0]}, {row.split(',')[2]}" for row in ROWS]
    found = file_of(tmp_path, half, head)
    assert (found.temperature, found.rain) == ((), told.rain)


def test_the_mean_is_the_middle_of_lowest_and_highest_where_it_is_not_given(tmp_path):
    lowest, highest = [f"{mean - 4} C" for mean in MEANS_C], [f"{mean + 5} C" for mean in MEANS_C]
    found = climate(lowest=lowest, highest=highest)
    assert found.temperature == tuple(mean + 0.5 for mean in MEANS_C)
    assert climate(lowest=lowest, highest=highest, temperature=CELSIUS).temperature == MEANS_C
    rows = [f"{month},{low},{high}" for month, (low, high) in enumerate(zip(lowest, highest, strict=True), 1)]  # fmt: skip
    read = file_of(tmp_path, rows, "month,lowest,highest")
    assert (read.temperature, read.lowest, read.highest) == (found.temperature, found.lowest, found.highest)  # fmt: skip
    with pytest.raises(InputError, match="lowest temperatures are given without the highest"):
        file_of(tmp_path, [row.rpartition(",")[0] for row in rows], "month,lowest")


def test_a_file_lies_beside_the_plan(tmp_path, monkeypatch):
    (tmp_path / "normals.csv").write_text("\n".join(["month,temperature,rain", *ROWS]))
    plan = tmp_path / "plan.toml"
    plan.write_text('[layers.parcels]\nfile = "lots.gpkg"\n[climate]\nfile = "normals.csv"\n')
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    assert read_plan(plan)[0].climate.temperature == tuple(map(float, MEANS_C))


@pytest.mark.parametrize(
    ("section", "what"),
    [
        ({"temperature": CELSIUS[:11]}, "11 months are given. Give 12 values"),
        ({"rain": [*MILLIMETRES, "3 mm"]}, "13 months are given. Give 12 values"),
        ({"temperature": [4.5] * 12}, r"month 1: 4\.5 is not a temperature \(and 11 more months\)\. Write each month with its unit"),
        ({"temperature": ["43 C"] * 12}, "out of range. Give at most 42.3"),
        ({"temperature": ["-90 C"] * 12}, "out of range. Give at least -89.2"),
        (
            {"rain": ["80"] * 12},
            r'month 1: \'80\' has no unit \(and 11 more months\)\. Write each month with its unit, such as "60 mm" or "2.4 in"',
        ),
        ({"rain": [*MILLIMETRES[:10], "2", "3"]}, r"month 11: '2' has no unit \(and 1 more month\)\. Write"),
        ({"rain": [*MILLIMETRES[:11], "3"]}, r"month 12: '3' has no unit\. Write each month"),
        ({"rain": ["-1 mm"] * 12}, "out of range"),
        ({"rain": ["2.3 m"] * 12}, "of rain in a year are more than have ever fallen"),
        ({"lowest": CELSIUS}, "lowest temperatures are given without the highest"),
        ({"highest": CELSIUS}, "highest temperatures are given without the lowest"),
        ({"lowest": ["9 C"] * 12, "highest": ["8 C"] * 12}, "the lowest, 9 °C, is not below the highest, 8 °C"),
        ({"lowest": CELSIUS, "highest": CELSIUS}, "month 1: the lowest, .* °C, is not below the highest"),
        ({"lowest": CELSIUS, "highest": CELSIUS, "temperature": CELSIUS}, "month 1: the lowest is .*, the mean"),
        (
            {"lowest": ["1 C"] * 12, "highest": ["3 C"] * 12, "temperature": ["4 C"] * 12},
            "the lowest is 1 °C, the mean 4 °C and the highest 3 °C. Look whether the lists are exchanged",
        ),
        ({"lowest": CELSIUS[:11], "highest": CELSIUS}, "11 months are given"),
        ({"temperature": CELSIUS, "file": "normals.csv"}, "in a file and in the plan. Keep one"),
        ({"file": "nowhere.csv"}, r"cannot be read \(No such file or directory\)"),
        ({"wind": 3}, "climate.wind"),
    ],
)  # fmt: skip
def test_what_no_year_can_be_is_refused(section, what):
    with pytest.raises(InputError, match=what):
        climate(**section)


@pytest.mark.parametrize(
    ("rows", "what"),
    [
        (ROWS[:11], "11 months are given .*Give 12 rows"),
        ([*ROWS[:11], ROWS[0]], "row 12 of the file of months is of month '1'"),
        ([*ROWS[:11], "13,4 C,2 mm"], "is of month '13'"),
        ([*ROWS[:11], "12"], "month 12: '' is not a "),
        ([*ROWS[:11], "12,-3,40 mm"], "month 12: '-3' is not a temperature"),
        ([*ROWS[:11], "12,-3 C,40"], 'month 12: .40. has no unit .*such as "60 mm"'),
        ([*ROWS[:11], "12,-3 C,40 m"], "month 12: '40 m' is out of range"),
        ([row.replace(" mm", " m") for row in ["1,1 C,3 mm", *ROWS[1:]]], "out of range"),
        (["1,1 C,2.3 m", *(f"{n},1 C,2.3 m" for n in range(2, 13))], "more than have ever fallen"),
        ([], "columns of the file of months are not there"),
    ],
)
def test_a_file_that_is_no_year_is_refused(tmp_path, rows, what):
    with pytest.raises(InputError, match=what):
        file_of(tmp_path, rows)


def test_a_file_of_another_kind_is_refused(tmp_path):
    for content, what in ((b"\xff\xfe\x00", "no UTF-8 text"), (b"a,b\n" * 30000, "too large")):
        (tmp_path / "normals.csv").write_bytes(content)
        with pytest.raises(InputError, match=what):
            climate(tmp_path, file="normals.csv")


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="the hottest month, the lowest reading and the wettest twelve months that are on record",
    source="Guinness World Records, hottest places; World Meteorological Organization, archive of extremes (both read)",
    status="read",
    tolerance="exact",
)
def test_normals_are_bounded_by_what_was_ever_measured():
    # 108.1 °F at Furnace Creek in July 2018; -128.6 °F at Vostok; 26.47 m at Cherrapunji, 1860 to 1861.
    assert pytest.approx((108.1 - 32) / 1.8, abs=0.05) == HOTTEST_C
    assert pytest.approx((-128.6 - 32) / 1.8, abs=0.05) == COLDEST_C
    assert MOST_RAIN_M == 26.47
