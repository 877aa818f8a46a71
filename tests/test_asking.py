"""The ten questions of ``screenplan start``, asked in a pseudo-terminal; the same answers as options."""

import re
import tomllib

import pytest
from pty_kit import talk

from screenplan.commandline.answers import USUAL, read_direction, read_position, read_window
from screenplan.commandline.asking import QUESTIONS
from screenplan.commandline.gathering import Given
from screenplan.commandline.starting import start_plan
from screenplan.ground.errors import InputError
from screenplan.plan import read_plan
from screenplan.running.inputs import read_inputs

#: The issue's own bound.
MOST_QUESTIONS = 10
#: A short plan: longer, and nobody reads it whole.
MOST_LINES = 60
BEDROOM = "No. 9 bedroom, 15 m, 12 m, 3.5 m, 4.7 m"


def errors(shown: str) -> list[str]:
    return re.findall(r"^Error: (.*)$", shown, re.MULTILINE)


def test_there_are_ten_questions_at_most():
    assert len(QUESTIONS) <= MOST_QUESTIONS
    for question in QUESTIONS:
        for usual in USUAL.values():
            assert "uch as" in question.text(usual)


def test_an_empty_line_takes_each_default(tmp_path):
    code, shown = talk(["start"], [""] * len(QUESTIONS), tmp_path)
    assert (code, errors(shown)) == (0, [])
    plan, folder = read_plan(tmp_path / "hedge.toml")
    assert (plan.tape.length, plan.plan.units, plan.tape.bearing) == (30.0, "metric", None)
    assert [place.name for place in plan.tape.private_places] == ["terrace"]
    assert plan.tape.windows == ()
    assert read_inputs(plan, folder).layers["planting_line"].length.tolist() == [30.0]
    text = (tmp_path / "hedge.toml").read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES
    assert "`screenplan keys`" in text


def test_each_question_takes_nonsense_the_wrong_unit_a_way_back_and_an_empty_line(tmp_path):
    answers = [
        "rubbish", "30", "30 kg", "-3 m", "30 m",
        "up", "back", "", "NE",
        "somewhere", "99 10", "back", "", "41.26 N 95.93 W",
        "4 kg", "terrace, -4 m", "terrace, 1, 2, 3, 4, 5", "back", "", "terrace, 4",
        "No. 9, -15 m", "No. 9, 15 m, 12 m, -1 m", "No. 9, 15 m, 12 m, 3 m, 2 m", "No. 9, 15 s", "back", "", BEDROOM,
        "kitchen, 14, 20", "back", "kitchen, 14, 21, 1, 2.2, 0.5", "",
        "oak", "back", "", "ilex_opaca, juniperus virginiana",
        "spring", "back", "", "2027-04-10",
        "many", "-2", "back", "", "20",
        "600", "600, 12.5, 0.6 kg", "back", "", "600, 12.5, 0.6",
        "plan.txt", "away/plan.toml", "back", "", "tape.toml",
    ]  # fmt: skip
    code, shown = talk(["start"], answers, tmp_path)
    assert code == 0, shown
    said = errors(shown)
    for words in (
        "'rubbish' is not a length", "'30' has no unit", "'kg' is not a unit of length", "a row of -3 m cannot be planned",
        "'up' is not a bearing", "'somewhere' is no latitude and longitude", "latitude 99, longitude 10 is no place",
        "inside is -4 m, which is on the other side of the line", "5 lengths are given, and 4 are asked for",
        "beyond is -15 m, which is on the other side of the line", "the sill is at -1 m, below the ground",
        "the head is at 2 m and the sill at 3 m", "beyond: 's' is not a unit of length", "'oak' is not in the table of species",
        "'spring' is not a date", "'many' is no number of plants", "'-2' is no number of plants",
        "'600' is no budget with a price", "plan.txt does not end in .toml", "its folder does not exist",
    ):  # fmt: skip
        assert any(words in line for line in said), words
    assert "Window 2 is taken back." in shown
    made = tomllib.loads((tmp_path / "tape.toml").read_text(encoding="utf-8"))
    assert made == {
        "plan": {"title": "tape"},
        "tape": {
            "length": "30 m", "bearing": 45.0, "at": [-95.93, 41.26],
            "private_places": [{"name": "terrace", "along": "15 m", "inside": "4 m", "width": "4 m", "depth": "3 m"}],
            "windows": [
                {"name": "No. 9 bedroom", "along": "12 m", "beyond": "15 m", "sill": "3.5 m", "head": "4.7 m"},
                {"name": "kitchen", "along": "21 m", "beyond": "14 m", "sill": "1 m", "head": "2.2 m", "ground": "0.5 m"},
            ],
        },
        "plants": {"species": ["ilex_opaca", "juniperus_virginiana"]},
        "calendar": {"planting": "2027-04-10"},
        "hand": {"plants": 20, "budget": 600.0, "prices": {"0.6 m": 12.5}},
    }  # fmt: skip
    assert [path.name for path in tmp_path.iterdir()] == ["tape.toml"]


@pytest.mark.parametrize("question", [0, 1, 4, 9])
def test_the_dialogue_ends_where_a_person_ends_it_and_writes_nothing(question, tmp_path):
    answers = ["30 m", "NE", "41 -95", "terrace, 4", *[""] * 5][:question]
    code, shown = talk(["start"], [*answers, "end"], tmp_path)
    assert code == 130
    assert "ended, and nothing was written" in shown
    assert list(tmp_path.iterdir()) == []


