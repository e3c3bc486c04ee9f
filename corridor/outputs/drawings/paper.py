"""Paper in millimetres: axes placed where a drawing is measured with a ruler, and the look of sheets."""

from dataclasses import dataclass

from matplotlib.figure import Figure

__all__ = ["HEIGHT", "SHEET_STYLE", "SMALL", "WIDTH", "Sheet", "blank", "place", "short_number"]

#: A3 across (ISO 216) [mm].
WIDTH, HEIGHT = 420.0, 297.0
#: One inch [mm].
_INCH = 25.4

#: Least size of text [pt]: capitals of DejaVu Sans are 0.729 of it, so 1.8 mm, the minimum height that ISO 3098-1 has
#: for letters on drawings (recalled).
SMALL = 7.0

#: Black on white; embedded vector fonts (TrueType, PDF font type 42).
SHEET_STYLE = {
    "pdf.fonttype": 42, "text.parse_math": False,
    "font.family": "DejaVu Sans", "font.size": 7, "axes.linewidth": 0.5, "lines.linewidth": 0.7,
    "axes.edgecolor": "black", "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL, "hatch.linewidth": 0.4,
    "axes.axisbelow": True, "lines.dash_capstyle": "butt", "figure.constrained_layout.use": False,
}


@dataclass(frozen=True)
class Sheet:
    """What one sheet shows: a stretch of one line.

    `spans`, `structures` its rows of the findings in the order of the line; `begin`, `end` stations [m]; `origin`
    easting and northing [m] of its start and `way` the unit vector along it in plan; `number` of `count`;
    `horizontal`, `vertical` what a metre on paper stands for [m].
    """

    line: str
    spans: object
    structures: object
    begin: float
    end: float
    origin: tuple
    way: tuple
    number: int
    count: int
    horizontal: float
    vertical: float

    def turned(self, points):
        """Return places (n, 2) along the sheet and to the left of it [m], along as stations."""
        e, n = points[:, 0] - self.origin[0], points[:, 1] - self.origin[1]
        return self.begin + e * self.way[0] + n * self.way[1], n * self.way[0] - e * self.way[1]

    def in_grid(self, along, left):
        """Return easting and northing [m] of places, stations and metres to the left: what `turned` turns back."""
        a = along - self.begin
        return (self.origin[0] + a * self.way[0] - left * self.way[1],
                self.origin[1] + a * self.way[1] + left * self.way[0])


def blank():
    """Return an empty sheet of A3 across with its border."""
    figure = Figure(figsize=(WIDTH / _INCH, HEIGHT / _INCH))
    border = place(figure, 10, 10, WIDTH - 20, HEIGHT - 20)
    border.set(xticks=[], yticks=[], facecolor="none")
    border.spines[:].set_linewidth(1.0)
    return figure


def place(figure, left, bottom, width, height):
    """Return axes at a place on the sheet [mm]."""
    return figure.add_axes((left / WIDTH, bottom / HEIGHT, width / WIDTH, height / HEIGHT))


def short_number(value, digits=1):
    """Return a number for a label, a dash where it is not known."""
    return "–" if value is None or value != value else f"{value:.{digits}f}"
