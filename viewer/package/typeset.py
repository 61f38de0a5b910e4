"""Documents in the language of the typesetter Typst, and their pieces; nothing about what they say."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from roofmodel.units import UnitSystem
from viewer import style
from viewer.files import atomic
from viewer.package.widths import ROOM, column_widths, own_line
from viewer.picture.labels import text_width
from viewer.quantities import quantity
from viewer.report.page import GREEK, GREEK_WORD, POWER, SUBSCRIPT
from viewer.report.tables import Table
from viewer.report.working import Working
from viewer.report.working_parts import Expression, Number
from viewer.stages import notice

FONTS = Path(__file__).parents[1] / "picture" / "fonts"
EXCEEDED = f'#text(fill: rgb("{style.EXCEEDED_ANCHORS[0]}"), weight: "semibold")'
SMALL = f'#text(size: 7.5pt, fill: rgb("{style.MUTED}"))'
SIGN = "#box(width: 100%, height: 8pt, stroke: (bottom: 0.6pt))"  # a line to sign on
WIDE = 7  # columns from which a table is set smaller
LETTERS = 'font: "Source Sans Pro", weight: "regular"'  # mathematics has a typeface of its own
OPEN, CLOSE = f"#math.equation($sqrt(#text({LETTERS})[", "])$)"
RAISED = '#box[#super(typographic: false, "{}")]'  # mathematics would set it level, but not in a box
AIR, TIGHT = 2.2, 1.7  # above and below each line of a table, and of a long one [pt]
SHORT = 8  # rows of a table that stays on one page
LONG = 30  # the same of one whose note must stay with it
WHOLE = re.compile(
    r"\b(?:kN|N|lbf|kip|lb|kg)/(?:mm|m|ft|in)[²³]?(?![A-Za-z])"
    r"|(?<![\w.\-/])[A-Za-z]\w{0,9}(?:-\w{1,8}){0,2}-\d{1,4}(?![\w\-])"
)  # units, and names of rows and clamps, that no line end parts
COMMAND = re.compile(r"`(eavewright[^`]*)`")
UNTAGGED = "without tags for screen readers, as the typesetter cannot set them in this document; {} has them"
OWN = "(left: 12pt, right: 3pt, top: 1.5pt, bottom: 5pt)"  # of a text below its row
FEW = 14  # pieces that are shared out to two columns by their lines
UNBROKEN = 24  # letters of a word that a cell may break at its signs


def typeset(source: str, files: Mapping[str, bytes], path: Path) -> None:
    """Set a document whose pictures are `files` by name, and write it as PDF, whole or not at all.

    Where the typesetter cannot mark it for screen readers, the document and a line on standard error say so.
    """
    import typst

    look: dict[str, Any] = {"font_paths": [str(FONTS)], "ignore_system_fonts": True}
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for name, data in files.items():
            (root / name).write_bytes(data)
        (root / "document.typ").write_text(source, encoding="utf-8")
        document = str(root / "document.typ")
        try:
            made = typst.compile(document, root=folder, **look)
        except typst.TypstError as error:
            if "tags" not in str(error):
                raise
            # The typesetter loses its marks for screen readers where a picture floats past broken columns.
            said = UNTAGGED.format(path.with_suffix(".html").name)
            (root / "document.typ").write_text(source + paragraph(said, note=True), encoding="utf-8")
            made = typst.compile(document, root=folder, pdf_tags=False, **look)
            notice(f"{path.name}: {said}")
    with atomic(path) as temporary:
        temporary.write_bytes(made)


def text(words: str) -> str:
    """Words as they are, whatever characters they hold."""
    parts, last = [], 0
    for match in WHOLE.finditer(words):
        parts += [_plain(words[last : match.start()]), f'#box[#"{_escaped(match.group())}"]']
        last = match.end()
    return "".join([*parts, _plain(words[last:])])


def _plain(words: str) -> str:
    return f'#"{_escaped(words)}"' if words else ""


def _escaped(words: str) -> str:
    return words.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ")


def symbols(words: str) -> str:
    """Formula text: Greek letters, subscripts, powers, roots with their bar; commands without their marks."""
    words = COMMAND.sub(r"“\1”", words)
    words = re.sub(GREEK_WORD, lambda m: GREEK[m.group(1)], words)
    return "".join(one if mark else _subscripts(one) for one, mark in _roots([words]))


def _roots(parts: Sequence[str]) -> list[tuple[str, bool]]:
    """Parts cut where a root begins and ends: text, or (True) what opens and closes it."""
    found: list[tuple[str, bool]] = []
    deep: list[bool] = []  # of every open bracket, whether it is a root's
    for part in parts:
        last = 0
        for match in re.finditer(r"√\(|\(|\)", part):
            root = match.group() == "√(" if match.group() != ")" else bool(deep) and deep[-1]
            if match.group() != ")":
                deep.append(root)
            elif deep:
                deep.pop()
            if root:
                found += [
                    (part[last : match.start()], False),
                    (CLOSE if match.group() == ")" else OPEN, True),
                ]
                last = match.end()
        found.append((part[last:], False))
    return [(part, False) for part in parts] if any(deep) else found


def _subscripts(words: str) -> str:
    """Words with subscripts and powers; a symbol's power stands above its subscript."""
    parts, last = [], 0
    for match in re.finditer(rf"{SUBSCRIPT}(?:{POWER})?|{POWER}", words):
        parts.append(text(words[last : match.start()]))
        base, low, *raised = match.groups()
        high = next((one for one in raised if one is not None), "")
        if not low:
            parts.append(RAISED.format(high))
        elif high:
            below, above = (f'#text({LETTERS})[#"{_escaped(one)}"]' for one in (low, high))
            parts.append(
                f'#math.equation($attach(#text({LETTERS})[#"{_escaped(base)}"], b: {below}, t: {above})$)'
            )
        else:
            parts.append(f'#"{_escaped(base)}"#sub("{_escaped(low)}")')
        last = match.end()
    parts.append(text(words[last:]))
    return "".join(parts)


