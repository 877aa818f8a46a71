"""A headless browser for the tests of the report, and what they read from its prints."""

import base64
import io
import shutil
import subprocess
import tempfile
from contextlib import contextmanager

import pypdf

CHROMIUM = shutil.which("chromium")
DRIVER = shutil.which("chromedriver")
PDFTOTEXT = shutil.which("pdftotext")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--hide-scrollbars",
)  # fmt: skip
#: Paper in inches.
A4, LETTER = (210.0 / 25.4, 297.0 / 25.4), (8.5, 11.0)
POINTS_PER_MM = 72.0 / 25.4


@contextmanager
def browser():
    """Start a browser with a new profile, and end it."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        for flag in (*FLAGS, f"--user-data-dir={profile}"):
            options.add_argument(flag)
        driver = webdriver.Chrome(options=options, service=Service(DRIVER))
        try:
            yield driver
        finally:
            driver.quit()


def print_pdf(driver, paper) -> bytes:
    """Print the page as a person would, at 100 %, margins as the page says."""
    done = driver.execute_cdp_cmd(
        "Page.printToPDF",
        {"paperWidth": paper[0], "paperHeight": paper[1], "scale": 1, "printBackground": False},
    )
    return base64.b64decode(done["data"])


def texts_of(pdf: bytes) -> list[str]:
    """Give the text of each page, line by line as it stands there."""
    done = subprocess.run(
        [PDFTOTEXT, "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return done.stdout.decode().split("\f")[:-1]


def page_of(pdf: bytes, number: int) -> pypdf.PageObject:
    """Give one page, counted from 0."""
    return pypdf.PdfReader(io.BytesIO(pdf)).pages[number]


def filled_paths(page, colour: float) -> list[tuple[float, float]]:
    """Widths and heights, in millimetres on paper, of the paths that are filled in a grey."""
    found, state = [], {"fill": None, "path": []}

    def before(operator, arguments, matrix, _text_matrix):
        name = operator.decode() if isinstance(operator, bytes) else operator
        if name in ("rg", "g", "sc", "scn"):
            state["fill"] = [float(a) for a in arguments if isinstance(a, (int, float))]
        elif name in ("m", "l"):
            state["path"].append([float(a) for a in arguments])
        elif name == "re":
            x, y, w, h = (float(a) for a in arguments)
            state["path"] += [[x, y], [x + w, y + h]]
        elif name in ("f", "f*", "n", "S", "s", "B"):
            fill, path = state["fill"], state["path"]
            near = fill and all(abs(value - colour) < 1e-3 for value in fill)
            if name in ("f", "f*") and near and path:
                xs, ys = zip(*path, strict=True)
                scale_x, scale_y = abs(matrix[0]), abs(matrix[3])
                found.append(
                    (
                        (max(xs) - min(xs)) * scale_x / POINTS_PER_MM,
                        (max(ys) - min(ys)) * scale_y / POINTS_PER_MM,
                    )
                )
            state["path"] = []

    page.extract_text(visitor_operand_before=before)
    return found


def screenshot(driver, *, width=1100, height=900, dark=False, phone=False) -> bytes:
    """Take a picture of the top of the page, as PNG."""
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": phone},
    )
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": [scheme]})
    return base64.b64decode(driver.execute_cdp_cmd("Page.captureScreenshot", {})["data"])
