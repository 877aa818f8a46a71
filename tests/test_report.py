"""The report as text: every table there, everything escaped, nothing asked of the network."""

import itertools
import re
from html.parser import HTMLParser

import pandas as pd
import pytest
from report_kit import choices_of, report_of, sample

from screenplan import sample_plan
from screenplan.contracts import DESIGN, OUTPUTS, Column, Contract
from screenplan.contracts.called import observer_names
from screenplan.contracts.presentation import WORK
from screenplan.contracts.tables import table_of
from screenplan.ground.said import in_units
from screenplan.outputs.answer import CAUTIONS, answer
from screenplan.outputs.palette import COLOURS
from screenplan.outputs.report import MOST_PRINTED, About, _running_title, make_report, template
from screenplan.outputs.report_figures import _signs
from screenplan.outputs.report_tables import (
    Heading,
    Table,
    _notes,
    make_table,
    plain_table,
    stakes_by_line,
    without_equal,
)
from screenplan.outputs.report_views import view_codes, views_table, year_sentences
from screenplan.outputs.who_sees import NOBODY_GIVEN, view_counts
from screenplan.running.pipeline import run_plan
from screenplan.running.writing import about_run

#: The report of the sample plan is smaller than this, bytes.
MOST_BYTES = 3_000_000
HOSTILE = ("<script>hit=1</script>", '"><img src=x onerror=hit=1>', "=1+1", "$\\frac{1}{0}$", "a\x00b\x1b]\u2028", "</svg></style>", "{{ 7*7 }}", "]]>&amp;")  # fmt: skip


@pytest.fixture(scope="module")
def run():
    return sample()


@pytest.fixture(scope="module")
def page(run):
    return report_of(run)


def test_lines_are_cautioned_of_once_at_each_digging_task(run, page):
    dig = "have buried lines located before any digging; dig by hand"
    tasks = run.layers["schedule"]["caution"].str.lower().str.contains(dig, regex=False)
    assert tasks.sum() > 3
    assert page.lower().count(dig) == tasks.sum()
    # Besides these: on the first screen.
    assert page.lower().count("before any digging have buried lines located") == 1
    # The layer of quantities, which goes out by itself, keeps its own.
    assert run.layers["quantities"]["caution"].str.contains("buried lines").any()


def test_the_order_names_its_plants_in_table_and_caption(run, page):
    rows = run.layers["quantities"].loc[run.layers["quantities"]["part"] == "plants"]
    assert len(rows) == 2  # the sample's row is mixed
    for row in rows.itertuples():
        assert f"Plants: {row.plant_name}" in page
        assert f"{row.plants} {row.plant_name}, {row.stock}" in page
    first = rows.iloc[0]
    assert f"To be planted: {first['plants']} {first['plant_name']}, {first['stock']}" in page


def hostile():
    """Rename everything that a layer can name."""
    run = sample()
    names = itertools.cycle(HOSTILE)
    swap = {}
    for frame in run.layers.values():
        for column in frame.columns:
            if column == "geometry" or frame[column].dtype != "string" or column in KEPT:
                continue
            new = []
            for value in frame[column]:
                if pd.isna(value):
                    new.append(value)
                else:
                    if value not in swap:
                        swap[value] = f"{next(names)}{len(swap)}"
                    new.append(swap[value])
            frame[column] = pd.array(new, dtype="string")
    run.site.warnings.append(HOSTILE[0])
    return run


#: Columns whose values are words of the contracts, not of a person.
KEPT = {"status", "growth", "season", "result", "kind", "position", "role", "side", "offset_side",
        "shape", "stock", "species", "unit", "part", "roof", "scheme", "across_kind"}  # fmt: skip


class Reader(HTMLParser):
    """Tags and their attributes, and identifiers."""

    def __init__(self):
        super().__init__()
        self.tags, self.ids, self.attributes = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, *pair) for pair in attrs]
        self.ids += [value for name, value in attrs if name == "id"]

    handle_startendtag = handle_starttag


def read(page) -> Reader:
    reader = Reader()
    reader.feed(page)
    return reader


def test_it_is_small_and_the_same_twice(run, page):
    assert len(page.encode()) < MOST_BYTES
    assert report_of(run) == page


