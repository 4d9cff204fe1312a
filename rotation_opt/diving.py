"""A first plan of whole fields: one field after another is settled, and the rest is priced anew.

What is left of every capacity changes with each field that is settled, and so do the sequences that suit the
fields still open. Pricing on the way finds sequences that no price of the linear program would bring up.
"""

from __future__ import annotations

import numpy as np

from .arrays import Floats, Integers
from .pricing import COLUMNS_A_ROUND, FIRST_WIDTH, Pricing

SETTLED = 0.99  # a share from which a field counts as settled by itself
STEPS = 40  # in which all fields are settled, where there are many
ROUNDS = 3  # of pricing after each step
TINY = 1e-7


def dive(pricing: Pricing, penalty: Floats) -> list[int]:
    """Columns of a plan, field by field; limits may be broken at a penalty (rows,).

    Adds the sequences it meets to the columns of ``pricing``, whose linear program is not to be used after.
    """
    columns, master, count = pricing.columns, pricing.master, len(pricing.data.fields)
    inside = np.arange(pricing.in_program)
    chosen = np.full(count, -1, np.int64)
    master.aim(columns.cost[inside], pricing.recourse_cost, penalty)
    at_once = -(-count // STEPS)
    shares = master.shares()
    while (chosen < 0).any():
        field = columns.field[inside]
        open_ = chosen[field] < 0
        order = np.lexsort((-np.where(open_, shares, -1.0), field))
        first = order[np.searchsorted(field[order], np.arange(count))]  # largest share of each field
        size = np.where(chosen < 0, shares[first], -1.0)
        settle = np.argsort(-size, kind="stable")
        number = max(at_once, int((size >= SETTLED).sum()))
        for f in settle[:number]:
            if size[f] >= 0.0:
                chosen[f] = inside[first[f]]
        allowed = (chosen[columns.field[inside]] < 0) | np.isin(inside, chosen)
        master.allow(allowed)
        for turn in range(ROUNDS + 1):
            value, duals, field_duals = master.solve()
            if turn == ROUNDS or pricing.brake():
                break
            new = _price(pricing, duals, field_duals, np.flatnonzero(chosen < 0), value)
            if not len(new):
                break
            master.add(columns.need[new], columns.cost[new], columns.field[new])
            inside = np.concatenate([inside, new])
        shares = master.shares()
    return [int(c) for c in chosen]


def _price(pricing: Pricing, duals: Floats, field_duals: Floats, fields: Integers, value: float) -> Integers:
    """New columns of the open fields that would make the linear program cheaper."""
    columns, begin = pricing.columns, len(pricing.columns)
    worth = pricing.grower.worth(pricing.program.prices(pricing.plan_cost, duals))
    for field in fields.tolist():
        if not columns.complete[field]:
            least = -float(field_duals[field]) + TINY * max(1.0, abs(value))
            grown = pricing.grower.grow(
                field, worth, width=FIRST_WIDTH, keep=COLUMNS_A_ROUND, least=least, figures=False
            )
            columns.add(field, grown.pool.paths)
    return np.arange(begin, len(columns))