def _powers(words: str) -> str:
    """Words with powers and nothing else raised or lowered."""
    parts, last = [], 0
    for match in re.finditer(POWER, words):
        parts += [text(words[last : match.start()]), RAISED.format(match[1] or match[2])]
        last = match.end()
    return "".join([*parts, text(words[last:])])


def heading(words: str, level: int = 1, label: str = "") -> str:
    """A numbered heading of the contents, or a small one; by its label its page is found."""
    return f"#heading(level: {level})[{text(words)}]{f' <{label}>' if label else ''}\n"


def note_with_page(words: str, label: str) -> str:
    """A note that ends with the page of the heading that has a label."""
    return f'#text(size: 8pt, fill: rgb("{style.MUTED}"))[{text(words)}{_page_of(label)}.]\n\n'


def contents(body: str) -> str:
    """Table of the chapters of a document in two even columns, and the end of its first page."""
    lines = (body.count("#heading(level: 1)") + 1) // 2
    return (
        f"#block(height: {12 * lines + 4}pt, breakable: false)"
        "[#columns(2)[#outline(depth: 1, title: none)]]\n"
        "#pagebreak()\n"
    )


def paragraph(words: str, *, bold: bool = False, note: bool = False, plain: bool = False) -> str:
    """A paragraph; notes are smaller and muted; plain ones hold no formulas."""
    body = text(words) if plain else symbols(words)
    if note:
        return f'#text(size: 8pt, fill: rgb("{style.MUTED}"))[{body}]\n\n'
    return f"#strong[{body}]\n\n" if bold else f"{body}\n\n"


def bullets(lines: Iterable[str], *, numbered: bool = False) -> str:
    """A list."""
    kind = "enum" if numbered else "list"
    items = "".join(f"  [{symbols(line)}],\n" for line in lines)
    return f"#{kind}(\n{items})\n" if items else ""


