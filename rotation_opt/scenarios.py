"""Years that may come: how yields and prices swing together.

A course is one run of all plan years. Courses are drawn from published swings of yields (table
``variability`` and ``yield_cv`` of table ``crop``), always the same for the same crops, so that plans are
compared under the same years. Every factor has the mean 1.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rotation_opt.arrays import Floats, Integers, SelectionData
from rotation_opt.errors import TableError
from rotation_opt.tables import Tables

SERIES = ("barley", "corn", "hay", "soybean", "wheat")
"""What a crop's yields and prices can go by, in alphabetical order."""

COURSES = 1000
SEED = 20270101
TABLE = "variability"


@dataclass(frozen=True, slots=True, kw_only=True)
class Swings:
    """How far yields and prices of some crops swing, and with what.

    Parameters
    ----------
    crops : tuple of str, length K
    yield_cv, price_cv : (K,)
        Standard deviation over mean.
    yield_series, price_series : tuple of int, length K
        The series a crop goes by, as a place in `SERIES`.
    yield_with, price_with : (K,)
        Correlation with that series; the rest of a crop's swing is its own.
    hay_price_cv : float
        Of hay bought in.
    yields, prices : (5, 5)
        Correlation of the series among each other.
    price_yield : (5,)
        Correlation of a price with the yield of its own series; with other yields only through that one.
    persistence : float
        Correlation of a price with that of the year before.
    """

    crops: tuple[str, ...]
    yield_cv: Floats
    price_cv: Floats
    yield_series: tuple[int, ...]
    price_series: tuple[int, ...]
    yield_with: Floats
    price_with: Floats
    hay_price_cv: float
    yields: Floats
    prices: Floats
    price_yield: Floats
    persistence: float

    @property
    def together(self) -> Floats:
        """(10, 10): correlation of the yields of all series, then of their prices, within one year."""
        across = self.yields * self.price_yield  # [a, b]: yield of a with price of b
        return np.block([[self.yields, across], [across.T, self.prices]])


def crops_of_products(data: SelectionData) -> tuple[str, ...]:
    """(K,): crop that each product is of; hay sold standing swings as the hay does."""
    found = dict.fromkeys(range(len(data.products)), "")
    for practice, product in enumerate(data.product_of):
        if product >= 0:
            found[int(product)] = data.crops[int(data.crop_of[practice])]
    return tuple(found.values())


def swings_of(crops: Sequence[str], tables: Tables) -> Swings:
    """The swings of some crops, as from `crops_of_products`.

    Raises
    ------
    TableError
        If a crop has no ``yield_cv``, or goes by no series.
    """
    price_cv = np.array([tables.number(TABLE, series, "price_cv") for series in SERIES])
    by_yield = [goes_by(crop, "yields_with", tables) for crop in crops]
    by_price = [goes_by(crop, "prices_with", tables) for crop in crops]
    return Swings(
        crops=tuple(crops),
        yield_cv=np.array([tables.number("crop", crop, "yield_cv") for crop in crops], dtype=float),
        price_cv=np.array([price_cv[series] for series, _ in by_price], dtype=float),
        yield_series=tuple(series for series, _ in by_yield),
        price_series=tuple(series for series, _ in by_price),
        yield_with=np.array([share for _, share in by_yield], dtype=float),
        price_with=np.array([share for _, share in by_price], dtype=float),
        hay_price_cv=float(price_cv[SERIES.index("hay")]),
        yields=_correlations("yield_correlation", tables),
        prices=_correlations("price_correlation", tables),
        price_yield=np.array(
            [tables.number(TABLE, series, "price_yield_correlation") for series in SERIES], dtype=float
        ),
        persistence=tables.number(TABLE, "any", "price_persistence"),
    )


def goes_by(crop: str, what: str, tables: Tables) -> tuple[int, float]:
    """The series of a crop's ``yields_with`` or ``prices_with``, as a place in `SERIES`, and how closely."""
    for place, series in enumerate(SERIES):
        if tables.has(TABLE, crop, f"{what}:{series}"):
            return place, tables.number(TABLE, crop, f"{what}:{series}")
    raise TableError(
        f"variability.csv: {crop!r} has no {what}; write a row {what}:<series>, where the series is one of "
        f"{', '.join(SERIES)}."
    )


def _correlations(what: str, tables: Tables) -> Floats:
    table = np.eye(len(SERIES))
    for place, one in enumerate(SERIES):
        for other in range(place + 1, len(SERIES)):
            table[place, other] = table[other, place] = tables.number(TABLE, one, f"{what}:{SERIES[other]}")
    return table


def nearest_correlation(wanted: Floats) -> Floats:
    """A correlation matrix near to one that may not be possible.

    Correlations from different states, or from different sources, need not fit together. Negative
    eigenvalues are cut off at nought and the diagonal is brought back to 1. A possible one is left as it is.

    Parameters
    ----------
    wanted : (n, n)
        Symmetric, ones on the diagonal.
    """
    values, vectors = np.linalg.eigh(wanted)
    if values[0] >= 0.0:
        return wanted
    made = (vectors * np.maximum(values, 0.0)) @ vectors.T
    size = np.sqrt(np.diag(made))
    return np.asarray(made / np.outer(size, size))


