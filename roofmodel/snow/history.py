"""An aid to judgment, no code: how much snow lay on a roof by the weather, and when its bond could let go.

One layer on the roof, hour by hour or day by day. What is not known (how much of the snow the roof catches,
how fast it melts, what reaches the sheet of the sun) scatters, and all answers are bands.

Sources, all from memory: density of fresh snow, Hedstrom and Pomeroy, Hydrol. Process. 12 (1998) 1611;
settling, Anderson, NOAA Tech. Rep. NWS 19 (1976); melt by restricted degree days and radiation, Kustas, Rango
and Uijlenhoet, Water Resour. Res. 30 (1994) 1515; water held, a few percent of the mass, common practice;
what gauges miss in wind, Kochendorfer et al., Hydrol. Earth Syst. Sci. 21 (2017) 3525.
Bond: `roofmodel.snow.thaw`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow.thaw import SURFACE, ThawAid, conductivity
from roofmodel.snow.weather import Weather
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]

SAMPLES = 400
LEAST = 15.0  # snow below this cannot leave as a blanket (judgment) [kg/m^2]
OLD_ALBEDO, FRESH_ALBEDO = 0.55, 0.85
AGING = 5.0  # of the albedo [days]
DAY = 86400.0
MELT_BY_SUN = 0.26 / DAY  # [kg/m^2 s for W/m^2]
LARGEST_DENSITY = 550.0  # [kg/m^3]
LEAST_CATCH = 0.3  # of a gauge
WIND_FROM = 3.0  # wind above which snow is blown past [m/s]


@dataclass(frozen=True)
class Spread:
    """Lowest and highest of what is drawn evenly.

    Attributes
    ----------
    caught : (float, float)
        Share of the snowfall that stays on the roof in calm air. [-]
    blown : (float, float)
        Lost for each m/s of wind above `WIND_FROM`. [-]
    melt : (float, float)
        Melt for each degree and day above freezing. [kg/m^2]
    water : (float, float)
        Water held, as a share of the mass. [-]
    extinction : (float, float)
        Factor on that of the aid. [-]
    missed : (float, float)
        Share of what an open gauge misses in wind that the table still lacks: 0 where it is corrected for or
        the gauge stands sheltered; for water only, depth on a board misses nothing. [-]
    """

    caught: tuple[float, float] = (0.8, 1.0)
    blown: tuple[float, float] = (0.0, 0.08)
    melt: tuple[float, float] = (1.2, 3.0)
    water: tuple[float, float] = (0.02, 0.08)
    extinction: tuple[float, float] = (0.6, 1.5)
    missed: tuple[float, float] = (0.0, 1.0)


@dataclass(frozen=True)
class History:
    """Snow on one plane through time.

    Attributes
    ----------
    time : (n,) datetime64[s]
    load : (n, 3) float
        5, 50 and 95 % of the load per plan area. [Pa]
    depth : (n, 3) float
        The same of the depth, vertical. [m]
    density : (n, 3) float
        [kg/m^3]
    thaws : (n,) float
        Share of the samples whose bond thaws in the step, with snow enough to leave. [-]
    fallen, rained : float
        Water of all snow and rain, by the table. [kg/m^2]
    missed : float
        Water of the snow that an open gauge would have missed beside. [kg/m^2]
    """

    time: NDArray[np.datetime64]
    load: Array
    depth: Array
    density: Array
    thaws: Array
    fallen: float
    rained: float
    missed: float


@dataclass(frozen=True)
class Window:
    """A time in which the bond can let go: begin, end, and the largest share of samples that thaw."""

    begin: np.datetime64
    end: np.datetime64
    share: float


def fresh_density(temperature: Array) -> Array:
    """Of new snow by air temperature, 67.9 + 51.3 exp(t / 2.6), at most that at 0 degrees C. [kg/m^3]."""
    return np.asarray(67.92 + 51.25 * np.exp(np.minimum(temperature, 0.0) / 2.59))


def gauge_catch(temperature: Array, wind: Array) -> Array:
    """Share of the snow that an open gauge catches, exp(-a U (1 - atan(b T) + c)).

    Kochendorfer et al. 2017, unshielded gauge: a = 0.0785, b = 0.729, c = 0.407, wind up to 7.2 m/s (from
    memory); not below `LEAST_CATCH` (judgment). Air temperature [degrees C], wind at the gauge [m/s].
    """
    blow = np.clip(wind, 0.0, 7.2)
    catch = np.exp(-0.0785 * blow * (1.0 - np.arctan(0.729 * np.minimum(temperature, 2.0)) + 0.407))
    return np.asarray(np.clip(catch, LEAST_CATCH, 1.0))


def snow_history(
    weather: Weather,
    slope: float,
    aid: ThawAid,
    *,
    spread: Spread | None = None,
    samples: int = SAMPLES,
    seed: int = 1,
) -> History:
    """Snow that stays on a plane (held by its bond or by rows) through the weather.

    Parameters
    ----------
    weather : Weather
    slope : float
        [rad]
    aid : ThawAid
        What decides whether the bond thaws; its day is not used.
    spread : Spread, optional
    samples, seed : int
    """
    spread = spread or Spread()
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence([seed, 8])))

    def between(bounds: tuple[float, float]) -> Array:
        return rng.uniform(*bounds, samples)

    caught, blown, melt_rate, holds = (
        between(b) for b in (spread.caught, spread.blown, spread.melt, spread.water)
    )
    extinction = aid.extinction * between(spread.extinction)
    given = fresh_density(weather.temperature)
    fallen = np.where(
        np.isnan(weather.snow), np.nan_to_num(weather.depth) * given, np.nan_to_num(weather.snow)
    )
    whole_given = np.isnan(weather.snow) | weather.corrected
    catch = np.where(whole_given, 1.0, gauge_catch(weather.temperature, weather.wind))
    lacks = between(spread.missed)
    n = len(weather.time)
    ice, water, density = (np.zeros(samples) for _ in range(3))
    density += 100.0
    age = 0.0
    bands = np.zeros((3, n, 3))
    thaws = np.zeros(n)
    for i in range(n):  # one step after another, all samples at once
        step, t = float(weather.seconds[i]), float(weather.temperature[i])
        new = (
            fallen[i]
            * catch[i] ** -lacks
            * caught
            * np.clip(1.0 - blown * max(weather.wind[i] - WIND_FROM, 0.0), 0.2, 1.0)
        )
        whole = ice + new
        density = np.where(whole > 0.0, whole / np.maximum(ice / density + new / given[i], 1e-9), 100.0)
        ice = whole
        age = 0.0 if fallen[i] > 1.0 else age + step / DAY
        albedo = OLD_ALBEDO + (FRESH_ALBEDO - OLD_ALBEDO) * np.exp(-age / AGING)
        density = np.minimum(density * np.exp(_settling(ice + water, density, t) * step), LARGEST_DENSITY)
        shine = (1.0 - albedo) * weather.sun[i] * MELT_BY_SUN * step if t > 0.0 else 0.0
        melted = np.minimum(melt_rate * max(t, 0.0) * step / DAY + shine, ice)
        frozen = np.minimum(water, melt_rate * max(-t, 0.0) * step / DAY)
        ice = ice - melted + frozen
        water = np.minimum(water + melted - frozen + weather.rain[i], holds * ice)
        mass = ice + water
        depth = mass / np.maximum(density, 50.0)
        square = depth * np.cos(slope)
        through = np.exp(-extinction * square) * aid.taken_up
        heat = (1.0 - albedo) * weather.sun[i] * through + aid.roof_conductance * aid.inside
        resistance = square / conductivity(density) + 1.0 / SURFACE
        thaws[i] = np.mean((t + resistance * heat >= 0.0) & (mass > LEAST))
        for k, value in enumerate((mass * STANDARD_GRAVITY, depth, np.where(mass > 0.0, density, np.nan))):
            bands[k, i] = np.nanquantile(value, [0.05, 0.5, 0.95]) if np.any(mass > 0.0) else 0.0
    return History(
        weather.time, bands[0], bands[1], bands[2], thaws,
        float(fallen.sum()), float(weather.rain.sum()), float((fallen / catch - fallen).sum()),
    )  # fmt: skip


def _settling(mass: Array, density: Array, temperature: float) -> Array:
    """Rate of the density by weight above and by change of grains, at half the mass. [1/s]."""
    cold = max(-temperature, 0.0)
    weight = 0.01 * 0.5 * (mass / 10.0) * np.exp(-0.08 * cold) * np.exp(-21.0 * density / 1000.0)
    grains = 0.01 * np.exp(-0.04 * cold) * np.where(density > 150.0, np.exp(-0.046 * (density - 150.0)), 1.0)
    return np.asarray((weight + grains) / 3600.0)


def windows(history: History, least: float = 0.5, apart: float = 6.0 * 3600.0) -> tuple[Window, ...]:
    """Times in which at least so large a share of the samples thaws; nearer ones than `apart` [s] are one."""
    on = np.flatnonzero(history.thaws >= least)
    if not len(on):
        return ()
    time = history.time
    gap = np.diff(time[on]).astype("timedelta64[s]").astype(float)
    cut = np.flatnonzero((gap > apart) & (np.diff(on) > 1)) + 1
    return tuple(
        Window(time[part[0]], time[part[-1]], float(history.thaws[part].max())) for part in np.split(on, cut)
    )
