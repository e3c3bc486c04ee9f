"""Current from temperature, temperature from current, and both in time.

The wire has one temperature. In a large conductor of several layers at high current the core is
some kelvins hotter than the surface (IEEE Std 738 and CIGRE TB 601 both say so), and sag follows
the core.

Keywords that the functions share
---------------------------------
method : str
    A key of `METHODS`.
weather : Weather
diameter : array_like
    Outer diameter of the wire [m].
resistance : array_like or callable
    Alternating-current resistance at 20 degC [ohm/m], used as `R20 (1 + a (T - 20))` with
    `temperature_coefficient` a [1/K]; or a function of temperature [degC] and current [A] that
    gives [ohm/m] and does not fall when either rises, as `resistance.ac_resistance` with its
    keywords bound.
outer_wire_diameter : array_like or None
    Of the wires in the outermost layer [m], for CIGRE's roughness; None is a smooth surface, the
    cautious choice.

All raise `InputError` for an unknown method and for a diameter or resistance that is not positive.
Everything broadcasts, and what is not known (nan) makes nan.
"""

from functools import partial

import numpy as np

from corridor.errors import InputError
from corridor.thermal.balance import (
    METHODS,
    Weather,
    net_cooling,
    positive,
    resistance_function,
    root,
    within,
)

__all__ = [
    "MELTING",
    "METHODS",
    "Weather",
    "current_at",
    "emergency_current",
    "heat_capacity",
    "loss",
    "loss_at",
    "step_response",
    "temperature_at",
]

#: Melting point of aluminium [degC]: no wire is hotter, and no answer either.
MELTING = 660.0

#: Errors within which a temperature [K] and an emergency current [A] are solved for.
TEMPERATURE_TOLERANCE, CURRENT_TOLERANCE = 1e-6, 1e-3

#: Time step of a step response, as a share of the shortest time constant [-].
STEP_SHARE = 0.1


def current_at(
    method, temperature, weather, *, diameter, resistance, temperature_coefficient=0.00403,
    outer_wire_diameter=None,
):
    """Steady current [A] that holds a wire at a temperature [degC].

    Returns
    -------
    float or ndarray
        `I = sqrt((Pc + Pr - Ps) / R(T, I))`; 0 where the wire is hotter without any current.

    Examples
    --------
    >>> summer = Weather(ambient=40, wind_speed=0.61, wind_angle=90, emissivity=0.8,
    ...                  absorptivity=0.8, solar=998, elevation=0)
    >>> wire = dict(diameter=0.02812, resistance=9.3905e-5, temperature_coefficient=0)
    >>> float(current_at("ieee738", 100.0, summer, **wire).round())
    1025.0
    >>> float(current_at("ieee738", 45.0, summer, **wire))
    0.0
    """
    T = np.asarray(temperature, float)
    P = np.maximum(net_cooling(method, weather, diameter, outer_wire_diameter)(T), 0.0)
    R = resistance_function(resistance, temperature_coefficient)
    current = np.sqrt(P / R(T, np.zeros_like(P)))
    # a core's magnetisation makes R depend weakly on I: every round adds about a digit
    for _ in range(30):
        current, before = np.sqrt(P / R(T, current)), current
        if not np.any(np.abs(current - before) > 1e-12 * current):
            break
    return current[()]


def temperature_at(
    method, current, weather, *, diameter, resistance, temperature_coefficient=0.00403,
    outer_wire_diameter=None,
):
    """Steady temperature [degC] of a wire that carries a current [A], within 1e-6 K.

    Returns
    -------
    float or ndarray
        The root of `Pc + Pr - Ps - I^2 R(T, I)`; inf where even melting aluminium (660 degC) does
        not shed the heat: more than any limit, never a pass.

    Examples
    --------
    >>> summer = Weather(ambient=40, wind_speed=0.61, wind_angle=90, emissivity=0.8,
    ...                  absorptivity=0.8, solar=998, elevation=0)
    >>> wire = dict(diameter=0.02812, resistance=7.142e-5, temperature_coefficient=0.00393)
    >>> temperature_at("ieee738", [0.0, 1000.0, 1e5], summer, **wire).round(0)
    array([52., 97., inf])
    """
    current = np.asarray(current, float)
    cooling = net_cooling(method, weather, diameter, outer_wire_diameter)
    R = resistance_function(resistance, temperature_coefficient)

    def surplus(T):
        return cooling(T) - current**2 * R(T, current)

    at_air = surplus(weather.ambient)
    low, high = np.broadcast_to(weather.ambient, at_air.shape), np.full(at_air.shape, MELTING)
    T = root(surplus, low, high, tolerance=TEMPERATURE_TOLERANCE)
    return np.where(surplus(high) < 0, np.inf, T)[()]


