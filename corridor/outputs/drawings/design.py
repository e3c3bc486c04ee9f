"""The search of conductors: loss against rating, with the existing wire and what refuses the rest."""

import numpy as np
from matplotlib.patches import Patch

from corridor.outputs.drawings.style import drawn, save, spread

__all__ = ["draw_design"]

#: Cells of the density of candidates, along and up.
_CELLS = (90, 55)
_INK, _RED, _BLUE, _GREY = "#101820", "#8a3b12", "#1f6a96", "#b9bec3"


def draw_design(path, result):
    """Draw loss against rating of all candidates, and write it.

    Parameters
    ----------
    path : path
        Its ending, .svg, .png or .pdf, tells the kind.
    result : DesignResult
        Of `corridor.planning.conductor_search.search`.
    """
    s = result.screened
    with drawn(8.6, 5.4) as (figure, panels):
        axes = panels[0, 0]
        known = np.isfinite(s.loss) & np.isfinite(s.rating)
        window = _room(axes, result, known)
        handles = [_density(axes, s, known & ~s.meets, "Greys", _GREY, window,
                            f"refused by a limit ({np.sum(~s.meets)})"),
                   _density(axes, s, known & s.meets, "Blues", _BLUE, window, f"meets every limit ({np.sum(s.meets)})")]
        axes.plot(s.rating[s.front], s.loss[s.front], "-", color=_RED, linewidth=1.2)
        _finalists(axes, result)
        axes.plot(result.existing_rating, result.existing_loss, "D", color=_INK, markersize=7)
        axes.annotate("existing wire", (result.existing_rating, result.existing_loss), xytext=(8, 4),
                      textcoords="offset points", fontsize=8, zorder=5)
        _limits(axes, result)
        axes.legend(handles=handles, title="darker: more of them", title_fontsize=8, loc="lower left", fontsize=8,
                    framealpha=0.9)
        axes.set(title="Geometries that could hang on the line: not products, to ask makers about",
                 xlabel="Rating at the maximum temperature [A per phase]",
                 ylabel=f"Loss of three phases at {result.of_loss} [kW/km]")
        save(figure, path)


def _density(axes, s, chosen, shades, color, window, label):
    """Draw how many candidates lie where, on a scale of powers of ten; return what the key shows."""
    count, x, y = np.histogram2d(s.rating[chosen], s.loss[chosen], _CELLS, window)
    if count.any():
        axes.pcolormesh(x, y, np.ma.masked_equal(np.log10(count + 0.6), np.log10(0.6)).T, cmap=shades, vmin=-0.8,
                        vmax=1.4 * np.log10(count.max() + 1), rasterized=True, zorder=1)
    return Patch(color=color, label=label)


def _finalists(axes, result):
    """Mark the finalists and write their names and families beside them, none over another."""
    s, places = result.screened, [each.index for each in result.finalists]
    if not places:
        return
    x, y = s.rating[places], s.loss[places]
    axes.plot(x, y, "o", color=_RED, markersize=6, markerfacecolor="white", markeredgewidth=1.4, zorder=4)
    edge = s.rating[np.isfinite(s.loss)].max() * 1.02
    apart = 0.125 * np.ptp([*y, result.existing_loss, s.loss[s.meets].max()])
    for each, a, b, place in zip(result.finalists, x, y, spread(list(y), apart), strict=True):
        axes.plot([a, edge], [b, place], color=_RED, linewidth=0.5, zorder=3)
        text = (f"{each.entry['name'].replace('design ', '')}: {each.entry['family']}\n{each.chosen},\n"
                f"{_said(each.new)}")
        axes.annotate(text, (edge, place), xytext=(2, 0), textcoords="offset points", fontsize=6.5, va="center",
                      color=_RED, linespacing=1.05)


def _said(new):
    return "no new violation" if not new else f"{len(new)} new violation{'s' if len(new) > 1 else ''}"


def _limits(axes, result):
    """Draw the required current and the loss of the existing wire."""
    required = result.line.required_current
    axes.axvline(required, color=_INK, linewidth=0.9, linestyle=(0, (2, 3)))
    axes.annotate(f"required {required:g} A", (required, 0.98), xycoords=("data", "axes fraction"), xytext=(-4, 0),
                  textcoords="offset points", rotation=90, ha="right", va="top", fontsize=8)
    axes.axhline(result.existing_loss, color=_INK, linewidth=0.9, linestyle=(0, (2, 3)))


def _room(axes, result, known):
    """Leave room for the names to the right, and no more above than the candidates need; return where candidates are
    shown, ((least, maximum rating), (least, maximum loss))."""
    s = result.screened
    x = np.array([*s.rating[known], result.existing_rating, result.line.required_current])
    x = x[x >= 0.6 * x[-2:].min()]
    y = [*s.loss[known], result.existing_loss]
    most = max([np.quantile(y, 0.98), result.existing_loss, *s.loss[[each.index for each in result.finalists]]])
    axes.set_xlim(x.min() - 0.03 * np.ptp(x), x.max() + 0.42 * np.ptp(x))
    axes.set_ylim(min(y) - 0.08 * (most - min(y)), most + 0.08 * (most - min(y)))
    return (x.min() - 0.03 * np.ptp(x), x.max()), axes.get_ylim()