def test_it_stands_alone(page):
    reader = read(page)
    assert not {"img", "iframe", "object", "embed", "base", "form"} & set(reader.tags)
    loads = [
        value
        for tag, name, value in reader.attributes
        if name in ("src", "href", "xlink:href", "data", "action", "poster", "srcset")
    ]
    assert loads
    assert {value for value in loads if not value.startswith("#")} == {"data:,"}
    assert set(re.findall(r"url\(([^)]{0,2})", page)) <= {"#g", "#p", "#e", "#y", "#s", "#n", "#c"}
    assert "@import" not in page
    assert "default-src 'none'" in page


def test_identifiers_are_unique_and_references_lead_somewhere(page):
    reader = read(page)
    assert len(reader.ids) == len(set(reader.ids))
    named = {value[1:] for _, name, value in reader.attributes if name in ("href", "xlink:href") and value.startswith("#")}  # fmt: skip
    named |= set(re.findall(r"url\(#([^)]+)\)", page))
    named |= {one for _, name, value in reader.attributes if name == "aria-labelledby" for one in value.split()}  # fmt: skip
    assert named <= set(reader.ids)


def test_letters_of_drawings_are_text(run, page):
    drawings = re.findall(r"<svg.*?</svg>", page, re.DOTALL)
    assert len(drawings) >= 6
    assert all("<text" in one and "font-family" not in one for one in drawings)
    plan = next(one for one in drawings if "Planting plan" in one)
    for plant in run.layers["plants"]["plant_id"]:
        assert re.search(rf"<text[^>]*>{plant}</text>", plan)


def test_cautions_and_sources_are_there(run, page):
    for caution in CAUTIONS:
        assert caution in page
    for source in run.layers["no_plant_zones"]["source"]:
        assert page.count(source.replace("'", "&#39;").replace("&", "&")) or source[:30] in page
    for species in run.species:
        for source in species.sources.values():
            assert source[:40].replace("'", "&#39;") in page


class Words(HTMLParser):
    """The words of one element of a page, by its identifier."""

    def __init__(self, wanted):
        super().__init__()
        self.wanted, self.depth, self.said = wanted, 0, []

    def handle_starttag(self, tag, attrs):
        if self.depth or dict(attrs).get("id") == self.wanted:
            self.depth += tag not in ("path", "use", "rect", "br", "meta", "link")

    def handle_endtag(self, tag):
        if self.depth and tag not in ("path", "use", "rect"):
            self.depth -= 1

    def handle_startendtag(self, tag, attrs):
        """Nothing stands in it."""

    def handle_data(self, data):
        if self.depth:
            self.said.append(data)


def words_of(page, wanted) -> str:
    reader = Words(wanted)
    reader.feed(page)
    return " ".join(" ".join(reader.said).split())


def test_the_first_screen_tells_order_rows_years_and_cautions(run, page):
    first, layers = words_of(page, "first"), run.layers
    ordered = layers["quantities"].loc[layers["quantities"]["part"] == "plants"]
    assert f"Order {ordered['packs'].sum()} plants" in first
    for row in ordered.itertuples():
        # In the list, and in the sentence for the nursery.
        assert first.count(f"{row.packs} {row.plant_name}, balled, 1.80 m high") == 2
    for line_id, stakes in layers["stakes"].groupby("line_id"):
        ends = stakes["stake_id"].min(), stakes["stake_id"].max()
        last = stakes.loc[stakes["stake_id"] == ends[1], "slope_along_m"].item()
        assert f"{line_id}: {len(stakes)} plants, " in first
        assert f"stake {ends[0]} at 0.00 m, stake {ends[1]} at {last:.2f} m" in first
    views, names = layers["views"], observer_names(layers)
    for status, head in (
        ("closes", "Who no longer sees in"),
        ("stays open", "Who still sees in, and why"),
    ):
        part = words_of(page, "first").partition(head)[2].partition("Cost to you")[0]
        for window in views.loc[views["status"] == status, "window_id"].unique():
            assert names[window] in part
    closing = views.loc[(views["status"] == "closes") & (views["window_id"] == "2-low")]
    years = [closing[f"year_closed_p{share}"] for share in (50, 10, 90)]
    # A year that is not there is never, and the latest of all.
    latest = ["never" if some.isna().any() else some.max() for some in years]
    assert "{} ({} to {})".format(*latest) in first
    for caution in CAUTIONS:
        assert caution.replace("'", "’") in first.replace("'", "’")
    assert "From memory, not looked up: spread, hardiness zones of eastern red cedar" in first


