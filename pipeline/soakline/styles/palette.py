"""Colours of the plan, on the picture and in the styles alike.

Told apart by lightness as well as by hue, so that they hold for every kind of colour vision and
on a grey print; a test holds them against simulated colour blindness.
"""

INK = "#222222"
SWALE = "#3b1f5e"
FIXED = "#8f63b8"
ROUTE = "#d1620a"
WATER = "#1f6fa8"
DRAIN = "#8c1d6b"
SAFE = "#00695c"
CROSSING = "#5b4a3a"
STOP = "#a50f15"
TREE = "#2f6b2f"
CROWN, WINDBREAK = "#4c9a48", "#174a2c"

# Trench and mound, from the water out.
PONDED, CUT_SLOPE, BERM, MOUND = "#6aaed6", "#c9a66b", "#e8dcc0", "#7a5a2f"

EDGE_GREY, WET_BLUE, UNFIT_BROWN, WISH_GREEN = "#8d8d8d", "#7fb2d6", "#c08457", "#6f9e6f"

# Light to dark in even steps: the steeper the darker.
SLOPES = (
    "#fdf6e3", "#f8e6c1", "#f2d29c", "#e9b977", "#dd9c56", "#cb7d3d", "#b05f2d", "#8c4523",
    "#652f1b", "#3f1d12",
)  # fmt: skip

# Dark to light, blue to yellow, in even steps of lightness for every colour vision: the map
# "cividis" of Nunez, Anderton & Renslow (2018), as the drawing library has it.
HEIGHTS = ("#00224e", "#35456c", "#666970", "#948e77", "#c8b866", "#fee838")

# White to deep blue: the more water may come, the darker.
GATHERING = ("#ffffff", "#dbe9f6", "#a6cee4", "#5fa6d1", "#2777b8", "#0b3d77")