def test_a_terminal_that_is_shut_ends_it_too(tmp_path):
    code, shown = talk(["start", "hedge.toml"], ["30 m"], tmp_path)
    assert code == 130
    assert "Traceback" not in shown
    assert list(tmp_path.iterdir()) == []


def test_after_feet_all_is_asked_in_round_feet(tmp_path):
    answers = ["100 ft", "", "", "No. 9, 50", "back", "No. 9, 50, 40", "", *[""] * 5]
    code, shown = talk(["start"], answers, tmp_path)
    assert code == 0, shown
    # Without a direction no place is asked for: nine questions, and no number is left out.
    numbers = re.findall(r"^(\d+) of (\d+)\.", shown.replace("\r", ""), re.M)
    assert [int(number) for number, _ in numbers] == list(range(1, 10))
    assert numbers[-1] == ("9", "9")
    after = shown.partition("2 of 10")[2].partition("Wrote")[0]
    assert not re.search(r"\d m\b", after)
    lengths = re.findall(r"(\d+(?:\.\d+)?) ft", after)
    assert lengths
    assert all(float(number) == int(float(number)) for number in lengths)
    made = tomllib.loads((tmp_path / "hedge.toml").read_text(encoding="utf-8"))
    assert made["plan"]["units"] == "us"
    assert made["tape"]["windows"] == [
        {"name": "No. 9", "along": "40 ft", "beyond": "50 ft", "sill": "3 ft", "head": "7 ft"}
    ]


def test_a_plan_that_is_there_is_not_asked_over(tmp_path):
    (tmp_path / "hedge.toml").write_text("mine", encoding="utf-8")
    code, shown = talk(["start", "hedge.toml"], [], tmp_path)
    assert code == 2
    assert "there is such a file already" in shown
    assert (tmp_path / "hedge.toml").read_text(encoding="utf-8") == "mine"


def test_the_answers_as_options_make_the_same_plan(tmp_path):
    answers = ["30 m", "NE", "41.26 -95.93", "terrace, 4", BEDROOM, "kitchen, 14, 21", "", "ilex_opaca",
               "2027-04-10", "20", "600, 12.5, 0.6", ""]  # fmt: skip
    code, shown = talk(["start"], answers, tmp_path)
    assert code == 0, shown
    asked = (tmp_path / "hedge.toml").read_text(encoding="utf-8")
    given = Given(
        length="30 m", bearing="NE", at=(-95.93, 41.26), hidden=["terrace, 4"], windows=[BEDROOM, "kitchen, 14, 21"],
        species="ilex_opaca", planting="2027-04-10", plants=20, budget="600, 12.5, 0.6",
    )  # fmt: skip
    start_plan(tmp_path / "hedge.toml", given, force=True)
    assert (tmp_path / "hedge.toml").read_text(encoding="utf-8") == asked


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"windows": ["a, 9 m", "b, -9 m"]}, r"row 2, key --window: beyond is -9 m"),
        ({"hidden": ["a, 9 kg"]}, r"row 1, key --hide: inside: 'kg' is not a unit"),
        ({"windows": ["a, 9 m"], "length": None, "corners": "c.csv"}, r"key --window: --window is measured from a line"),
        ({"species": "oak"}, "'oak' is not in the table of species"),
        ({"windows": ["a"]}, "row 1, key --window: 'a' says no distance"),
    ],
)  # fmt: skip
def test_an_option_that_cannot_be_meant_is_refused_and_nothing_is_written(given, message, tmp_path):
    (tmp_path / "c.csv").write_text("x,y\n0,0\n9,0\n9,9\n", encoding="utf-8")
    if given.get("corners"):
        given = given | {"corners": str(tmp_path / "c.csv")}
    with pytest.raises(InputError, match=message):
        start_plan(tmp_path / "hedge.toml", Given(**{"length": "30 m"} | given))
    assert not (tmp_path / "hedge.toml").exists()


def test_a_table_of_windows_beside_a_length_is_measured_from_its_zero_peg(tmp_path):
    (tmp_path / "w.csv").write_text("id,x,y,sill,facing\na,12,15,1,180\n", encoding="utf-8")
    started = start_plan(
        tmp_path / "hedge.toml", Given(length="30 m", layers=[f"windows={tmp_path / 'w.csv'}"])
    )
    assert not started.problems
    plan, folder = read_plan(tmp_path / "hedge.toml")
    point = read_inputs(plan, folder).layers["windows"].geometry.iloc[0]
    assert (point.x, point.y) == (12.0, 15.0)


@pytest.mark.parametrize(("unit", "units"), [("ft", "us"), ("survey_foot", "us"), ("m", "metric")])
def test_corners_in_feet_make_a_plan_in_feet(unit, units, tmp_path):
    (tmp_path / "c.csv").write_text("x,y\n0,0\n90,0\n90,90\n0,90\n", encoding="utf-8")
    start_plan(tmp_path / "hedge.toml", Given(corners=str(tmp_path / "c.csv"), unit=unit))
    assert read_plan(tmp_path / "hedge.toml")[0].plan.units == units


def test_words_for_directions_and_places():
    assert [read_direction(word) for word in ("N", "north-east", "sw", "312.5")] == [0.0, 45.0, 225.0, "312.5"]  # fmt: skip
    assert read_position("41.26 N, 95.93 W") == [-95.93, 41.26]
    assert read_position("-33.9 18.4") == [18.4, -33.9]
    assert read_window("15 m", "30 m") == {"along": "15 m", "beyond": "15 m", "sill": "0.9 m", "head": "2.1 m"}  # fmt: skip