@pytest.mark.parametrize(
    ("statuses", "says"),
    [
        ([], "No window and no onlooker is given, so that this plan does not know who looks in."),
        (
            ["closed already"],
            "Nobody sees in today: the one view is closed by what stands already.",
        ),
        (["closes"], "The one view that is open today closes."),
        (["closes", "closes"], "Both views that are open today close."),
        (["stays open", "stays open"], "None of the 2 views that are open today closes."),
        (["closes", "stays open"], "1 of the 2 views that are open today closes, 1 stays open."),
    ],
)
def test_the_headline_counts_views(statuses, says):
    assert view_counts(pd.DataFrame({"status": statuses, "chance_year": None})) == says


def test_who_is_not_given_is_not_said_to_see_nothing(run):
    page = report_of_layers(run, run.layers | {"views": run.layers["views"].iloc[:0]})
    assert NOBODY_GIVEN in words_of(page, "first")
    assert "Nobody" not in words_of(page, "first")


def test_the_first_screen_says_first_that_checks_fail(run):
    layers = dict(run.layers)
    checks = layers["checks"].copy()
    checks.loc[checks.index[:7], "result"] = "fails"
    page = report_of_layers(run, layers | {"checks": checks})
    first = words_of(page, "first")
    assert "Before you dig 7 checks fail, so do not plant by this sheet yet: setbacks, " in first
    assert "and 2 more" in first


def report_of_layers(run, layers):
    return make_report(layers, about_run(run))


def test_what_nobody_asked_for_is_left_out(run, page):
    fences = run.layers["fence_options"]
    assert not fences["chosen"].any()
    assert len(fences)
    assert "Ways to fence" not in page
    asked = fences.assign(chosen=fences["scheme"] == "perimeter")
    assert "Ways to fence" in report_of_layers(run, run.layers | {"fence_options": asked})
    hand = run.layers["plants_in_hand"]
    assert "Plants and money in hand" in page
    nothing = hand.assign(
        **dict.fromkeys(("given", "surplus", "spacing_to_fill_m", "reach_m", "cost"))
    )
    assert "Plants and money in hand" not in report_of_layers(
        run, run.layers | {"plants_in_hand": nothing}
    )


def test_the_sheets_follow_the_work(page):
    folds = re.findall(r'<details id="([a-z-]+)"', page)
    # The sample chose no fence.
    assert folds[:6] == ["stake-out", "order", "dig", "plant", "water", "check"]
    assert folds[-1] == "sources-part"


def test_a_name_is_never_cut_off_at_the_house(run):
    house = "The old schoolhouse at the corner of Larkspur Rise and Heron Close"
    buildings = run.layers["buildings"].copy()
    buildings["name"] = buildings["name"].replace("No. 9", house)
    page = report_of_layers(run, run.layers | {"buildings": buildings})
    assert f"{house}, bedroom, upstairs" in words_of(page, "first")
    assert f"{house}, bedroom, upstairs" in words_of(page, "views-part")


def test_equal_columns_are_said_once_and_equal_rows_stand_once(run):
    table = Table(
        "x", "X", [Heading("a"), Heading("b"), Heading("c")], [["1", "same", ""], ["2", "same", ""]]
    )
    told = without_equal(table)
    assert (told.rows, told.lead) == ([["1"], ["2"]], "In every row: b same.")
    one = Table("x", "X", table.headings, table.rows[:1])
    assert without_equal(one) == one
    # Sentences, a caution at each task among them, stay with their rows.
    long = "Have buried lines located before any digging"
    cautions = Table("x", "X", table.headings[:2], [["1", long], ["2", long]])
    assert without_equal(cautions) == cautions
    rows = run.layers["closure"]
    assert len(make_table("closure", pd.concat([rows, rows])).rows) == len(rows)