def facts(pairs: Sequence[tuple[str, str]], columns: int = 2, gap: float = 6.0) -> str:
    """Words and what they stand for, side by side; a line to write on where nothing is given."""
    cells = "".join(
        f'  [#text(fill: rgb("{style.MUTED}"), size: 8.5pt)[{text(word)}]], [{text(value) or SIGN}],\n'
        for word, value in pairs
    )
    widths = ", ".join(["auto, 1fr"] * columns)
    return f"#grid(columns: ({widths}), column-gutter: 10pt, row-gutter: {gap:g}pt,\n{cells})\n#v(4pt)\n"


def box(words: str, *, mark: str = "") -> str:
    """A framed sentence; `mark` "exceeded" or "open" colors it."""
    fill = {"exceeded": style.EXCEEDED_ANCHORS[0], "open": style.INK}.get(mark, style.PAPER)
    ink = style.PAPER if mark else style.INK
    return (
        f'#block(width: 100%, stroke: 1.2pt + rgb("{style.INK}"), fill: rgb("{fill}"), inset: 9pt, '
        f'breakable: false)[#text(fill: rgb("{ink}"), weight: "semibold", size: 12pt)[{symbols(words)}]]\n'
    )


def figure(name: str, alt: str, caption: str = "", width: str = "100%", *, floats: str = "") -> str:
    """A picture from a file beside the document; one that floats leaves no gap where it does not fit.

    It floats to the "bottom" of a page, so never before its place, or to the nearer end of one ("auto").
    """
    words = f'#text(size: 8pt, fill: rgb("{style.MUTED}"))[{text(caption)}]' if caption else ""
    shown = (
        f'#block(breakable: false, width: 100%)[#align(center)[#image("{name}", width: {width}, '
        f'alt: "{_escaped(alt)}")\n{words}]]\n'
    )
    return f"#place({floats}, float: true, clearance: 14pt)[{shown}]\n" if floats else f"{shown}#v(6pt)\n"


def smaller(content: str) -> str:
    """Content set as small as tables are."""
    return f"#[#set text(size: 8pt)\n#set par(spacing: 0.6em)\n{content}]\n"


def running(words: str, label: str = "") -> str:
    """What stands at the head of the pages that begin after this, in place of the document's kind.

    With a label it ends with the page of the heading that has it.
    """
    return f"#running.update([{text(words)}{_page_of(label) if label else ''}])\n"


def _page_of(label: str) -> str:
    return f"#context counter(page).at(<{label}>).first()"


def new_page(after: str = "") -> str:
    """What follows starts on a page of its own.

    With the label of a heading only where this is its page still: a part that runs on to a second one is
    followed on that.
    """
    if not after:
        return "#pagebreak(weak: true)\n"
    first = f"counter(page).at(<{after}>).first()"
    return f"#context if counter(page).get().first() == {first} {{ pagebreak(weak: true) }}\n"


def kept_with_next(words: str) -> str:
    """Text that no end of a column or page parts from what follows."""
    return f"#block(sticky: true)[{words}]\n"


def all_placed() -> str:
    """Nothing that floats passes this place."""
    return "#place.flush()\n"


def filling(name: str, alt: str, caption: str, width: str) -> str:
    """A picture with its caption in the room that the rest of its page leaves."""
    return (
        f'#block(height: 1fr, width: 100%)[#align(center + horizon)[#image("{name}", width: {width}, '
        f'height: 100%, fit: "contain", alt: "{_escaped(alt)}")]]\n'
        f'#text(size: 8pt, fill: rgb("{style.MUTED}"))[{text(caption)}]\n#v(6pt)\n'
    )


