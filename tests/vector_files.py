"""What tests of vector files share: writing a layer, and seeing an input refused in so many words."""

import warnings

import geopandas as gpd
import pytest

from corridor.errors import InputError


def write(path, columns, geometry, crs="EPSG:25832", layer="structures", **more):
    with warnings.catch_warnings():
        # A layer without CRS is meant, where there is none.
        warnings.filterwarnings("ignore", "'crs' was not provided")
        gpd.GeoDataFrame(columns, geometry=geometry, crs=crs).to_file(path, layer=layer, **more)
    return path


def refused(words, call, *args, **more):
    with pytest.raises(InputError) as error:
        call(*args, **more)
    for word in words:
        assert word in str(error.value)
