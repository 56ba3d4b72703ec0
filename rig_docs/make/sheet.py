"""A drawing sheet: A4 landscape in mm, black lines on white, written as SVG.

Letters are at least 2.6 mm high, so that a sheet printed in black and white can be read.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

Point = tuple[float, float]

WIDTH, HEIGHT, MARGIN = 297.0, 210.0, 8.0
TITLE_WIDTH, TITLE_HEIGHT = 118.0, 18.0
THIN, NORMAL, THICK = 0.2, 0.35, 0.7
SMALL, PLAIN, LARGE = 2.6, 3.0, 4.2
LINE_SPACING = 1.3


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


class Sheet:
    """One drawing with frame and title; everything is placed in mm from the upper left."""

    def __init__(self, number: str, title: str, remark: str) -> None:
        self.title = title
        self._parts: list[str] = []
        self.box(MARGIN, MARGIN, WIDTH - 2 * MARGIN, HEIGHT - 2 * MARGIN, width=THICK)
        left, top = WIDTH - MARGIN - TITLE_WIDTH, HEIGHT - MARGIN - TITLE_HEIGHT
        self.box(left, top, TITLE_WIDTH, TITLE_HEIGHT)
        self.text(left + 3, top + 7, title, LARGE, bold=True)
        self.text(left + 3, top + 13.5, remark, SMALL)
        self.text(left + TITLE_WIDTH - 3, top + 7, number, PLAIN, anchor="end")

    def svg(self) -> str:
        """Return the drawing's text."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(WIDTH)}mm" '
            f'height="{_n(HEIGHT)}mm" viewBox="0 0 {_n(WIDTH)} {_n(HEIGHT)}" '
            'font-family="Helvetica, Arial, sans-serif" stroke-linecap="round" '
            'stroke-linejoin="round">'
        )
        ground = f'<rect width="{_n(WIDTH)}" height="{_n(HEIGHT)}" fill="#fff"/>'
        title = f"<title>{escape(self.title)}</title>"
        return "\n".join([head, title, ground, *self._parts, "</svg>", ""])

    def line(self, *points: Point, width: float = NORMAL, dash: str = "") -> None:
        """Draw a line through points."""
        joined = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<polyline points="{joined}" fill="none" stroke="#000" '
            f'stroke-width="{width}"{dashed}/>'
        )

    def box(
        self,
        x: float,
        y: float,
        w: float,
        h: float,
        width: float = NORMAL,
        dash: str = "",
        fill: str = "#fff",
    ) -> None:
        """Draw a rectangle by its upper left corner and its size."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(w)}" height="{_n(h)}" fill="{fill}" '
            f'stroke="#000" stroke-width="{width}"{dashed}/>'
        )

    def circle(self, x: float, y: float, r: float, fill: str = "#fff", dash: str = "") -> None:
        """Draw a circle."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}" fill="{fill}" stroke="#000" '
            f'stroke-width="{NORMAL}"{dashed}/>'
        )

    def dot(self, x: float, y: float) -> None:
        """Draw a junction of wires."""
        self.circle(x, y, 0.7, "#000")

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float = PLAIN,
        anchor: str = "start",
        bold: bool = False,
    ) -> None:
        """Write lines of text, the first one's foot at (x, y)."""
        weight = ' font-weight="bold"' if bold else ""
        for number, line in enumerate(words.split("\n")):
            if not line:
                continue
            self._parts.append(
                f'<text x="{_n(x)}" y="{_n(y + number * LINE_SPACING * size)}" '
                f'font-size="{size}" text-anchor="{anchor}"{weight}>{escape(line)}</text>'
            )

    def labelled(self, x: float, y: float, w: float, h: float, words: str, dash: str = "") -> None:
        """Draw a box with its words in the middle."""
        self.box(x, y, w, h, dash=dash)
        lines = words.split("\n")
        top = y + h / 2 - (len(lines) - 1) * LINE_SPACING * SMALL / 2 + SMALL * 0.36
        self.text(x + w / 2, top, words, SMALL, anchor="middle")

    def leader(self, at: Point, to: Point, words: str) -> None:
        """Write words beside a thin line that ends in a dot at what they name."""
        self.line(at, to, width=THIN)
        self.circle(*at, 0.5, "#000")
        right = to[0] >= at[0]
        self.text(
            to[0] + (1 if right else -1), to[1] + 1, words, SMALL, "start" if right else "end"
        )

    def balloon(self, at: Point, to: Point, number: int) -> None:
        """Point at a part with its number in a circle."""
        self.line(at, to, width=THIN)
        self.circle(*at, 0.5, "#000")
        self.circle(*to, 2.6)
        self.text(to[0], to[1] + 1, str(number), SMALL, "middle")

    def measure(self, one: Point, other: Point, words: str, side: float = 1.0) -> None:
        """Draw a dimension between two points of one height or one column."""
        (x1, y1), (x2, y2) = one, other
        self.line(one, other, width=THIN)
        upright = x1 == x2
        for x, y in (one, other):
            tick = ((x - 1, y + 1), (x + 1, y - 1))
            self.line(*tick, width=NORMAL)
        middle = ((x1 + x2) / 2, (y1 + y2) / 2)
        if upright:
            anchor = "start" if side > 0 else "end"
            self.text(middle[0] + 1.5 * side, middle[1] + 1, words, SMALL, anchor)
        else:
            self.text(middle[0], middle[1] - 1.2, words, SMALL, "middle")

    def hatch(self, x: float, y: float, w: float, h: float, step: float = 2.0) -> None:
        """Fill a rectangle with slanting lines."""
        at = step
        while at < w + h:
            start = (x + min(at, w), y + max(0.0, at - w))
            end = (x + max(0.0, at - h), y + min(at, h))
            self.line(start, end, width=THIN)
            at += step