# ---------------------------------------------------------------- courses of years


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenarios:
    """Courses of years that may come, all equally likely; factors against the usual year.

    Parameters
    ----------
    yields, prices : (S, T, K)
    feed_price : (S, T)
        Of hay bought in.
    market_price_per_t : (K,)
        Usual price of each product on the open market: what a farm pays that is short for a contract.
    """

    yields: Floats
    prices: Floats
    feed_price: Floats
    market_price_per_t: Floats

    @classmethod
    def usual(cls, courses: int, years: int, market_price_per_t: Floats) -> Scenarios:
        """Nothing but usual years."""
        shape = (courses, years, len(market_price_per_t))
        return cls(
            yields=np.ones(shape),
            prices=np.ones(shape),
            feed_price=np.ones(shape[:2]),
            market_price_per_t=np.asarray(market_price_per_t, dtype=float),
        )

    def some(self, which: Integers) -> Scenarios:
        """Only these courses."""
        return replace(
            self,
            yields=self.yields[which],
            prices=self.prices[which],
            feed_price=self.feed_price[which],
        )


def draw(
    swings: Swings, years: int, market_price_per_t: Floats, *, courses: int = COURSES, seed: int = SEED
) -> Scenarios:
    """Courses of years, the same ones for the same seed.

    Parameters
    ----------
    swings : Swings
    years : int
        T.
    market_price_per_t : (K,)
    courses : int
        S, even: every course has a mirror image, so the mean of the yields is 1 exactly.
    seed : int
        Of the random numbers.

    Notes
    -----
    A yield is ``1 + cv z``, cut off at 0 and 2: the worst published years lie three and more standard
    deviations below the trend, so a form with a long upper end would play them down. (The cut takes at most
    a fortieth of the swing, where the coefficient of variation is 0.45.) A price is lognormal, its mean over
    the courses set to 1. Yields of different years are independent; a price remembers the year before. All
    fields of a crop have the same factor. What a crop has of its own is drawn by its name, so that another
    crop changes nothing.

    Raises
    ------
    ValueError
        If ``courses`` is odd.
    """
    if courses % 2:
        raise ValueError(f"courses come in pairs, a course and its mirror image; {courses} is odd")
    count, memory = len(SERIES), swings.persistence
    fresh = np.sqrt(1.0 - memory**2)
    # what is new in a price is only a part of it, so that part has to go with the yields all the more
    wanted = swings.together
    wanted[:count, count:] /= fresh
    wanted[count:, :count] /= fresh
    values, vectors = np.linalg.eigh(nearest_correlation(wanted))
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    half = courses // 2
    # one year more than the plan has: the prices of the year before it
    drawn = np.random.default_rng(seed).standard_normal((half, years + 1, 2 * count)) @ root.T
    series_yield, series_price = drawn[:, 1:, :count], _remembered(drawn[:, :, count:], memory)
    own = [
        np.random.default_rng([seed, zlib.crc32(crop.encode())]).standard_normal((half, years + 1, 2))
        for crop in swings.crops
    ]
    own_parts = np.stack(own, axis=-1) if own else np.zeros((half, years + 1, 2, 0))
    own_yield, own_price = own_parts[:, 1:, 0], _remembered(own_parts[:, :, 1], memory)
    z_yield = _mixed(series_yield[:, :, list(swings.yield_series)], own_yield, swings.yield_with)
    z_price = _mixed(series_price[:, :, list(swings.price_series)], own_price, swings.price_with)
    hay = series_price[:, :, SERIES.index("hay")]
    return Scenarios(
        yields=np.clip(1.0 + swings.yield_cv * _mirrored(z_yield), 0.0, 2.0),
        prices=_lognormal(_mirrored(z_price), swings.price_cv),
        feed_price=_lognormal(_mirrored(hay), swings.hay_price_cv),
        market_price_per_t=np.asarray(market_price_per_t, dtype=float),
    )


def _mixed(series: Floats, own: Floats, share: Floats) -> Floats:
    return np.asarray(share * series + np.sqrt(1.0 - share**2) * own)


def _mirrored(z: Floats) -> Floats:
    return np.concatenate([z, -z])


def _remembered(new: Floats, memory: float) -> Floats:
    """(S, T + 1, ...) of what is new each year to (S, T, ...) of what each year is; the first goes before."""
    now, years = new[:, 0], []
    for year in range(1, new.shape[1]):
        now = memory * now + np.sqrt(1.0 - memory**2) * new[:, year]
        years.append(now)
    return np.stack(years, axis=1)


def _lognormal(z: Floats, cv: Floats | float) -> Floats:
    factor = np.exp(np.sqrt(np.log1p(np.square(cv))) * z)
    return np.asarray(factor / factor.mean(axis=0))
