"""The report in a real browser: silent, offline, steerable by keyboard, true to scale on paper."""

import io
import json
import re
from functools import cache

import matplotlib.image
import numpy as np
import pytest
from browser_kit import (
    A4,
    CHROMIUM,
    DRIVER,
    LETTER,
    PDFTOTEXT,
    browser,
    filled_paths,
    page_of,
    print_pdf,
    screenshot,
    texts_of,
)
from report_kit import real_plot, report_of, sample
from sheet_reader import rebuild

from screenplan.outputs.drawings import plan_sheet
from screenplan.outputs.drawings.scale import bar_length
from screenplan.outputs.drawings.style import COLOURS

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        None in (CHROMIUM, DRIVER, PDFTOTEXT),
        reason="Chromium, chromedriver or pdftotext is missing "
        "(Debian: apt-get install chromium chromium-driver poppler-utils)",
    ),
]

PAPERS = {"A4": A4, "Letter": LETTER}
#: A metre of the drawing is printed within this, metres: a PDF has hundredths of a point.
PRINT_M = 0.005
#: The bar's own grey.
BAR = int(COLOURS["bar"][1:3], 16) / 255.0
#: What rounding alone may cost a stake, metres: half a centimetre of each distance that is read, and
#: of east and north of the tape points. A crew's own errors are in the column "within".
PRINTED_M = 0.02


@pytest.fixture(scope="module")
def driver():
    with browser() as one:
        yield one


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """Files of the reports, by name."""
    folder = tmp_path_factory.mktemp("reports")
    files = {}
    for name, run in (("sample", sample()), ("us", sample("us")), ("plot", real_plot())):
        files[name] = folder / f"{name}.html"
        files[name].write_text(report_of(run), encoding="utf-8")
    return {name: file.as_uri() for name, file in files.items()}


@pytest.fixture(scope="module")
def prints(driver, pages):
    """Give the print of a page on a paper, and the text of its pages."""

    @cache
    def printed(name, paper):
        driver.get(pages[name])
        pdf = print_pdf(driver, PAPERS[paper])
        return pdf, texts_of(pdf)

    return printed


def shown_years(driver) -> set[str]:
    """Years of the layers of the growth drawing that are displayed."""
    return set(driver.execute_script(
        "return [...document.querySelectorAll('.kind-growth .of-year')]"
        ".filter(g => getComputedStyle(g).display !== 'none').map(g => g.dataset.year)"
    ))  # fmt: skip


def test_page_is_silent_and_asks_for_nothing(driver, pages):
    driver.get_log("performance")
    driver.get(pages["sample"])
    assert driver.get_log("browser") == []
    asked = [
        json.loads(entry["message"])["message"]["params"]["request"]["url"]
        for entry in driver.get_log("performance")
        if '"Network.requestWillBeSent"' in entry["message"]
    ]
    assert asked
    assert {url for url in asked if not url.startswith("data:")} == {pages["sample"]}


def test_year_control_works_by_keyboard(driver, pages):
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    driver.get(pages["sample"])
    says = driver.find_element(By.ID, "year-says")
    assert shown_years(driver) == {"5"}
    assert says.text.startswith("Year 5: ")
    chosen = driver.find_element(By.CSS_SELECTOR, "#year-choice input:checked")
    chosen.send_keys(Keys.ARROW_RIGHT)
    assert shown_years(driver) == {"10"}
    assert says.text.startswith("Year 10: ")
    assert driver.execute_script(
        "return [...document.querySelectorAll('td.chosen')].every(c => c.dataset.year === '10')"
    )
    driver.find_element(By.CSS_SELECTOR, "#year-choice input:checked").send_keys(
        Keys.ARROW_LEFT, Keys.ARROW_LEFT, Keys.ARROW_LEFT
    )
    assert shown_years(driver) == {"0"}
    # Frozen: three views have no more open than the goal lets through from the first day.
    assert says.text.startswith("Day of planting: 3 of 21 views ")


def test_every_control_and_wide_table_can_be_reached_and_is_named(driver, pages):
    driver.get(pages["sample"])
    nameless = driver.execute_script(
        "return [...document.querySelectorAll('[tabindex], input, a, svg')].filter(e => {"
        "const by = e.getAttribute('aria-labelledby');"
        "const named = e.getAttribute('aria-label') || e.textContent.trim() || (e.labels && e.labels.length) ||"
        "(by && by.split(' ').every(id => document.getElementById(id)));"
        "return !named;}).map(e => e.outerHTML.slice(0, 80))"
    )  # fmt: skip
    assert nameless == []


