"""What is to be dug and bought, swale by swale, and what it costs at the owner's rates."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from soakline.grid import FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class Entry:
    """One row of the bill.

    Parameters
    ----------
    item : what is counted, in the words of the table
    unit : of the amounts
    amount : (swales,) of each
    rate_item : item that its rate is given for
    """

    item: str
    unit: str
    amount: FloatArray
    rate_item: str

    @property
    def total(self) -> float:
        return float(np.sum(self.amount))

    def rate(self, rates: Mapping[str, float] | None) -> float | None:
        """Cost of one unit; None where the owner gives none."""
        return None if rates is None else rates.get(self.rate_item)

    def cost(self, rates: Mapping[str, float] | None) -> float | None:
        """Total amount times rate; None where the owner gives no rate."""
        rate = self.rate(rates)
        return None if rate is None else self.total * rate


@dataclass(frozen=True, eq=False, slots=True)
class Bill:
    """All entries, priced.

    Parameters
    ----------
    entries : Entry of each row
    rates : cost of one unit by item; None where the owner names no table
    """

    entries: tuple[Entry, ...]
    rates: Mapping[str, float] | None

    @property
    def cost(self) -> float | None:
        """Sum of all costs; None where no entry has a rate."""
        costs = [cost for own in self.entries if (cost := own.cost(self.rates)) is not None]
        return math.fsum(costs) if costs else None

    @property
    def swale_cost(self) -> FloatArray | None:
        """Cost of each swale, (swales,); None where no entry has a rate."""
        priced = [
            own.amount * rate for own in self.entries if (rate := own.rate(self.rates)) is not None
        ]
        total: FloatArray | None = np.sum(priced, axis=0) if priced else None
        return total

    @property
    def unpriced(self) -> list[str]:
        """Items that the plan has and the owner's table gives no rate for."""
        return [
            own.item for own in self.entries if own.total > 0.0 and own.rate(self.rates) is None
        ]
