"""What each rating costs, drawn: least cost against the current that the line then carries."""

import numpy as np

from corridor.outputs.drawings.style import drawn, pens, save

__all__ = ["draw_cost_curve"]


def draw_cost_curve(path, points, option, currency):
    """Draw the least cost of each point, and write it.

    Parameters
    ----------
    path : path
    points : sequence of (temperature [°C], current [A], cost)
        Current nan where no weather is given: then the temperature stands for it. Cost nan where there is no plan.
    option, currency : str
        Its name, for the title, and what costs are in.
    """
    T, current, cost = np.array(points, float).T
    rated = np.isfinite(current).all()
    x = current if rated else T
    known = np.isfinite(cost)
    pen = pens(1)[0]
    with drawn(6.4, 3.8) as (figure, panels):
        axes = panels[0, 0]
        axes.plot(x[known], cost[known], **pen)
        top = max(cost[known].max(initial=0.0), 1.0)
        for place, temperature, height in zip(x, T, cost, strict=True):
            axes.annotate(f"{temperature:.0f} °C", (place, height if np.isfinite(height) else 0), xytext=(-5, 5),
                          textcoords="offset points", ha="right", fontsize=8)
        axes.plot(x[~known], np.zeros((~known).sum()), marker="x", linestyle="none", color=pen["color"], clip_on=False)
        axes.set(xlabel="Current per phase [A]" if rated else "Maximum temperature of the wire [°C]",
                 ylabel=f"Least cost of remedies [{currency}]", ylim=(0, top * 1.18))
        axes.margins(x=0.1)
        words = "; crosses: no plan" if (~known).any() else ""
        figure.suptitle(f"{option}: what more current costs{words}", x=0.01, ha="left", fontsize=10)
        save(figure, path)
