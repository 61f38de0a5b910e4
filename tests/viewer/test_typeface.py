"""Pages carry their own letters."""

import base64
import re
from html import unescape
from io import BytesIO
from pathlib import Path

from fontTools.ttLib import TTFont

from fea.analysis import analyze
from roofmodel.project.load import load_project
from viewer.report.page import write_report
from viewer.typeface import FAMILY, page_css

MODEL = Path(__file__).parents[2] / "models" / "cedar-hollow" / "project.toml"


def test_a_report_holds_the_letters_of_all_its_words(tmp_path):
    """Nothing is asked of the reader's system or of the internet, and the page stays light."""
    write_report(analyze(load_project(MODEL)), tmp_path / "report.html", None)
    page = (tmp_path / "report.html").read_text()
    packed = re.findall(r"url\(data:font/woff;base64,([^)]+)\)", page)
    assert len(packed) == 2
    assert sum(map(len, packed)) < 80_000
    body = unescape(re.sub(r"<style.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL))
    letters = {ord(letter) for letter in body if not letter.isspace()}
    for one in packed:
        font = TTFont(BytesIO(base64.b64decode(one)))
        assert {chr(code) for code in letters - set(font.getBestCmap())} == set()
    assert "http" not in page_css()
    assert page_css().count(FAMILY) == 3
