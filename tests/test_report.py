"""The report as text: every table there, everything escaped, nothing asked of the network."""

import itertools
import re
from html.parser import HTMLParser

import pandas as pd
import pytest
from report_kit import report_of, sample

from screenplan import sample_plan
from screenplan.contracts import OUTPUTS, Column, Contract
from screenplan.ground.said import in_units
from screenplan.outputs.drawings.style import COLOURS
from screenplan.outputs.report import CAUTIONS, About, _template, make_report
from screenplan.outputs.report_tables import make_table, plain_table, stakes_by_line
from screenplan.outputs.report_views import view_codes, views_table, year_sentences
from screenplan.outputs.summary import summarise
from screenplan.running.pipeline import run_plan

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
    # Besides these: on the first page, and once under the checks.
    assert page.lower().count("before any digging have buried lines located") == 2
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
    assert set(re.findall(r"url\(([^)]{0,2})", page)) <= {"#g", "#p", "#e", "#y", "#s", "#n"}
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
    plan = drawings[0]
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
    assert "offset" in [head.text for head in first.headings]
    assert "offset" not in [head.text for head in second.headings]
    assert first.lead
    assert not second.lead


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


def test_sentences_count_the_closed_views(run):
    said = year_sentences(run.layers, [0, 10], "metric")
    views = run.layers["views"]
    views = views.loc[views["status"].isin(["closes", "stays open"])]
    for year, when in ((0, "Day of planting"), (10, "Year 10")):
        closed = int((views["year_closed"] <= year).sum())
        assert said[year].startswith(f"{when}: {closed} of {len(views)} views are closed.")


def test_summary_is_on_the_page(run, page):
    for row in summarise(run.layers):
        assert row.label.strip() in page


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
    dark = _template("report.css").split("prefers-color-scheme: dark")[1].split("@page")[0]
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
