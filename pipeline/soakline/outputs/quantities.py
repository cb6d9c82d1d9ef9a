"""The table of quantities, priced at the owner's rates."""

from typing import Any

import pandas as pd

from soakline.outputs.columns import SCHEMAS, frame
from soakline.works.bill import Bill

TOTAL = "total of all rows with a rate"


def quantity_table(bill: Bill) -> pd.DataFrame:
    """The `quantities` table; its last row is the total where any row has a rate."""
    rows: list[dict[str, Any]] = [
        {
            "item": own.item,
            "unit": own.unit,
            "amount": own.total,
            "rate": own.rate(bill.rates),
            "cost": own.cost(bill.rates),
        }
        for own in bill.entries
    ]
    if bill.cost is not None:
        total = {"item": TOTAL, "unit": None, "amount": None, "rate": None, "cost": bill.cost}
        rows.append(total)
    return frame(SCHEMAS["quantities"], rows)