def table(one: Table, *, whole: bool = False) -> str:
    """A table with its caption; heads repeat on every page it reaches; a `whole` one stays with its note."""
    count = len(one.heads)
    size = 7 if count >= WIDE else 8
    spans = own_line(one, size)
    shown_columns = count - 1 if spans else count
    kinds = list(one.numeric)[:shown_columns]
    broken = replace(one, rows=tuple(tuple(_breaking(cell) for cell in row) for row in one.rows))
    widths = ", ".join(column_widths(broken, size, shown_columns))
    sides = ", ".join("right" if kind == "n" else "left" for kind in kinds)
    marks = one.marks or ("",) * len(one.rows)
    cells = "".join(
        f"[#strong[{symbols(head) if kind == 's' else text(head)}]], "
        for head, kind in zip(one.heads[:shown_columns], kinds, strict=True)
    )
    body = []
    for row, mark in zip(broken.rows, marks, strict=True):
        shown = [
            symbols(cell) if kind == "s" else text(cell) for cell, kind in zip(row, one.numeric, strict=True)
        ]
        if mark == "exceeded":
            shown = [f"{EXCEEDED}[{cell}]" for cell in shown]
        elif mark == "open":
            shown = [f"#strong[{cell}]" for cell in shown]
        body.append("  " + ", ".join(f"[{cell}]" for cell in shown[:shown_columns]) + ",\n")
        if spans and row[-1]:  # on lines of its own
            words = f'#text(fill: rgb("{style.MUTED}"))[{text(one.heads[-1])}: ]{shown[-1]}'
            body.append(f"  table.cell(colspan: {shown_columns}, align: left, inset: {OWN})[{words}],\n")
    note = paragraph(one.note, note=True, plain=one.plain_note) if one.note else ""
    inset = TIGHT if len(one.rows) > LONG else AIR
    rule = f'rgb("{style.HAIRLINE}")'
    together = whole and len(one.rows) <= LONG
    whole = together or len(one.rows) <= SHORT  # not torn between pages
    ending = f"#block(breakable: false)[{note}]\n" if note else "\n"
    caption = f'#text(weight: "semibold", size: 9pt)[{text(one.caption)}]'
    repeated = not whole and text_width(one.caption, 9.0, bold=True) < ROOM
    # It takes no width, so that no column grows by it.
    cell = f"table.cell(colspan: {shown_columns}, align: left, inset: (x: 0pt, top: 0pt, bottom: 13pt))"
    first = f"{cell}[#place(box(width: {ROOM:g}pt)[{caption}])], table.hline(stroke: 0.8pt), "
    above = "#block(above: 10pt, below: 4pt, sticky: true)"
    return (
        ("#block(breakable: false, width: 100%)[\n" if whole else "")
        + ("#v(6pt)\n" if repeated else f"{above}[{caption}]\n")
        + f"#[#set text(size: {size}pt)\n#table(columns: ({widths},), align: ({sides},), stroke: none, "
        f"inset: (x: 3pt, y: {inset}pt),\n"
        f"  table.header({first if repeated else ''}{cells}table.hline(stroke: 0.8pt)),\n"
        + ("" if repeated else "  table.hline(y: 0, stroke: 0.8pt),\n")
        + "".join(body)
        + f"  table.hline(stroke: 0.5pt + {rule}),\n)]\n"
        + (ending if together else "")
        + ("]\n" if whole else "")
        + ("" if together else ending)
    )