def heat_capacity(
    outer_mass, core_mass=0.0, *, outer_specific_heat=955.0, core_specific_heat=476.0
):
    """Heat that warms a metre of wire by a kelvin [J/(m K)], from the masses of its parts [kg/m].

    The defaults are the specific heats of aluminium and steel [J/(kg K)] in IEEE Std 738, recalled.
    CIGRE has 897 for aluminium: the wire then heats sooner.

    Examples
    --------
    >>> round(heat_capacity(1.116, 0.5119))
    1309
    """
    return outer_mass * outer_specific_heat + core_mass * core_specific_heat


def _ascending(times):
    times = np.asarray(times, float)
    gaps = np.diff(np.ravel(times), prepend=0.0)
    if times.ndim > 1 or not times.size or not np.all(np.isfinite(gaps) & (gaps >= 0)):
        accepted = "one row of times [s], from 0 upward, none falling"
        raise InputError(None, "times", str(times), accepted)
    return times, gaps


def _time_step(cooling, temperatures, mc):
    """Step [s] that follows the quickest wire: steepest cooling at either end, least capacity."""
    slopes = [np.ravel(cooling(T + 0.5) - cooling(T - 0.5)) for T in temperatures]
    # fmax and fmin pass over nan, whose wires stay nan whatever the step
    steepest = np.fmax.reduce(np.concatenate(slopes), initial=1e-6)
    return STEP_SHARE * np.fmin.reduce(np.ravel(mc), initial=1e6) / steepest


def _advance(rate, T, gap, step):
    """Temperature a time `gap` [s] later: classical Runge-Kutta of fourth order."""
    count = max(int(np.ceil(gap / step)), 1)
    h = gap / count
    for _ in range(count):
        k1 = rate(T)
        k2 = rate(T + h / 2 * k1)
        k3 = rate(T + h / 2 * k2)
        T = np.minimum(T + h / 6 * (k1 + 2 * k2 + 2 * k3 + rate(T + h * k3)), MELTING)
    return T


def step_response(
    method, current, times, weather, *, initial_temperature, heat_capacity, diameter, resistance,
    temperature_coefficient=0.00403, outer_wire_diameter=None,
):
    """Temperature [degC] at times after the current jumps to a new constant value.

    Parameters
    ----------
    current : array_like
        From time 0 on [A].
    times : array_like, shape (n,) or ()
        After the jump [s], from 0 upward, none falling.
    initial_temperature : array_like
        At time 0 [degC]; `temperature_at` gives that of a pre-load.
    heat_capacity : array_like
        [J/(m K)], see `heat_capacity`.

    Returns
    -------
    float or ndarray, shape (..., n)
        Times last; inf from where aluminium melts (660 degC).

    Examples
    --------
    >>> still = Weather(ambient=40, wind_speed=0, wind_angle=90, emissivity=0.5, absorptivity=0.5,
    ...                 solar=0, elevation=0)
    >>> wire = dict(diameter=0.02812, resistance=7.1e-5, heat_capacity=1309)
    >>> step_response("ieee738", 0, [0, 600, 1e6], still, initial_temperature=80, **wire).round(1)
    array([80. , 65.6, 40. ])
    """
    times, gaps = _ascending(times)
    mc = positive("heat_capacity", heat_capacity, "J/(m K)")
    cooling = net_cooling(method, weather, diameter, outer_wire_diameter)
    R = resistance_function(resistance, temperature_coefficient)
    wire = dict(diameter=diameter, resistance=R, outer_wire_diameter=outer_wire_diameter)
    current, start = np.asarray(current, float), np.asarray(initial_temperature, float)
    end = np.minimum(temperature_at(method, current, weather, **wire), MELTING)

    def rate(T):
        T = np.minimum(T, MELTING)  # a wild trial step must not leave the range of the formulas
        return (current**2 * R(T, current) - cooling(T)) / mc

    T = start + np.zeros(np.shape(rate(start)))
    step, rows = _time_step(cooling, (np.minimum(start, MELTING), end), mc), []
    for gap in gaps:
        T = _advance(rate, T, gap, step)
        rows.append(T)
    response = np.stack(rows, axis=-1).reshape((*np.shape(T), *times.shape))
    return np.where(response >= MELTING, np.inf, response)[()]


