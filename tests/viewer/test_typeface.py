"""Pages carry their own letters."""

import base64
import re
from html import unescape
from io import BytesIO
from pathlib import Path

from fontTools.ttLib import TTFont

from fea.analysis import analyze
from roofmodel.project.load import load_project
from viewer.picture.labels import FONTS
from viewer.report.page import write_report
from viewer.typeface import FACES, FAMILY, LETTERS, page_css

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


def test_ready_letters_are_those_of_the_fonts_under_a_name_of_their_own():
    """Same widths, every letter asked for that the font has; the license keeps 'Source' for itself."""
    for face in FACES:
        ready = TTFont(FONTS / f"letters-{face.lower()}.woff")
        whole = TTFont(FONTS / f"SourceSansPro-{face}.ttf")
        known, full = ready.getBestCmap(), whole.getBestCmap()
        assert set(known) == set(LETTERS) & set(full)
        assert all(ready["hmtx"][known[c]][0] == whole["hmtx"][full[c]][0] for c in known)
        names = {record.nameID: str(record) for record in ready["name"].names}
        assert all("Source" not in names[number] for number in (1, 3, 4, 6))
