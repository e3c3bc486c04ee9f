"""Current from temperature, temperature from current, and both in time.

The wire has one temperature. In a large conductor of several layers at high current the core is
some kelvins hotter than the surface (IEEE Std 738 and CIGRE TB 601 both say so), and sag follows
the core.

`method` is a key of `METHODS`, `weather` a `Weather`, `wire` a `Wire`, everywhere.

All raise `InputError` for an unknown method and for a diameter that is not positive.
Everything broadcasts, and what is not known (nan) makes nan.
"""

from collections.abc import Callable

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.errors import InputError
from corridor.thermal.balance import METHODS, Resistance, Weather, Wire, net_cooling, positive, root, within

__all__ = [
    "MELTING",
    "METHODS",
    "Weather",
    "Wire",
    "current_at",
    "emergency_current",
    "loss",
    "step_response",
    "temperature_at",
]

#: Melting point of aluminium [°C]: no wire is hotter, and no answer either.
MELTING = 660.0

#: Errors within which a temperature [K] and an emergency current [A] are solved for.
TEMPERATURE_TOLERANCE, CURRENT_TOLERANCE = 1e-6, 1e-3

#: Time step of a step response, as a share of the shortest time constant [-].
STEP_SHARE = 0.1


def current_at(method: str, temperature: ArrayLike, weather: Weather, wire: Wire) -> Array:
    """Steady current [A] that holds a wire at a temperature [°C].

    Returns
    -------
    float or ndarray
        `I = sqrt((Pc + Pr - Ps) / R(T, I))`; 0 where the wire is hotter without any current.

    Examples
    --------
    >>> summer = Weather(ambient=40, wind_speed=0.61, wind_angle=90, emissivity=0.8,
    ...                  absorptivity=0.8, solar=998, elevation=0)
    >>> wire = Wire(0.02812, lambda T, I: 9.3905e-5 + 0 * T)
    >>> float(current_at("ieee738", 100.0, summer, wire).round())
    1025.0
    >>> float(current_at("ieee738", 45.0, summer, wire))
    0.0
    """
    T, R = np.asarray(temperature, np.float64), wire.resistance
    P = np.maximum(net_cooling(method, weather, wire)(T), 0.0)
    current = np.sqrt(P / R(T, np.zeros_like(P)))
    # a core's magnetisation makes R depend weakly on I: every round adds about a digit
    for _ in range(30):
        current, before = np.sqrt(P / R(T, current)), current
        if not np.any(np.abs(current - before) > 1e-12 * current):
            break
    return current


def temperature_at(method: str, current: ArrayLike, weather: Weather, wire: Wire) -> Array:
    """Steady temperature [°C] of a wire that carries a current [A], within 1e-6 K.

    Returns
    -------
    float or ndarray
        The root of `Pc + Pr - Ps - I^2 R(T, I)`; inf where even melting aluminium (660 °C) does
        not shed the heat: more than any limit, never a pass.

    Examples
    --------
    >>> summer = Weather(ambient=40, wind_speed=0.61, wind_angle=90, emissivity=0.8,
    ...                  absorptivity=0.8, solar=998, elevation=0)
    >>> wire = Wire(0.02812, lambda T, I: 7.142e-5 * (1 + 0.00393 * (T - 20)))
    >>> temperature_at("ieee738", [0.0, 1000.0, 1e5], summer, wire).round(0)
    array([52., 97., inf])
    """
    I, R = np.asarray(current, np.float64), wire.resistance  # noqa: E741
    cooling = net_cooling(method, weather, wire)

    def surplus(T: Array) -> Array:
        return cooling(T) - I**2 * R(T, I)

    at_air = surplus(weather.ambient)
    low, high = np.broadcast_to(weather.ambient, at_air.shape), np.full(at_air.shape, MELTING)
    T = root(surplus, low, high, tolerance=TEMPERATURE_TOLERANCE)
    return np.where(surplus(high) < 0, np.inf, T)[()]


def _ascending(given: ArrayLike) -> tuple[Array, Array]:
    """Times, and the gap before each."""
    times = np.asarray(given, np.float64)
    gaps = np.diff(np.ravel(times), prepend=0.0)
    if times.ndim > 1 or not times.size or not np.all(np.isfinite(gaps) & (gaps >= 0)):
        accepted = "one row of times [s], from 0 upward, none falling"
        raise InputError(None, "times", str(times), accepted)
    return times, gaps


def _time_step(cooling: Callable[[Array], Array], temperatures: tuple[Array, Array], mc: Array) -> float:
    """Step [s] that follows the quickest wire: steepest cooling at either end, least capacity."""
    slopes = [np.ravel(cooling(T + 0.5) - cooling(T - 0.5)) for T in temperatures]
    # fmax and fmin pass over nan, whose wires stay nan whatever the step
    steepest = np.fmax.reduce(np.concatenate(slopes), initial=1e-6)
    return STEP_SHARE * np.fmin.reduce(np.ravel(mc), initial=1e6) / steepest


def _advance(rate: Callable[[Array], Array], T: Array, gap: float, step: float) -> Array:
    """Temperature a time `gap` [s] later: classical Runge-Kutta of fourth order."""
    count = max(int(np.ceil(gap / step)), 1)
    h = gap / count
    for _ in range(count):
        k1 = rate(T)
        k2 = rate(T + h / 2 * k1)
        k3 = rate(T + h / 2 * k2)
        T = np.minimum(T + h / 6 * (k1 + 2 * k2 + 2 * k3 + rate(T + h * k3)), MELTING)
    return T


