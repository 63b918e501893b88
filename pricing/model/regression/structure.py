"""What a regression knows of its columns before it sees a price."""

from dataclasses import dataclass

import numpy as np

from pricing.arrays import Ints
from pricing.model.regression.pooling import Priors, Tree

SPREAD_PRIOR = 0.02
"""Starting prior variance of every coefficient and group effect of the log variance."""


@dataclass(frozen=True)
class Structure:
    """Nested groups, prior variances, blocks of columns sharing a variance, the columns that the residual
    spread may depend on, and those whose coefficients may not be negative in any group. Column 0 is the
    intercept."""

    tree: Tree
    priors: Priors
    blocks: list[Ints]
    spread_columns: Ints
    ordered_columns: Ints
    jumping: tuple[Ints, ...] = ()
    """Blocks of market-wide increments with a heavy-tailed law (see ``prior_updates``)."""
    anchor: float = 0.0
    """How many well-determined coefficients the starting variances count for (see ``updated_priors``)."""

    def of_spread(self, modelled: bool) -> "Structure":
        """The structure of the log variance: its own columns and a level for each group, or one spread for
        all."""
        columns = self.spread_columns
        market = np.full(len(columns), SPREAD_PRIOR if modelled else 1e-12)
        market[0] = np.inf
        levels = np.zeros((len(self.tree.parents), len(columns)))
        levels[:, 0] = SPREAD_PRIOR if modelled else 0.0
        place = {int(column): index for index, column in enumerate(columns)}
        kept_columns = [np.array([place[int(c)] for c in block if int(c) in place]) for block in self.blocks]
        none = np.empty(0, dtype=np.int64)
        return Structure(
            self.tree, Priors(market, levels), [block for block in kept_columns if len(block)], columns, none
        )