@pytest.mark.parametrize(
    ("name", "paper"), [("sample", "A4"), ("sample", "Letter"), ("us", "Letter")]
)
@pytest.mark.evidence(
    part="Report",
    kind="other software",
    against="The printed plan at its stated scale, measured in the PDF",
    source="Chromium's print, read with pypdf",
    status="run",
    tolerance=f"{1000 * PRINT_M:g} mm on the ground",
)
def test_plan_is_true_to_scale_on_paper(prints, name, paper):
    pdf, texts = prints(name, paper)
    units = "us" if name == "us" else "metric"
    sheet = plan_sheet(sample().layers, units=units)
    number = next(k for k, text in enumerate(texts) if "Planting plan," in text)
    stated = int(re.search(r"Planting plan, (?:1 in = \d+ ft \()?1:(\d+)", texts[number])[1])
    assert stated == sheet.scale
    page = page_of(pdf, number)
    assert page.mediabox.width == pytest.approx(PAPERS[paper][0] * 72, abs=1)
    on_paper = max(width for width, height in filled_paths(page, BAR))
    # Closed form: a length on paper times the stated scale is the length that the bar is labelled with.
    assert on_paper / 1000.0 * stated == pytest.approx(bar_length(sheet)[0], abs=PRINT_M)
    if name == "sample":
        assert bar_length(sheet) == (10.0, "10 m")


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_print_holds_every_part_and_no_empty_page(prints, paper):
    _, texts = prints("sample", paper)
    assert "Before you dig" in texts[0]
    assert "Planting plan" in texts[1]
    assert "Tape points" in texts[2]
    assert min(len(text.strip()) for text in texts) > 100
    whole = "\n".join(texts)
    for part in ("Calendar", "What to order", "Views that are open today", "Sections through views",
                 "How tall the screen must be", "What was checked", "Sources and assumptions"):  # fmt: skip
        assert part in whole
    # On paper the year control gives way to small multiples.
    assert "Year since planting" not in whole
    assert "Year 10: " in whole


@pytest.mark.parametrize(
    ("name", "paper", "run"),
    [("sample", "A4", sample), ("plot", "A4", real_plot), ("us", "Letter", sample)],
)
@pytest.mark.evidence(
    part="Report",
    kind="other software",
    against="Every stake, rebuilt from the text of the printed sheet as a crew would",
    source="Chromium's print, read by pdftotext",
    status="run",
    tolerance=f"the tolerance printed beside each stake, at least {100 * PRINTED_M:g} cm",
)
def test_stakes_are_rebuilt_from_the_text_of_the_print(prints, name, paper, run):
    stakes = run().layers["stakes"].set_index("stake_id")
    rebuilt = rebuild("\n".join(prints(name, paper)[1]))
    assert set(rebuilt) == set(stakes.index)
    off = np.array(
        [
            np.hypot(x - stakes.at[number, "x_m"], y - stakes.at[number, "y_m"])
            for number, (x, y) in rebuilt.items()
        ]
    )
    # The printed tolerance of each stake, which allows for distances read to a centimetre.
    assert (off <= np.maximum(stakes.loc[list(rebuilt), "tolerance_m"], PRINTED_M)).all()
    assert np.median(off) < PRINTED_M


def test_pictures_are_not_blank_and_dark_is_dark(driver, pages):
    driver.get(pages["sample"])
    means = {}
    for dark in (False, True):
        picture = matplotlib.image.imread(io.BytesIO(screenshot(driver, dark=dark)), format="png")
        grey = picture[..., :3].mean(axis=2)
        assert grey.std() > 0.02
        assert len(np.unique((grey * 255).astype(int))) > 50
        means[dark] = grey.mean()
    assert means[False] > 0.85
    assert means[True] < 0.3


@pytest.mark.parametrize("name", ["sample", "plot"])
@pytest.mark.parametrize("width", [390, 320])
def test_phone_scrolls_in_one_direction_only(driver, pages, name, width):
    driver.get(pages[name])
    screenshot(driver, width=width, height=800, phone=True)
    wide, room = driver.execute_script("return [document.documentElement.scrollWidth, innerWidth]")
    assert wide <= room == width


def test_hostile_names_do_nothing(driver, tmp_path):
    from test_report import hostile

    file = tmp_path / "hostile.html"
    file.write_text(report_of(hostile()), encoding="utf-8")
    driver.get(file.as_uri())
    assert driver.get_log("browser") == []
    assert driver.execute_script("return window.hit === undefined && document.images.length === 0")
    assert "<script>hit=1</script>" in driver.execute_script("return document.body.innerText")
