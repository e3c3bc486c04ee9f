"""Lines of sight that touch a wire, against the parabola of handbooks and a dense search."""

import numpy as np
import pytest

from corridor.geometry.catenary import greatest_sag, low_point
from corridor.geometry.sighting import sight_from


def wire(x, span, rise, constant):
    x0 = low_point(np.float64(span), np.float64(rise), np.float64(constant))
    return constant * (np.cosh((x - x0) / constant) - np.cosh(x0 / constant))


@pytest.mark.parametrize("rise", [0.0, 40.0, -25.0])
@pytest.mark.parametrize("share", [0.3, 1.0, 2.0])
def test_sight_touches_and_never_crosses(rise, share):
    """Looked for at 200,001 places: the line is nowhere above the wire, and somewhere within 0.01 mm of it."""
    span, constant = 380.0, 1500.0
    sag = float(greatest_sag(span, rise, constant))
    slope, far = (float(v) for v in sight_from(span, rise, constant, share * sag))
    x = np.linspace(0, span, 200_001)
    above = wire(x, span, rise, constant) - (slope * x - share * sag)
    assert above.min() == pytest.approx(0.0, abs=1e-5)
    assert far == pytest.approx(above[-1], abs=1e-9)
    # The parabola of handbooks: the roots of both settings make twice the root of the sag (common practice).
    assert np.sqrt(far) + np.sqrt(share * sag) == pytest.approx(2 * np.sqrt(sag), rel=4e-3)


def test_equal_settings_are_the_sag():
    """A line parallel to the chord touches at the maximum drop below it, in inclined spans, too."""
    span, constant, rise = 380.0, 1500.0, 60.0
    sag = float(greatest_sag(span, rise, constant))
    slope, far = (float(v) for v in sight_from(span, rise, constant, sag))
    assert far == pytest.approx(sag, abs=1e-9) and slope == pytest.approx(rise / span, abs=1e-12)


def test_too_deep_or_too_high_an_eye_sees_no_touch():
    assert np.isnan(sight_from(300.0, 0.0, 1500.0, [0.0, -1.0, 40.0])).all()
