"""The screen says what warns and how much more there is; page and document say everything."""

from fea.spans.study import run_study
from roofmodel.project.span_study import load_study
from tests.spans.test_data_sheet import NOTES, full, pages
from tests.spans.test_span_conditions import run
from viewer.loud import is_loud, rest_words
from viewer.span.sheet import sheets


def test_what_warns_stays_on_the_screen_and_the_rest_is_counted(tmp_path):
    path = full(tmp_path)
    done, out = run(path)
    said, page = " ".join(done.output.split()), (out / "spans.html").read_text()
    notes = run_study(load_study(path)).notes
    told = [note for note in notes if f"- {' '.join(note.split())}" in said]
    assert f"{len(notes) - len(told)} more notes stand in spans.html and spans.pdf." in said
    assert 0 < len(told) < len(notes)
    assert all(note in told for note in notes if "UNSAFE" in note or "NOT " in note)
    assert all(words.split(": ", 1)[1][:40] in page for words in NOTES)
    assert len(said.split("- A licensed engineer")[0].split("- ")) - 1 >= len(told)


def test_test_notes_are_short_on_the_sheet_and_whole_at_the_end(tmp_path):
    path = full(tmp_path)
    sheet = sheets(run_study(load_study(path)))[0]
    assert "Tests, along: The tests failed in 2 ways (slid on the seam: 4; lip tore: 2) …" in sheet.rest
    whole = "Judge each way by itself, with its own tests"
    assert not any(whole in one for one in (*sheet.loud, *sheet.rest))
    text = pages(path)
    assert whole not in text[0]
    assert whole in " ".join(text[1:])
    assert whole in (tmp_path / "out" / "spans.html").read_text()


def test_loud_words():
    assert is_loud("DO NOT rely on it")
    assert is_loud("clamp.toml takes the LARGER")
    assert not is_loud("AISI S100 K2.1.1 and LRFD, EN 1990, C_P")
    assert rest_words(0, "a.html") == ""
    assert rest_words(1, "a.html") == "1 more note stands in a.html."
    assert rest_words(2, "a.html", ("every test",)) == "2 more notes and every test stand in a.html."