def step_response(method: str, current: ArrayLike, times: ArrayLike, weather: Weather, wire: Wire, *,
                  initial_temperature: ArrayLike, heat_capacity: ArrayLike) -> Array:
    """Temperature [°C] at times after the current jumps to a new constant value.

    Parameters
    ----------
    current : array_like
        From time 0 on [A].
    times : array_like, shape (n,) or ()
        After the jump [s], from 0 upward, none falling.
    initial_temperature : array_like
        At time 0 [°C]; `temperature_at` gives that of a pre-load.
    heat_capacity : array_like
        Heat that warms a metre of wire by a kelvin [J/(m K)].

    Returns
    -------
    float or ndarray, shape (..., n)
        Times last; inf from where aluminium melts (660 °C).

    Examples
    --------
    >>> still = Weather(ambient=40, wind_speed=0, wind_angle=90, emissivity=0.5, absorptivity=0.5,
    ...                 solar=0, elevation=0)
    >>> wire = Wire(0.02812, lambda T, I: 7.1e-5 * (1 + 0.00403 * (T - 20)))
    >>> step_response("ieee738", 0, [0, 600, 1e6], still, wire, initial_temperature=80, heat_capacity=1309).round(1)
    array([80. , 65.6, 40. ])
    """
    at, gaps = _ascending(times)
    mc = positive("heat_capacity", heat_capacity, "J/(m K)")
    cooling, R = net_cooling(method, weather, wire), wire.resistance
    I, start = np.asarray(current, np.float64), np.asarray(initial_temperature, np.float64)  # noqa: E741
    end = np.minimum(temperature_at(method, I, weather, wire), MELTING)

    def rate(T: Array) -> Array:
        T = np.minimum(T, MELTING)  # a wild trial step must not leave the range of the formulas
        return (I**2 * R(T, I) - cooling(T)) / mc

    T = start + np.zeros(np.shape(rate(start)))
    step, rows = _time_step(cooling, (np.minimum(start, MELTING), end), mc), []
    for gap in gaps:
        T = _advance(rate, T, gap, step)
        rows.append(T)
    response = np.stack(rows, axis=-1).reshape((*np.shape(T), *at.shape))
    return np.where(response >= MELTING, np.inf, response)[()]


def emergency_current(method: str, temperature: ArrayLike, duration: ArrayLike, weather: Weather, wire: Wire, *,
                      pre_load: ArrayLike, heat_capacity: ArrayLike) -> Array:
    """Constant current [A] that brings a wire to a temperature [°C] just when a duration ends.

    The wire starts steady at its pre-load, in the same weather.

    Parameters
    ----------
    temperature : array_like
        Not to be passed within the duration [°C], below 660.
    duration : array_like
        [s], more than 0.
    pre_load : array_like
        Current before [A].
    heat_capacity : array_like
        Heat that warms a metre of wire by a kelvin [J/(m K)].

    Returns
    -------
    float or ndarray
        Within 1e-3 A; 0 where the pre-load has the wire at or above the temperature already.

    Notes
    -----
    `I` lies between the steady current `Iss`, which takes for ever, and the one that would do it
    with as much cooling all along as at the end:
    `I^2 = Iss^2 R(T)/R(T0) + m c (T - T0) / (t R(T0))`, with `R` at `Iss`.

    Examples
    --------
    >>> summer = Weather(ambient=40, wind_speed=0.61, wind_angle=90, emissivity=0.5,
    ...                  absorptivity=0.5, solar=998, elevation=0)
    >>> wire = Wire(0.02812, lambda T, I: 7.142e-5 * (1 + 0.00403 * (T - 20)))
    >>> current = emergency_current("ieee738", 111.37, 900.0, summer, wire, pre_load=800, heat_capacity=1309)
    >>> float(current.round(-1))
    1200.0
    """
    T = within("temperature", temperature, -90.0, MELTING - 1, "°C")
    mc = positive("heat_capacity", heat_capacity, "J/(m K)") / positive("duration", duration, "s")
    R = wire.resistance
    Iss, T0 = current_at(method, T, weather, wire), temperature_at(method, pre_load, weather, wire)
    hot = T0 >= T
    T0 = np.where(hot, T, T0)

    def end(current: Array) -> Array:
        # time is counted in durations, so that every wire ends at 1
        return np.minimum(step_response(method, current, 1.0, weather, wire, initial_temperature=T0,
                                        heat_capacity=mc), MELTING)

    high = np.sqrt((Iss**2 * R(T, Iss) + mc * (T - T0)) / R(T0, Iss))
    found = root(lambda current: end(current) - T, Iss + 0 * high, high, tolerance=CURRENT_TOLERANCE)
    return np.where(hot, 0.0, found)[()]


def loss(current: ArrayLike, temperature: ArrayLike, resistance: Resistance, conductors: int = 3) -> Array:
    """Power lost per metre of line [W/m]: `n I^2 R(T, I)`, inf where the wire would melt.

    `temperature` [°C] is that which this current [A] makes, as `temperature_at` gives it. Over a load-duration curve,
    or hours, weigh the results, not the currents.

    Examples
    --------
    >>> loss([250.0, 500.0], [20.0, np.inf], lambda T, I: 8e-5 + 0 * T)
    array([15., inf])
    """
    I, T = np.asarray(current, np.float64), np.asarray(temperature, np.float64)  # noqa: E741
    return np.where(np.isinf(T), np.inf, conductors * I**2 * resistance(np.minimum(T, MELTING), I))[()]
