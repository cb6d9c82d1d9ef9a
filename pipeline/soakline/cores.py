"""How many threads the compiled loops run in."""

import os


def cores(spared: int = 0) -> int:
    """Cores of the machine, asked anew each time.

    Parameters
    ----------
    spared : left to what runs beside
    """
    return max((os.cpu_count() or 1) - spared, 1)