def abreast(one: Table, sets: int) -> Table:
    """A long table of few short columns with its rows beside each other, in columns of about one height."""
    if len(one.rows) <= SHORT or any(one.marks):
        return one
    high = -(-len(one.rows) // sets)
    rows = [*one.rows, *([("",) * len(one.heads)] * (sets * high - len(one.rows)))]
    beside = tuple(sum((rows[k * high + i] for k in range(sets)), ()) for i in range(high))
    return replace(one, heads=one.heads * sets, numeric=one.numeric * sets, rows=beside)


def _breaking(cell: str) -> str:
    """A cell whose long words, such as names of files and buildings, may go on in the next line."""
    return re.sub(
        rf"\S{{{UNBROKEN},}}", lambda word: re.sub(r"([-_/.])(?=\w)", "\\1\u200b", word.group()), cell
    )


def columns(pieces: Sequence[str]) -> str:
    """Pieces in two columns, of about one height where there are few."""
    if not pieces:
        return ""
    if len(pieces) > FEW:
        return f"#columns(2, gutter: 14pt)[\n{''.join(pieces)}]\n"
    high = [piece.count("\n") + 2 for piece in pieces]
    below = [abs(2 * sum(high[:k]) - sum(high)) for k in range(1, len(pieces) + 1)]
    half = below.index(min(below)) + 1
    left, right = ("".join(part) for part in (pieces[:half], pieces[half:]))
    return f"#grid(columns: (1fr, 1fr), column-gutter: 14pt,\n[{left}],\n[{right}])\n"


def beside(content: str, other: str, width: str) -> str:
    """Content with something narrow at its right."""
    return f"#grid(columns: (1fr, {width}), column-gutter: 10pt,\n[{content}],\n[{other}])\n"


def hanging(content: str) -> str:
    """Content set in, its further lines more than the first."""
    return f"#pad(left: 8pt)[#par(hanging-indent: 10pt)[{content}]]"


def expression(parts: Expression, units: UnitSystem) -> str:
    """An expression with its numbers in the user's units."""
    shown = []
    for part in parts:
        if not isinstance(part, Number):
            shown.append(part)
            continue
        number = quantity(part.value, part.kind, units, 4)
        shown.append(f"({number})" if number.startswith("−") else number)
    return "".join(one if mark else _powers(one) for one, mark in _roots(shown))


def steps(working: Working, units: UnitSystem) -> str:
    """The hand check: what, formula, numbers, result."""
    parts = []
    for step in working.steps:
        result = f"#strong[{expression((step.result,), units)}]"
        formula = f"{symbols(step.symbol)} = {symbols(step.formula)}"
        numbers = expression(step.expression, units)
        shown = (
            [formula, result] if numbers == expression((step.result,), units) else [formula, numbers, result]
        )
        equation = f"#par(hanging-indent: 10pt)[{' = '.join(shown)}]"
        words = symbols(". ".join(one.strip().rstrip(".") for one in (step.source, step.note) if one.strip()))
        parts.append(
            "#block(breakable: false, width: 100%, above: 6pt, below: 0pt, inset: (x: 3pt))["
            f"#grid(columns: (5fr, 9fr), column-gutter: 8pt,\n"
            f"  [#strong[{text(step.title)}]], [{equation}],\n)\n"
            f"#block(above: 3pt)[{SMALL}[{words}.]]]\n"
        )
    return "".join(parts) + "#v(6pt)\n"


def preamble(title: str, foot: str, paper: str, kind: str = "Snow retention calculation") -> str:
    """Page, type and numbering of the whole document; `kind` stands beside the title on every page."""
    return f"""#let running = state("running", [{text(kind)}])
#set document(title: "{_escaped(title)}")
#set page(paper: "{paper}", margin: (x: 18mm, top: 20mm, bottom: 20mm),
  header: context if here().page() > 1 [{SMALL}[{text(title)} #h(1fr) #running.get()]],
  footer: [{SMALL}[{text(foot)} #h(1fr) #context counter(page).display("1 / 1", both: true)]])
#let headline(it, size, color, above, below) = block(above: above, below: below, sticky: true)[
  #text(size: size, fill: color)[#it]]
#set text(font: "Source Sans Pro", size: 9.5pt, fill: rgb("{style.INK}"), lang: "en")
#set par(leading: 0.55em, spacing: 0.75em)
#set heading(numbering: "1.1")
#show heading.where(level: 1): it => headline(it, 14pt, rgb("{style.ACCENT}"), 18pt, 8pt)
#show heading.where(level: 2): it => headline(it, 10.5pt, rgb("{style.INK}"), 12pt, 6pt)
#set list(indent: 2pt, spacing: 4pt)
#set enum(indent: 2pt, spacing: 4pt)
#set table.cell(breakable: false)
"""
