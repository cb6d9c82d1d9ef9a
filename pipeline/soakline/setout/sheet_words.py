"""Cautions that every sheet and page to set out from carries."""

CAUTION = (
    "Not a design to build from unseen. Heights are no better than the DEM: level from an "
    "instrument on site."
)
CAUTION_MORE = (
    "Have buried services located before any digging. Local codes and licensed practice come "
    "before this drawing; on any doubt ask a licensed engineer."
)
