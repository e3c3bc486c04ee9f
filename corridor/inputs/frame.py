"""The working frame: one projected grid in metres on which the whole corridor is computed.

Grid lengths are not ground lengths. On a grid with point scale k (grid per ellipsoid length), at a
height h above the ellipsoid of radius R, a grid length s is s / k (1 + h / R) on the ground. On a
UTM grid that is 0.12 m in a span of 300 m, as much as twenty degrees of conductor temperature do to
its slack."""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import shapely
from pyproj import CRS, Proj, Transformer
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion
from pyproj.crs.coordinate_system import Cartesian2DCS
from pyproj.exceptions import CRSError, ProjError

from corridor.constants import EARTH_RADIUS
from corridor.errors import InputError

__all__ = ["Frame", "choose_frame", "horizontal", "read_crs", "vertical", "vertical_factor"]

#: Greatest departure of the point scale from one, in any direction along the line, of a grid to
#: work in of itself, or among surveyed points and surfaces, which are looked through in the grid [-].
LOW_DISTORTION = 0.002
#: The same of a grid that the study names for lines of several zones, or of one made for them [-].
WIDE_DISTORTION = 0.006
#: Greatest difference of the scale between directions [-]: distances to the side of a span take the scale
#: along it, and are off by this, 6 mm in 30 m.
_ANISOTROPY = 2e-4
#: Why less than that will do.
_AMONG_POINTS = " (of a study with point clouds or a surface)"
#: Accuracy of a change of datum above which it is worth a word [m].
_COARSE = 0.5
#: Shapes longer than this have another scale at one end than at the other [m].
_LONG = 1000.0
#: Length of the step over which the scale is taken [m]: short for the change of scale, long for
#: rounding (1e-10).
_STEP = 100.0


@dataclass(frozen=True)
class Frame:
    """A projected grid in metres, axes to the east and to the north.

    `crs` is horizontal only; `name` says in words which grid it is, `reason` why it was taken.
    """

    crs: CRS
    name: str
    reason: str

    @cached_property
    def _projection(self):
        return Proj(self.crs)

    @cached_property
    def _geodesics(self):
        return self.crs.get_geod()

    def scale(self, easting, northing, azimuth):
        """Return the point scale: grid length per ellipsoid length in a direction [-].

        Parameters
        ----------
        easting, northing : array_like
            Place in the grid [m].
        azimuth : array_like
            Direction in the grid, clockwise from grid north [deg]; broadcasts with the place.

        Notes
        -----
        The grid length of a step over the length of the geodesic between its ends. A projection's
        own factors are not asked: for a sphere in an ellipsoid's place (pseudo-Mercator) they tell
        of the sphere, and for a prime meridian other than Greenwich of the wrong place."""
        east, north = (
            _STEP / 2 * np.sin(np.radians(azimuth)),
            _STEP / 2 * np.cos(np.radians(azimuth)),
        )
        e, n, east, north = np.broadcast_arrays(easting, northing, east, north)
        tail = self._projection(e - east, n - north, inverse=True)
        head = self._projection(e + east, n + north, inverse=True)
        return _STEP / self._geodesics.inv(*tail, *head)[2]

    def ground_factor(self, e0, n0, e1, n1, mean_elevation):
        """Return ground length over grid length of straight segments [-], shape (n,).

        Parameters
        ----------
        e0, n0, e1, n1 : array_like, shape (n,)
            Ends in the grid [m].
        mean_elevation : array_like, shape (n,)
            Mean elevation of the ends [m]. The geoid's height above the ellipsoid (up to 0.1 km, so
            up to 2e-5 of a length) is not known here and left out.

        Notes
        -----
        Simpson's rule of 1 / k over both ends and the middle, times (1 + h / R).
        """
        e0, n0, e1, n1 = (np.asarray(v, float) for v in (e0, n0, e1, n1))
        azimuth = np.degrees(np.arctan2(e1 - e0, n1 - n0))
        weights = ((0.0, 1), (0.5, 4), (1.0, 1))
        inverse = sum(
            w / self.scale(e0 + t * (e1 - e0), n0 + t * (n1 - n0), azimuth) for t, w in weights
        )
        return inverse / 6 * (1 + np.asarray(mean_elevation, float) / EARTH_RADIUS)

    def widen(self, radius, geometry):
        """Return radii on the ground [m] as they count in the grid: never less than there, nan where not known.

        Parameters
        ----------
        radius : ndarray, shape (n,)
        geometry : ndarray of shapely geometries, shape (n,)
            In the grid.
        """
        wide = np.flatnonzero(radius > 0)
        box = shapely.bounds(geometry[wide])
        wide, box = wide[np.isfinite(box).all(axis=1)], box[np.isfinite(box).all(axis=1)]
        result = np.array(radius, float)
        scale = np.fmax(self.scale(*(box[:, :2] + box[:, 2:]).T / 2, 0.0), 1.0)
        # Along what is long the scale changes; lines are only where it is near one.
        long = np.hypot(*(box[:, 2:] - box[:, :2]).T) > _LONG
        corner = self.scale(box[long][:, [0, 0, 2, 2]], box[long][:, [1, 3, 1, 3]], 0.0)
        scale[long] = np.fmax(scale[long], np.nan_to_num(corner, nan=np.inf).max(axis=1, initial=1.0))
        result[wide] *= np.minimum(scale, 1 + WIDE_DISTORTION)
        return result

    def words_on_scale(self, line, easting, northing):
        """Return what is to be said of lines whose grid lengths are far from those on the ground.

        Parameters
        ----------
        line : ndarray of str, shape (structure,)
        easting, northing : ndarray, shape (structure,)
        """
        off = np.abs(self.scale(easting, northing, 0.0) - 1)
        far = off >= LOW_DISTORTION
        names = list(dict.fromkeys(line[far].tolist()))
        if not names:
            return ()
        named = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
        return (f"coordinates of the findings are those of {self.name}, whose lengths are off by up to "
                f"{off.max():.2%} at {named}: spans and distances are corrected for it, lengths "
                "that are measured between coordinates are not",)

    def transform_points(self, x, y, source_crs):
        """Return easting and northing [m] of positions in another CRS, x to the east or longitude
        first; those of the frame's own as they are."""
        x, y = np.asarray(x, float), np.asarray(y, float)
        if horizontal(source_crs) == self.crs:
            return x, y
        e, n = transformer(horizontal(source_crs), self.crs).transform(x, y)
        return np.asarray(e), np.asarray(n)

    def transform(self, geometries, source_crs):
        """Return geometries of another CRS in the frame; Z is passed on untouched.

        Parameters
        ----------
        geometries : ndarray of shapely geometries, missing ones allowed
        source_crs : pyproj CRS

        Returns
        -------
        ndarray of shapely geometries
            Positions that have no image get infinite coordinates.
        """
        result = np.array(geometries, dtype=object)
        solid = shapely.has_z(result)
        for has_z in (False, True):
            chosen = (solid == has_z) & ~shapely.is_missing(result)
            xyz = shapely.get_coordinates(result[chosen], include_z=has_z)
            xyz[:, 0], xyz[:, 1] = self.transform_points(xyz[:, 0], xyz[:, 1], source_crs)
            result[chosen] = shapely.set_coordinates(result[chosen].copy(), xyz)
        return result

    def caution(self, source_crs, longitude, latitude):
        """Return what is to be said of the change of datum from another CRS near a place, or None.

        `longitude`, `latitude` [deg] are of one position on the way.
        """
        source = horizontal(source_crs)
        if _of_one_datum(source, self.crs):
            return None
        change = transformer(source, self.crs)
        x, y = Transformer.from_crs("EPSG:4326", source, always_xy=True).transform(
            longitude, latitude
        )
        change.transform(x, y)
        try:
            accuracy = change.get_last_used_operation().accuracy
        except ProjError:
            # The one operation that there is was chosen from no others.
            accuracy = change.accuracy
        if accuracy <= _COARSE:
            return None
        return (
            f"positions in {source.name} were moved to {self.name} "
            f"with an accuracy of {accuracy:g} m"
        )


