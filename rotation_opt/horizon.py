"""What the weeds left after the last year count for when plans are chosen, where the grower wants it.

Else a plan may earn a little more in its last year by letting the weeds go. What that costs is told beside
every plan (`carry_over`); here the choice itself knows of it. It never enters the net return.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from rotation_opt.arrays import SelectionData
from rotation_opt.carry_over import Following
from rotation_opt.columns import Paths
from rotation_opt.formulate import Goal
from rotation_opt.groundwork import Groundwork
from rotation_opt.select import Selected, evaluate, select


def with_weeds_left(
    ground: Groundwork,
    data: SelectionData,
    *,
    time_limit: float = 120.0,
    pulled: Callable[[], bool] = lambda: False,
) -> tuple[SelectionData, Selected | None]:
    """The same farm with the weeds left counted when plans are chosen, as far as the grower asks for it.

    Parameters
    ----------
    ground : Groundwork
    data : SelectionData
        Of the same farm.
    time_limit : float
        Emergency brake of the search. [s]
    pulled : callable
        Asked now and then whether to stop.

    Returns
    -------
    SelectionData
        With ``weeds_left_price``.
    Selected or None
        The plan of that farm with most money, weeds left counted; None where they do not count.

    Raises
    ------
    NoPlanError
        If no plan meets all limits.

    Notes
    -----
    One price for all fields: the printed cost of the weeds that the plan with most money leaves, by their
    hectares of full-strength stand. A first hectare costs more than a last one and a good field more than a
    poor one, so this is a rough weight; what is printed beside each plan is followed field by field.
    """
    if not ground.farm.count_weeds_left:
        return data, None
    money = Goal(kind="most_money")
    plain = select(data, money, time_limit=time_limit, pulled=pulled)
    data = replace(data, weeds_left_price=price_of_weeds_left(ground, data, plain.paths))
    return data, select(data, money, pools=plain.pools, time_limit=time_limit, pulled=pulled)


def price_of_weeds_left(ground: Groundwork, data: SelectionData, paths: Paths) -> float:
    """Likely cost of the weeds that a plan leaves, by their area; 0 where it leaves none.

    Returns
    -------
    float
        [money of today/ha of full-strength stand on 1 November after the last year]
    """
    left_ha = float(evaluate(data, paths).burden[-1, data.likely])
    if left_ha <= 0.0:
        return 0.0
    cost = Following(ground, data, [paths]).left(paths).weeds_cost[1]
    return cost * float(data.discount[-1]) / left_ha
