r"""How probable each side of a limit is, from a value and its asymmetric 95 % interval.

A `Quantity` tells a value and the 2.5 and 97.5 percentiles. Between them we put two half normal distributions that
meet at the value: half of the probability lies on each side, with the standard deviation of that side,

.. math:: \sigma_- = (x - x_{2.5}) / 1.96, \qquad \sigma_+ = (x_{97.5} - x) / 1.96 .

So the value is the median, and both ends of the interval are met exactly. (The usual split normal has a continuous
density instead and meets neither.) A side without spread puts its half on the value itself.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

from curvometer.difficulty.criteria import Limit
from curvometer.measurement import Quantity

Z_95 = 1.959963984540054
"""97.5 percentile of the normal distribution."""


def below(quantity: Quantity, limit: Limit) -> float:
    """Probability that the true value lies on the lower side of a limit.

    Parameters
    ----------
    quantity
        Value with its 95 % interval.
    limit
        The limit; a point mass that lies on it goes where the limit says.

    Returns
    -------
    float
        From 0 to 1.
    """
    distance = limit.value - quantity.value
    if distance == 0.0 and quantity.value in (quantity.lower, quantity.upper):
        return _point_mass_at_limit(quantity, limit)
    side = quantity.upper - quantity.value if distance > 0.0 else quantity.value - quantity.lower
    if side <= 0.0:
        return float(distance > 0.0)
    # P(X < c) = Phi((c - x) / sigma of that side): 1/2 at the value, 0.025 and 0.975 at the interval's ends.
    return 0.5 * (1.0 + math.erf(distance * Z_95 / side / math.sqrt(2.0)))


def _point_mass_at_limit(quantity: Quantity, limit: Limit) -> float:
    """Share below a limit that is the value itself, when at least one side is a point mass."""
    under = 0.5 if quantity.lower < quantity.value else 0.0  # a lower side with spread lies below for sure
    over = 0.5 if quantity.upper > quantity.value else 0.0
    return under if limit.in_upper else 1.0 - over


def cell_probabilities(quantity: Quantity, cuts: Sequence[Limit]) -> tuple[float, ...]:
    """Probability of each cell between ascending cuts.

    Parameters
    ----------
    quantity
        Value with its interval.
    cuts
        Ascending by `Limit.key`.

    Returns
    -------
    tuple of float
        One more than cuts; they add up to 1.
    """
    edges = [0.0, *(below(quantity, cut) for cut in cuts), 1.0]
    return tuple(max(upper - lower, 0.0) for lower, upper in itertools.pairwise(edges))
