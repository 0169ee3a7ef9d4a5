"""Charts as small SVG files: text stays text, bytes are the same on every machine, legible on light and dark pages.

Nothing but numbers and words go in. A chart lays its own paper under itself and follows the reader's colour scheme, so that
it can stand as a picture in a document.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

Point = tuple[float, float]
#: Series by name: colour on light paper, on dark paper, dash pattern. Told apart by dash as well as by colour.
SERIES = {
    "ours": ("#0b5fae", "#6db3f2", ""),
    "embedding": ("#b34700", "#ff9e57", "7 3"),
    "checklist": ("#4d6b1f", "#a9cf62", "2 3"),
    "ideal": ("#777777", "#9a9a9a", "1 3"),
}
_STYLE = (
    "text{font:13px system-ui,'DejaVu Sans',sans-serif;fill:#1c1c1c}"
    ".small{font-size:11px}.title{font-size:15px;font-weight:600}.paper{fill:#ffffff}"
    ".rim{paint-order:stroke;stroke:#ffffff;stroke-width:4px;stroke-linejoin:round}"
    ".grid{stroke:#dcdcdc}.axis{stroke:#555555}.bar{fill:#c3ccd6}"
    + "".join(f".{n}{{stroke:{light};fill:none;stroke-width:2}}.{n}-fill{{fill:{light};stroke:none}}.{n}-band{{fill:{light};"
              f"fill-opacity:.16;stroke:none}}" for n, (light, _, _) in SERIES.items())
    + "@media(prefers-color-scheme:dark){text{fill:#e6e6e6}.paper{fill:#16191d}.rim{stroke:#16191d}"
      ".grid{stroke:#343a41}.axis{stroke:#a9a9a9}.bar{fill:#47515c}"
    + "".join(f".{n}{{stroke:{dark}}}.{n}-fill{{fill:{dark}}}.{n}-band{{fill:{dark}}}" for n, (_, dark, _) in SERIES.items())
    + "}"
)
LEFT, RIGHT, TOP, BOTTOM = 62, 16, 30, 50


def _n(value: float) -> str:
    """A coordinate: a tenth of a pixel."""
    return f"{value + 0.0:.1f}".removesuffix(".0")


@dataclass
class Chart:
    """One pair of axes. `x`, `y`: (least, most, step of the grid); labels carry their unit. Coordinates of all that is added
    are values on the axes."""

    title: str
    x_label: str
    y_label: str
    x: tuple[float, float, float]
    y: tuple[float, float, float]
    width: int = 420
    height: int = 360
    parts: list[str] = field(default_factory=list)

    def at(self, point: Point) -> Point:
        """Pixels of a point, origin at the chart's top left corner."""
        u = (point[0] - self.x[0]) / (self.x[1] - self.x[0])
        v = (point[1] - self.y[0]) / (self.y[1] - self.y[0])
        return LEFT + u * (self.width - LEFT - RIGHT), self.height - BOTTOM - v * (self.height - TOP - BOTTOM)

    def _path(self, points: Sequence[Point]) -> str:
        return " ".join(f"{_n(x)},{_n(y)}" for x, y in map(self.at, points))

    def line(self, points: Sequence[Point], series: str) -> None:
        """A line through points."""
        dash = SERIES[series][2]
        style = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(f'<polyline class="{series}"{style} points="{self._path(points)}"/>')

    def band(self, low: Sequence[Point], high: Sequence[Point], series: str) -> None:
        """The area between two lines of equal x."""
        self.parts.append(f'<polygon class="{series}-band" points="{self._path([*low, *reversed(high)])}"/>')

    def whisker(self, x: float, low: float, high: float, series: str) -> None:
        """An upright interval."""
        (px, a), (_, b) = self.at((x, low)), self.at((x, high))
        ends = "".join(f"M{_n(px - 4)} {_n(y)}h8" for y in (a, b))
        self.parts.append(f'<path class="{series}" d="M{_n(px)} {_n(a)}V{_n(b)}{ends}"/>')

    def dot(self, point: Point, series: str, radius: float = 4.0) -> None:
        """A filled round mark."""
        x, y = self.at(point)
        self.parts.append(f'<circle class="{series}-fill" cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}"/>')

    def bar(self, x0: float, x1: float, share: float, most_px: float = 34.0) -> None:
        """A grey bar that stands on the x axis, `share` of `most_px` high: how much lies there."""
        (a, bottom), (b, _) = self.at((x0, self.y[0])), self.at((x1, self.y[0]))
        tall = share * most_px
        box = f'x="{_n(a + 1)}" y="{_n(bottom - tall)}" width="{_n(b - a - 2)}" height="{_n(tall)}"'
        self.parts.append(f'<rect class="bar" {box}/>')

    def note(self, point: Point, text: str, anchor: str = "middle", up: float = 0.0, right: float = 0.0) -> None:
        """Small words at a point, `up` pixels higher and `right` to the right, on a rim of paper."""
        x, y = self.at(point)
        place = f'x="{_n(x + right)}" y="{_n(y - up)}" text-anchor="{anchor}"'
        self.parts.append(f'<text class="small rim" {place}>{escape(text)}</text>')

    def draw(self) -> str:
        """Axes, grid and labels with what was added."""
        out = [f'<text class="title" x="{LEFT}" y="18">{escape(self.title)}</text>']
        (x0, y0), (x1, y1) = self.at((self.x[0], self.y[0])), self.at((self.x[1], self.y[1]))
        for value in _ticks(self.x):
            px, _ = self.at((value, self.y[0]))
            out.append(f'<path class="grid" d="M{_n(px)} {_n(y0)}V{_n(y1)}"/>')
            out.append(f'<text class="small" x="{_n(px)}" y="{_n(y0 + 16)}" text-anchor="middle">{value:g}</text>')
        for value in _ticks(self.y):
            _, py = self.at((self.x[0], value))
            out.append(f'<path class="grid" d="M{_n(x0)} {_n(py)}H{_n(x1)}"/>')
            out.append(f'<text class="small" x="{_n(x0 - 7)}" y="{_n(py + 4)}" text-anchor="end">{value:g}</text>')
        out += self.parts
        out.append(f'<path class="axis" fill="none" d="M{_n(x0)} {_n(y1)}V{_n(y0)}H{_n(x1)}"/>')
        out.append(f'<text x="{_n((x0 + x1) / 2)}" y="{self.height - 14}" text-anchor="middle">{escape(self.x_label)}</text>')
        middle = _n((y0 + y1) / 2)
        out.append(f'<text transform="translate(16 {middle}) rotate(-90)" text-anchor="middle">{escape(self.y_label)}</text>')
        return "\n".join(out)