def test_the_running_title_is_a_text_of_css_whatever_it_holds():
    written = _running_title('A "title" </style> \\ }')
    assert written.count('"') == 2
    assert not set(written.partition('"')[2].partition('"')[0]) & set("<>}{")


def test_the_choices_stand_with_order_years_and_command(run):
    layers = run.layers | choices_of(run.layers)
    page = report_of_layers(run, layers)
    part = words_of(page, "choices-part")
    assert len(page.encode()) < MOST_BYTES
    for row in layers["choices"].itertuples():
        assert row.command in part
        assert f"{row.cost:,.2f} for the plants" in part
    half = layers["choice_plants"].loc[layers["choice_plants"]["choice"] == "cheaper"]
    counts = half["species"].value_counts()
    assert f"{counts['ilex_vomitoria']} yaupon, 1.80 m high" in part
    # Only the one that the sheet is about says so.
    assert part.count(": the planting of this sheet") == 1
    assert part.count("This command makes it the plan") == 2
    # The year of the view from the lower window, four years later in the cheaper planting.
    seen = layers["choice_views"]
    late = seen.loc[
        (seen["choice"] == "cheaper") & (seen["view_id"] == "2-low to kitchen-garden")
    ].iloc[0]
    years = late[["year_closed_p50", "year_closed_p10", "year_closed_p90"]]
    assert "{} ({} to {})".format(*("never" if pd.isna(year) else year for year in years)) in part
    # Without other plantings there is nothing to choose from.
    alone = {name: layer for name, layer in run.layers.items() if not name.startswith("choice")}
    assert "choices-part" not in report_of_layers(run, alone)


def test_hostile_names_stay_text():
    run = hostile()
    page = report_of(run)
    reader = read(page)
    assert reader.tags.count("script") == 2  # the sentences, and the page's own
    assert "img" not in reader.tags
    assert not [name for _, name, _ in reader.attributes if name.startswith("on")]
    assert "&lt;script&gt;hit=1&lt;/script&gt;" in page
    assert "{{ 7*7 }}" in page
    assert not re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", page)


@pytest.mark.parametrize("name", sorted(OUTPUTS))
def test_every_layer_that_has_a_contract_can_be_a_table(run, name):
    frame = run.layers.get(name)
    table = make_table(name, frame)
    if frame is None or frame.empty or table is None:
        assert table is None
        return
    assert all(len(row) == len(table.headings) for row in table.rows)
    assert all(isinstance(cell, str) for row in table.rows for cell in row)
    assert not any(cell in ("nan", "None", "<NA>") for row in table.rows for cell in row)


def test_a_layer_that_nobody_thought_of_is_shown_whole():
    contract = Contract(
        "moss", (), "A patch of moss",
        columns=(Column("moss_id", "text", "Its name"), Column("depth_m", "number", "Depth", unit="m"),
                 Column("wet", "boolean", "Whether it is wet")),
    )  # fmt: skip
    frame = pd.DataFrame({"moss_id": ["a"], "depth_m": [0.25], "wet": [True]})
    table = make_table("moss", frame, units="us", contracts={"moss": contract})
    assert table.title == "A patch of moss"
    assert [head.text for head in table.headings] == ["moss", "depth", "wet"]
    assert [head.meaning for head in table.headings] == ["Its name", "Depth", "Whether it is wet"]
    assert table.rows == [["a", "0.8 ft", "yes"]]  # 0.25 / 0.3048 = 0.82


def test_stakes_are_listed_by_line_and_offsets_only_where_there_are_some(run):
    stakes = run.layers["stakes"]
    tables = stakes_by_line(make_table("stakes", stakes))
    assert len(tables) == stakes["base_id"].nunique()
    assert sum(len(table.rows) for table in tables) == len(stakes)
    assert all("offset" not in [head.text for head in table.headings] for table in tables)
    moved = stakes.copy()
    moved.loc[0, ["offset_m", "offset_side", "diagonal_m"]] = [0.5, "left", 0.5]
    first, second = stakes_by_line(make_table("stakes", moved))
    # An offset stays with its stake, also where all have the same.
    same = moved.assign(offset_m=0.5, offset_side="left", diagonal_m=0.5)
    for table in stakes_by_line(make_table("stakes", same)):
        assert {"offset", "to the"} <= {head.text for head in table.headings}
    assert "offset" in [head.text for head in first.headings]
    assert "offset" not in [head.text for head in second.headings]
    assert first.lead.startswith("Hold the tape level")
    # What is equal on a whole line is said once.
    assert "mark" not in [head.text for head in second.headings]
    assert second.lead == "In every row: within 0.02 m, mark pink flag."


