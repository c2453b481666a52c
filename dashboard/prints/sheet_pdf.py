"""A sheet as a PDF of A4 pages."""

from __future__ import annotations

from datetime import UTC, datetime
from io import BytesIO

from fpdf import FPDF
from fpdf.enums import TableBordersLayout
from fpdf.fonts import FontFace

from dashboard.prints.letters import FAMILY, NOT_IN_THESE_LETTERS, font_files, in_these_letters
from dashboard.prints.pictures import as_png
from dashboard.prints.sheet import Part, Rows, Sheet

MARGIN_MM = 14
LINE_MM = 5
TEXT_PT, SMALL_PT, HEADING_PT, TITLE_PT = 10, 9, 12.5, 16
BLANK_MM = 11
PICTURE_MM = 150  # a chart with its heading and its reading
#: A row cannot run on to the next page: a longer cell is not set in a table.
LONGEST_CELL = 400


def as_pdf(sheet: Sheet) -> bytes:
    """The whole file."""
    pdf = _Pages(sheet)
    pdf.add_page()
    pdf.say(sheet.title, TITLE_PT, bold=True)
    for notice in sheet.notices:
        pdf.boxed(lambda notice=notice: pdf.say(notice, bold=True))
    for part in sheet.parts:
        pdf.part(part)
    if pdf.lacked:
        pdf.say(NOT_IN_THESE_LETTERS, SMALL_PT)
    return bytes(pdf.output())