def _ticks(axis: tuple[float, float, float]) -> list[float]:
    low, high, step = axis
    return [round(low + k * step, 6) for k in range(int((high - low) / step + 1e-6) + 1)]


def sheet(charts: Sequence[Chart], legend: Sequence[tuple[str, str]], about: str) -> str:
    """One SVG document: charts side by side above a legend of (series or "bar", words); `about`: what it shows, for readers
    who cannot see it."""
    width = sum(c.width for c in charts)
    legend_rows = len(legend)
    tall = max(c.height for c in charts)
    height = tall + 20 * legend_rows + 10
    size = f'width="{width}" height="{height}"'
    out = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" {size} role="img">',
           f"<title>{escape(about)}</title>", f"<style>{_STYLE}</style>", f'<rect class="paper" {size}/>']
    left = 0
    for chart in charts:
        out += [f'<g transform="translate({left} 0)">', chart.draw(), "</g>"]
        left += chart.width
    for k, (series, words) in enumerate(legend):
        y = tall + 10 + 20 * k
        if series == "bar":
            out.append(f'<rect class="bar" x="{LEFT}" y="{y - 9}" width="34" height="10"/>')
        else:
            dash = SERIES[series][2]
            style = f' stroke-dasharray="{dash}"' if dash else ""
            out.append(f'<path class="{series}"{style} d="M{LEFT} {y - 4}h34"/>')
        out.append(f'<text class="small" x="{LEFT + 44}" y="{y}">{escape(words)}</text>')
    return "\n".join([*out, "</svg>", ""])