def read_crs(text, file, where):
    """Return a pyproj CRS from a code, WKT or any text that names one, or None from None.

    Raises
    ------
    InputError
        No CRS is known by that text.
    """
    if text is None or isinstance(text, CRS):
        return text
    try:
        return CRS.from_user_input(text)
    except CRSError:
        raise InputError(
            file, where, f"{text!r}", "a coordinate reference system, such as 'EPSG:25832'"
        ) from None


def horizontal(crs):
    """Return the horizontal part of a CRS: a compound one without its heights, a 3D one without its
    third axis."""
    if crs.is_compound:
        return horizontal(crs.sub_crs_list[0])
    return crs.to_2d() if len(crs.axis_info) == 3 else crs


def vertical(crs):
    """Return the vertical part of a compound CRS, or None."""
    return crs.sub_crs_list[-1] if crs.is_compound else None


def vertical_factor(crs):
    """Return metres per unit of the height axis of a compound or 3D CRS, negative for depths; or
    None."""
    axes = [a for a in crs.axis_info if a.direction in ("up", "down")]
    return (
        axes[0].unit_conversion_factor * (1 if axes[0].direction == "up" else -1) if axes else None
    )


@lru_cache(maxsize=256)
def _of_one_datum(one, other):
    return one.geodetic_crs.datum == other.geodetic_crs.datum


@lru_cache(maxsize=256)
def transformer(source, target):
    """Return the transformer between two horizontal CRS, longitude or easting first.

    Raises
    ------
    InputError
        The datums cannot be tied without a grid that is not installed: positions would be off by up
        to hundreds of metres, and nothing would show it.
    """
    try:
        return Transformer.from_crs(source, target, always_xy=True, allow_ballpark=False)
    except ProjError:
        raise InputError(
            None,
            "crs",
            f"{source.name}, from which no known operation leads to {target.name}",
            "a CRS on the same datum",
            "reproject the file first",
        ) from None