def test_views_table_says_what_the_layer_says(run):
    views = run.layers["views"]
    table = views_table(run.layers, [0, 5, 10])
    codes = view_codes(views)
    assert len(table.rows) == views["status"].isin(["closes", "stays open"]).sum() == len(codes)
    by_code = {row[0]: row for row in table.rows}
    for view in views.loc[views["view_id"].isin(codes)].itertuples():
        row = by_code[codes[view.view_id]]
        assert row[3:6] == [f"{view.open_now:.0%}", f"{view.open_y05:.0%}", f"{view.open_y10:.0%}"]
        middle = view.year_closed_p50
        assert row[6].startswith("never" if pd.isna(middle) else f"{middle}")
        assert row[7].endswith("in 10")
    # Of what closes from the first day on there is no hole, and no word of a missing row.
    left = set(run.layers["view_holes"]["view_id"])
    at_once = views.loc[(views["status"] == "closes") & ~views["view_id"].isin(left), "view_id"]
    assert len(at_once)
    assert {by_code[codes[view]][-1] for view in at_once} == {"nothing at typical growth"}


def test_the_planting_plan_explains_the_marks_that_are_on_it_and_no_others(run):
    layers = run.layers
    told = " ".join(_signs(layers))
    # The sample has buried and overhead lines, and no plant that stands already.
    assert "Fine chain line: buried; dots: overhead." in told
    assert "Hatched: no stem may stand." in told
    assert "triangles" not in told
    buried = layers["utilities"].loc[layers["utilities"]["position"] == "buried"]
    bare = {**layers, "utilities": buried, "parcels": layers["parcels"].iloc[:0]}
    bare["plants"] = layers["plants"].assign(existing=True)
    told = " ".join(_signs(bare))
    assert "Fine chain line: buried." in told
    assert "triangles: plants that stand already" in told
    assert "boundary" not in told


def test_sentences_count_the_closed_views(run):
    said = year_sentences(run.layers, [0, 10], "metric")
    views = run.layers["views"]
    views = views.loc[views["status"].isin(["closes", "stays open"])]
    for year, when in ((0, "Day of planting"), (10, "Year 10")):
        closed = int((views["year_closed"] <= year).sum())
        assert said[year].startswith(f"{when}: {closed} of {len(views)} views are closed.")


def test_what_is_said_once_is_not_said_again(page):
    work = " ".join(words_of(page, key) for key in WORK)
    assert work.count("Not while birds nest") == 2
    assert work.count("Wildlife Act 1976") == 1
    assert work.count("slowly, over the root ball") == 1
    # The cautions of the checks are those of the first screen.
    assert "Confirm: " not in page
    assert 'class="summary"' not in page


def test_notes_below_a_table_take_up_all_that_is_said_of_a_row():
    row = {"year": 10, "says": "9 plants", "proof": "none costs less"}
    for free, said in ((None, "none costs less"), ("2 are saved", "2 are saved. none costs less")):
        table = make_table("design", table_of(DESIGN, [row | {"free": free}]))
        assert table.notes == [f"9 plants: {said}"]


def test_the_print_leaves_out_the_rows_that_it_says_it_does(page):
    assert f".t-views tr:nth-child(n+{MOST_PRINTED + 1}) {{ display: none; }}" in page


def test_what_is_said_of_several_rows_stands_under_all_their_names():
    rows = [
        {"peg_id": f"P{k}", "note": "found by its pin" if k < 3 else "an end"} for k in (1, 2, 3)
    ]
    told = _notes(pd.DataFrame(rows), ("peg_id", "note"), "metric")
    assert told == ["P1, P2: found by its pin", "P3: an end"]