class _Pages(FPDF):
    """Pages with a foot; what their letters lack is written as numbers and noted in ``lacked``."""

    def __init__(self, sheet: Sheet) -> None:
        super().__init__(format="A4")
        self.lacked = False
        for style, path in font_files().items():
            self.add_font(FAMILY, style, path)
        self.set_text_shaping(True)  # joins Arabic letters and sets them from right to left
        self.set_margin(MARGIN_MM)
        self.set_auto_page_break(True, margin=MARGIN_MM + 2 * LINE_MM)
        self.alias_nb_pages()
        self._foot = self._in_letters(sheet.foot)
        self.set_title(self._in_letters(sheet.title))
        self.set_lang("en")
        self.set_creation_date(datetime.now(UTC))

    def footer(self) -> None:
        """The sheet's foot and the page's number."""
        self.set_y(-MARGIN_MM - LINE_MM)
        self.set_font(FAMILY, "", 8)
        self.multi_cell(
            0, 4, f"{self._foot} Page {self.page_no()} of {{nb}}", border="T", align="L"
        )

    def say(self, text: str, size_pt: float = TEXT_PT, *, bold: bool = False) -> None:
        """A paragraph."""
        self.set_font(FAMILY, "B" if bold else "", size_pt)
        line_mm = LINE_MM * max(1.0, size_pt / (TEXT_PT + 0.5))
        shown = self._in_letters(text)
        self.multi_cell(0, line_mm, shown, align="L", new_x="LMARGIN", new_y="NEXT")
        self.ln(1)

    def part(self, part: Part) -> None:
        """A part under its heading, which never stands alone; what is filled in stays together."""
        if self.will_page_break(_kept_together_mm(part)):
            self.add_page()
        self.ln(2.5)
        if part.boxed:
            self.boxed(lambda: self._pieces(part))
        else:
            self._pieces(part)

    def boxed(self, draw: object) -> None:
        """Whatever ``draw`` says, within a frame; on a fresh page where it would be torn apart."""
        with self.offset_rendering() as trial:
            draw()
        if trial.page_break_triggered:
            self.add_page()
        top = self.get_y()
        self.set_left_margin(MARGIN_MM + 3)
        self.set_right_margin(MARGIN_MM + 3)
        self.set_xy(MARGIN_MM + 3, top + 2)
        draw()
        self.set_margins(MARGIN_MM, MARGIN_MM)
        self.rect(MARGIN_MM, top, self.epw, self.get_y() + 1 - top)
        self.set_xy(MARGIN_MM, self.get_y() + 3)

    def _pieces(self, part: Part) -> None:
        self.say(part.heading, HEADING_PT, bold=True)
        if part.facts:
            self._facts(part.facts)
        if part.lead:
            self.say(part.lead, bold=True)
        for number, point in enumerate(part.points, 1):
            self._point(f"{number}." if part.numbered else "•", point)
        if part.rows:
            self._rows(part.rows)
        if part.picture:
            drawn = as_png(part.picture.draw())
            reading = part.picture.reading()
            self.image(BytesIO(drawn), w=self.epw, alt_text=reading)
            self.say(reading)
        for name in part.blanks:
            self._blank(name)
        if part.after:
            self.say(part.after)

    def _point(self, mark: str, text: str) -> None:
        """A point, its further lines beneath the first word."""
        self.set_font(FAMILY, "", TEXT_PT)
        self.cell(6, LINE_MM, mark)
        shown = self._in_letters(text)
        self.multi_cell(0, LINE_MM, shown, align="L", new_x="LMARGIN", new_y="NEXT")
        self.ln(0.6)

    def _facts(self, facts: tuple[tuple[str, str], ...]) -> None:
        """Two to a line."""
        pairs = [*facts, *([("", "")] if len(facts) % 2 else [])]
        lines = [(*pairs[n], *pairs[n + 1]) for n in range(0, len(pairs), 2)]
        self._table(lines, (18, 32, 18, 32), heading=False, bold_columns=(1, 3))

    def _rows(self, rows: Rows) -> None:
        self._table([rows.headings, *rows.cells], _widths(rows), heading=True)

    def _table(
        self,
        rows: list[tuple[str, ...]],
        widths: tuple[float, ...],
        *,
        heading: bool,
        bold_columns: tuple[int, ...] = (),
    ) -> None:
        if any(len(cell) > LONGEST_CELL for cells in rows for cell in cells):
            for cells in rows:
                self.say("; ".join(cells))
            return
        self.set_font(FAMILY, "", SMALL_PT)
        bold = FontFace(emphasis="BOLD")
        with self.table(
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            first_row_as_headings=heading,
            headings_style=bold,
            col_widths=widths,
            text_align="LEFT",
            v_align="TOP",
            line_height=4.4,
            padding=(0.6, 1, 0.6, 0),
        ) as table:
            for cells in rows:
                row = table.row()
                for place, cell in enumerate(cells):
                    style = bold if place in bold_columns else None
                    row.cell(self._in_letters(cell), style=style)
        self.ln(1.5)

    def _blank(self, name: str) -> None:
        """A line to write on, its name above."""
        if self.will_page_break(BLANK_MM + LINE_MM):
            self.add_page()
        self.set_font(FAMILY, "", SMALL_PT)
        self.cell(0, LINE_MM, self._in_letters(name), new_x="LMARGIN", new_y="NEXT")
        self.cell(0, BLANK_MM - LINE_MM + 1, "", border="B", new_x="LMARGIN", new_y="NEXT")
        self.ln(2)

    def _in_letters(self, text: object) -> str:
        shown, lacked = in_these_letters(str(text))
        self.lacked = self.lacked or lacked
        return shown


def _kept_together_mm(part: Part) -> float:
    """About how much of a part may not be torn apart."""
    if part.picture:
        return PICTURE_MM
    if part.blanks:
        words = 3 + (3 if part.lead else 0)
        return len(part.blanks) * (BLANK_MM + 3) + words * LINE_MM
    return 8 * LINE_MM


def _widths(rows: Rows) -> tuple[float, ...]:
    """Columns as wide as what they hold asks for, within limits."""
    columns = zip(rows.headings, *rows.cells, strict=True)
    return tuple(float(min(max(8, *(len(cell) for cell in column)), 42) + 4) for column in columns)