def choose_frame(requested, structures_crs, longitude, latitude, *, wide=True):
    """Return the grid to work in.

    Parameters
    ----------
    requested : str, pyproj CRS or None
        What the study asks for.
    structures_crs : pyproj CRS
    longitude, latitude : ndarray, shape (structure,)
        Of the structures, on WGS 84 [deg].
    wide : bool
        Whether a grid over several zones will do, whose scale is up to 0.006 off one.

    Returns
    -------
    Frame
        The one asked for; else that of the structures, where it is projected and low-distortion
        along the line (in metres, if its own unit is another); else a local transverse Mercator on
        their datum.

    Raises
    ------
    InputError
        The one asked for cannot be worked in, or the structures spread too far for any.
    """
    most = WIDE_DISTORTION if wide else LOW_DISTORTION
    if requested is not None:
        crs = horizontal(read_crs(requested, None, "study.crs"))
        reason = _unfit(crs, longitude, latitude, most)
        if reason:
            raise InputError(
                None,
                "study.crs",
                f"{crs.name}, which is {reason}",
                "a projected CRS in metres, to the east and north, whose scale is within "
                f"{most:g} of one along the line{'' if wide else _AMONG_POINTS}, the same in all directions",
                "leave study.crs out",
            )
        return Frame(crs, crs.name, "the study asks for it")
    own = horizontal(structures_crs)
    metric = _in_metres(own)
    if not _unfit(metric, longitude, latitude):
        return Frame(
            metric,
            metric.name,
            "the structures are given in it"
            if metric is own
            else "the structures are given in it, in another unit",
        )
    reason = _unfit(own, longitude, latitude)
    return _local(own, longitude, latitude, f"{own.name}, the CRS of the structures, is {reason}", most)


def _unfit(crs, longitude, latitude, most=LOW_DISTORTION):
    """Return why a CRS cannot be worked in, or None; `most` the distortion that will do."""
    if not crs.is_projected:
        return "not projected"
    if any(abs(axis.unit_conversion_factor - 1) > 1e-12 for axis in crs.axis_info):
        return "not in metres"
    if {axis.direction for axis in crs.axis_info} != {"east", "north"}:
        return "not counted to the east and north"
    distortion, uneven = _distortion(crs, longitude, latitude)
    if distortion >= most:
        return f"distorted by {distortion:.2g} along the line"
    return None if uneven < _ANISOTROPY else f"distorted by {uneven:.2g} more one way than another"


def _distortion(crs, longitude, latitude):
    """Greatest |scale - 1| in four directions at any of the places, and greatest difference between directions at one;
    infinite where a place has no image."""
    change = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    e, n = (v[:, None] for v in change.transform(np.atleast_1d(longitude), np.atleast_1d(latitude)))
    if not np.isfinite(e + n).all():
        return np.inf, np.inf
    scale = Frame(crs, "", "").scale(e, n, [0.0, 45.0, 90.0, 135.0])
    return np.abs(scale - 1).max(), np.ptp(scale, axis=1).max()


def _in_metres(crs):
    """The same projection counted in metres to the east and north; the CRS itself where it is so
    already."""
    if not crs.is_projected or all(
        abs(a.unit_conversion_factor - 1) < 1e-12 for a in crs.axis_info
    ):
        return crs
    return ProjectedCRS(
        crs.coordinate_operation,
        geodetic_crs=crs.geodetic_crs,
        cartesian_cs=Cartesian2DCS(),
        name=f"{crs.name}, in metres",
    )


def _local(source, longitude, latitude, reason, most):
    geodetic = horizontal(source.geodetic_crs)
    # The line may lie across the antimeridian: the mean of directions, not of numbers.
    lon = np.degrees(np.angle(np.exp(1j * np.radians(longitude)).mean())).round(2)
    lat = np.mean([np.min(latitude), np.max(latitude)]).round(2)
    meridian = geodetic.prime_meridian
    shift = meridian.longitude * np.degrees(meridian.unit_conversion_factor) if meridian else 0.0
    name = (
        f"local transverse Mercator on {geodetic.name}, centred on the line at "
        f"{abs(lat):.2f} {'N' if lat >= 0 else 'S'} {abs(lon):.2f} {'E' if lon >= 0 else 'W'}"
    )
    conversion = TransverseMercatorConversion(
        float(lat), float(lon - shift), scale_factor_natural_origin=1.0
    )
    crs = ProjectedCRS(conversion, geodetic_crs=geodetic, cartesian_cs=Cartesian2DCS(), name=name)
    if _unfit(crs, longitude, latitude, most):
        raise InputError(
            None,
            "structures",
            "structures too far apart for one grid",
            f"lines within some {EARTH_RADIUS * np.sqrt(2 * most) / 1e3:.0f} km east and west of their middle"
            + ("" if most == WIDE_DISTORTION else _AMONG_POINTS),
            "one study per region",
        )
    return Frame(crs, name, reason)