def test_empty_columns_and_empty_tables_are_left_out():
    assert plain_table("x", "X", ("a", "b"), [("1", ""), ("2", None)]).rows == [["1"], ["2"]]
    assert plain_table("x", "X", ("a",), []) is None
    assert make_table("stakes", None) is None


def test_a_plan_without_plants_has_a_report(run):
    layers = {name: frame.copy() for name, frame in run.layers.items()}
    for name in ("plants", "crowns", "stakes", "pegs", "base_lines", "closure", "view_holes",
                 "sight_outlines", "sections", "needed_profile"):  # fmt: skip
        layers[name] = layers[name].iloc[:0]
    page = make_report(layers, About(title="Nothing"))
    assert "Planting plan" in page
    assert "Stakes" not in page


def luminance(colour: str) -> float:
    """Relative luminance, by the definition of the Web Content Accessibility Guidelines 2.2."""
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, two: str) -> float:
    """Contrast ratio, by the same definition."""
    high, low = sorted((luminance(one), luminance(two)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def dark_colours() -> dict[str, str]:
    dark = template("report.css").split("prefers-color-scheme: dark")[1].split("@page")[0]
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", dark))


@pytest.mark.parametrize("colours", [COLOURS, dark_colours()], ids=["light", "dark"])
def test_letters_have_contrast(colours):
    # 4.5 is the guidelines' level AA for text.
    for role in ("ink", "quiet", "plant", "open", "place", "need"):
        assert contrast(colours[role], colours["paper"]) >= 4.5, role


def test_every_role_has_a_dark_colour():
    assert set(COLOURS) - {"bar"} <= set(dark_colours())


def test_noise_is_a_sentence_with_its_source_and_no_table_of_equal_rows():
    paths = run_plan(sample_plan(), only=["noise_paths"]).layers["noise_paths"]
    assert len(paths) > 1
    table = make_table("noise_paths", paths)
    assert (table.headings, table.rows) == ([], [])
    most = paths.loc[paths["foliage_m"].idxmax()]
    told = in_units(f"foliage. {most['says']}. Source: {most['source']}.", "metric")
    assert in_units(table.lead, "metric").endswith(told)
    assert table.lead.count(most["source"]) == 1


def test_a_row_that_is_filled_up_tells_what_stands_in_it_and_no_gaps():
    stakes = pd.DataFrame(
        {
            "stake_id": [1, 4],
            "line_id": "r",
            "base_id": "L1",
            "along_m": [0.0, 6.0],
            "slope_along_m": [0.0, 6.0],
        }
    )
    layers = {
        "stakes": stakes,
        "planting_lines": pd.DataFrame({"line_id": ["r"], "offset_m": [None]}),
        "plants": pd.DataFrame({"line_id": "r", "existing": [False, True, True, False]}),
        "base_lines": pd.DataFrame({"base_id": ["L1"], "from_peg": ["P1"], "to_peg": ["P2"]}),
    }
    where = next(block for block in answer(layers, About()) if block.key == "where")
    assert where.lines == [
        "r: 2 plants, among 2 that stand already. Tape L1, peg P1 to P2: stake 1 at 0.00 m, stake 4 at 6.00 m"
    ]
    layers["plants"]["existing"] = False
    where = next(block for block in answer(layers, About()) if block.key == "where")
    assert where.lines[0].startswith("r: 2 plants, 6.00 m apart. Tape L1")


@pytest.mark.parametrize(("result", "told"), [("cannot be judged", 1), ("passes", 0)])
def test_an_order_says_if_nobody_knows_the_winters(result, told):
    row = {"part": "plants", "packs": 5, "plants": 5, "plant_name": "yaupon", "stock": "container", "stock_height_m": 1.0}  # fmt: skip
    layers = {
        "quantities": pd.DataFrame([row]),
        "planting_lines": pd.DataFrame({"line_id": []}),
        "plants": pd.DataFrame({"line_id": [], "existing": []}),
        "checks": pd.DataFrame({"check": ["winter cold"], "result": [result]}),
    }
    order = next(block for block in answer(layers, About()) if block.key == "order")
    assert sum("health.zone" in line for line in order.lines) == told
