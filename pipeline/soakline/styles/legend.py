"""The legend of all styles as one picture, to print and keep beside the map."""

from collections.abc import Iterable, Iterator
from xml.sax.saxutils import escape, quoteattr

from soakline.styles.symbols import Area, Line, Mark, Point, Rule, Style

_WIDTH, _COLUMN, _ROW, _HEAD = 760, 380, 22, 34
_SWATCH_W, _SWATCH_H = 34, 14
_ON_GROUND = 12.0  # px of a mark whose size is that of a thing on the ground

_MARKS: dict[Mark, str] = {
    "square": "M-5,-5H5V5H-5Z",
    "circle": "M-5,0a5,5 0 1,0 10,0a5,5 0 1,0 -10,0Z",
    "triangle": "M0,-5L5,5H-5Z",
    "star": "M0,-5L1.2,-1.6L4.8,-1.5L1.9,0.6L2.9,4L0,2L-2.9,4L-1.9,0.6L-4.8,-1.5L-1.2,-1.6Z",
    "cross": "M-1.5,-5H1.5V-1.5H5V1.5H1.5V5H-1.5V1.5H-5V-1.5H-1.5Z",
    "x": "M-5,-5L5,5M-5,5L5,-5",
}


def legend_svg(styles: Iterable[Style]) -> str:
    """The legend as SVG: a block for each layer, a row for each of its rules.

    Parameters
    ----------
    styles : in the order to be shown
    """
    blocks = [(style.title, [rule for rule in style.rules if rule.title]) for style in styles]
    heights = [_HEAD + _ROW * len(rules) for _, rules in blocks]
    half = (sum(heights) + max(heights)) / 2
    parts: list[str] = []
    x, y, deepest = 12, 8, 0
    for (title, rules), height in zip(blocks, heights, strict=True):
        if y + height > half and x < _COLUMN:
            x, y = x + _COLUMN, 8
        parts += _block(title, rules, x, y)
        y += height
        deepest = max(deepest, y)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {deepest + 8}" '
        f'width="{_WIDTH}" height="{deepest + 8}" font-family="sans-serif" font-size="12">'
    )
    return "\n".join(
        [head, '<rect width="100%" height="100%" fill="#ffffff"/>', *parts, "</svg>\n"]
    )


def _block(title: str, rules: list[Rule], x: int, y: int) -> Iterator[str]:
    yield f'<text x="{x}" y="{y + 20}" font-weight="bold">{escape(title)}</text>'
    for k, rule in enumerate(rules):
        top = y + _HEAD + _ROW * k - 4
        yield f'<g transform="translate({x},{top})">{"".join(_swatch(rule))}</g>'
        yield f'<text x="{x + _SWATCH_W + 10}" y="{top + 11}">{escape(rule.title)}</text>'


def _swatch(rule: Rule) -> Iterator[str]:
    for symbol in rule.symbols:
        if isinstance(symbol, Line):
            middle = _SWATCH_H / 2
            yield f'<path d="M0,{middle:g}H{_SWATCH_W}" fill="none" {_stroke(symbol)}/>'
        elif isinstance(symbol, Area):
            yield from _area(symbol)
        elif isinstance(symbol, Point):
            yield _mark(symbol)


def _area(area: Area) -> Iterator[str]:
    fill = area.colour or "none"
    edge = _stroke(area.edge) if area.edge else ""
    yield (
        f'<rect x="1" y="1" width="{_SWATCH_W - 2}" height="{_SWATCH_H - 2}" fill="{fill}" '
        f'fill-opacity="{area.opacity:g}" {edge}/>'
    )
    if area.hatch and area.edge:
        for x in (7, 17, 27):
            yield (
                f'<path transform="translate({x},7) scale(0.6)" d="{_MARKS[area.hatch]}" '
                f'fill="none" stroke="{area.edge.colour}" stroke-width="1"/>'
            )


def _mark(point: Point) -> str:
    size = point.size if isinstance(point.size, float) else _ON_GROUND
    edge = point.colour if point.mark == "x" else point.edge
    return (
        f'<path transform="translate({_SWATCH_W / 2:g},{_SWATCH_H / 2:g}) '
        f'rotate({point.turned_deg:g}) scale({size / 10:g})" d="{_MARKS[point.mark]}" '
        f'fill="{point.colour}" fill-opacity="{point.opacity:g}" stroke={quoteattr(edge)}/>'
    )


def _stroke(line: Line) -> str:
    dashes = " ".join(f"{dash:g}" for dash in line.dashes)
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'stroke="{line.colour}" stroke-width="{line.width:g}"{dashed}'