STEP = 12.0
"""Height of a symbol in an upright current path."""


class Path:
    """An upright current path: symbols follow each other from the top to the bottom."""

    def __init__(self, sheet: Sheet, x: float, y: float) -> None:
        self.sheet, self.x, self.y = sheet, x, y

    def wire(self, length: float) -> None:
        """Go on as a plain wire."""
        self.sheet.line((self.x, self.y), (self.x, self.y + length))
        self.y += length

    def to(self, y: float) -> None:
        """Go on as a plain wire down to a height."""
        self.wire(y - self.y)

    def contact(self, words: str = "", closed: bool = False, breaker: bool = False) -> None:
        """A contact as it stands without power: open, or `closed`; a breaker's bears a cross."""
        s, x, y = self.sheet, self.x, self.y
        s.line((x, y), (x, y + 4))
        s.line((x, y + 8.5), (x, y + STEP))
        if closed:
            s.line((x, y + 4), (x + 2.6, y + 4))
            s.line((x, y + 8.5), (x + 2.2, y + 3.2))
        else:
            s.line((x, y + 8.5), (x - 2.6, y + 4))
        if breaker:
            s.line((x - 1, y + 3), (x + 1, y + 5))
            s.line((x - 1, y + 5), (x + 1, y + 3))
        self._words(words)

    def coil(self, words: str = "") -> None:
        """A relay's or contactor's coil."""
        s, x, y = self.sheet, self.x, self.y
        s.line((x, y), (x, y + 3))
        s.box(x - 4, y + 3, 8, 6)
        s.line((x, y + 9), (x, y + STEP))
        self._words(words, 5.5)

    def fuse(self, words: str = "") -> None:
        """A fuse."""
        s, x, y = self.sheet, self.x, self.y
        s.box(x - 1.5, y + 2, 3, 8)
        s.line((x, y), (x, y + STEP))
        self._words(words)

    def resistor(self, words: str = "") -> None:
        """A resistor or heating element."""
        s, x, y = self.sheet, self.x, self.y
        s.line((x, y), (x, y + 2))
        s.box(x - 1.8, y + 2, 3.6, 8)
        s.line((x, y + 10), (x, y + STEP))
        self._words(words)

    def transistor(self, words: str = "") -> None:
        """An electronic switch or controlled path, with its control from the left."""
        s, x, y = self.sheet, self.x, self.y
        s.line((x, y), (x, y + 2))
        s.box(x - 4, y + 2, 8, 8)
        s.line((x - 2, y + 8), (x + 2, y + 4))
        s.line((x, y + 10), (x, y + STEP))
        self._words(words, 5.5)

    def _words(self, words: str, beside: float = 4.5) -> None:
        if words:
            height = self.y + 6.8 - (words.count("\n")) * LINE_SPACING * SMALL / 2
            self.sheet.text(self.x + beside, height, words, SMALL)
        self.y += STEP


def link(sheet: Sheet, contacts: Sequence[float], y: float) -> None:
    """Draw the dashed line that makes contacts move together; `y` is the symbols' top."""
    sheet.line((min(contacts) - 1.3, y + 6.2), (max(contacts) - 1.3, y + 6.2), dash="1.2 0.8")


def earth(sheet: Sheet, x: float, y: float) -> None:
    """Draw a protective-earth terminal."""
    for number, half in enumerate((3.0, 2.0, 1.0)):
        sheet.line((x - half, y + 1.2 * number), (x + half, y + 1.2 * number))