def emergency_current(
    method, temperature, duration, weather, *, pre_load, heat_capacity, diameter, resistance,
    temperature_coefficient=0.00403, outer_wire_diameter=None,
):
    """Constant current [A] that brings a wire to a temperature [degC] just when a duration ends.

    The wire starts steady at its pre-load, in the same weather.

    Parameters
    ----------
    temperature : array_like
        Not to be passed within the duration [degC], below 660.
    duration : array_like
        [s], more than 0.
    pre_load : array_like
        Current before [A].
    heat_capacity : array_like
        [J/(m K)], see `heat_capacity`.

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
    >>> wire = dict(diameter=0.02812, resistance=7.142e-5, heat_capacity=1309)
    >>> args = 900.0, summer
    >>> float(emergency_current("ieee738", 111.37, *args, pre_load=800, **wire).round(-1))
    1200.0
    """
    T = within("temperature", temperature, -90.0, MELTING - 1, "degC")
    mc = positive("heat_capacity", heat_capacity, "J/(m K)") / positive("duration", duration, "s")
    R = resistance_function(resistance, temperature_coefficient)
    wire = dict(diameter=diameter, resistance=R, outer_wire_diameter=outer_wire_diameter)
    T0 = temperature_at(method, pre_load, weather, **wire)
    Iss = current_at(method, T, weather, **wire)
    hot = T0 >= T
    T0 = np.where(hot, T, T0)
    # time is counted in durations, so that every wire ends at 1
    respond = partial(step_response, method, times=1.0, weather=weather, initial_temperature=T0,
                      heat_capacity=mc, **wire)
    high = np.sqrt((Iss**2 * R(T, Iss) + mc * (T - T0)) / R(T0, Iss))
    found = root(lambda current: np.minimum(respond(current), MELTING) - T,
                 Iss + 0 * high, high, tolerance=CURRENT_TOLERANCE)
    return np.where(hot, 0.0, found)[()]


def loss(current, resistance, *, conductors=3):
    """Power lost per metre of line [W/m]: `n I^2 R`.

    `resistance` [ohm/m] is that at the temperature which this current [A] makes, see `loss_at`.

    Examples
    --------
    >>> round(loss(500.0, 8e-5), 6)
    60.0
    """
    return conductors * current**2 * resistance


def loss_at(
    method, current, weather, *, conductors=3, diameter, resistance,
    temperature_coefficient=0.00403, outer_wire_diameter=None,
):
    """Power lost per metre of line [W/m], each current at its own temperature: `n I^2 R(T(I), I)`.

    Arguments as in `temperature_at`; inf where the wire would melt. Over a load-duration curve, or
    hours, weigh the results, not the currents.

    Examples
    --------
    >>> mild = Weather(ambient=15, wind_speed=2, wind_angle=90, emissivity=0.8, absorptivity=0.8,
    ...                solar=0, elevation=0)
    >>> loss_at("cigre601", [250.0, 500.0], mild, diameter=0.028, resistance=7.2e-5).round(1)
    array([13.3, 54.4])
    """
    R = resistance_function(resistance, temperature_coefficient)
    current, wire = np.asarray(current, float), dict(diameter=diameter, resistance=R)
    T = temperature_at(method, current, weather, outer_wire_diameter=outer_wire_diameter, **wire)
    lost = loss(current, R(np.minimum(T, MELTING), current), conductors=conductors)
    return np.where(np.isinf(T), np.inf, lost)[()]
