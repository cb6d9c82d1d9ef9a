"""Text for drawings, whose one font does not have the letters of every script."""

from functools import cache

from matplotlib.font_manager import findfont, get_font

_FONT = "DejaVu Sans"  # ships with matplotlib
_MISSING = "\N{WHITE SQUARE}"


@cache
def _is_drawn(letter: str) -> bool:
    return letter.isspace() or get_font(findfont(_FONT)).get_char_index(ord(letter)) > 0


def drawable(text: str, most: int = 0) -> str:
    """Text as the drawing's font can write it, matplotlib having nothing to warn of.

    Parameters
    ----------
    text : such as a name that the user gave
    most : letters that there is room for; 0 for any number

    Examples
    --------
    >>> drawable("Wallaby Creek, 水 2")
    'Wallaby Creek, □ 2'
    >>> drawable("the long name of a property", 12)
    'the long na…'
    """
    short = f"{text[: most - 1]}…" if 0 < most < len(text) else text
    return "".join(letter if _is_drawn(letter) else _MISSING for letter in short)
