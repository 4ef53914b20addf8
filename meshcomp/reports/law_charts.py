"""How a kind of feature prints, as a chart: deviation against size, and residuals."""

from __future__ import annotations

import io
import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from meshcomp.calibration.results import Residual, Study
from meshcomp.deviations import SizeLaw

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["law_chart"]

_INK, _BLUE, _ORANGE, _GREY = "#1c2429", "#0a5a9c", "#a84a00", "#7b868c"
_POINTS = 200  # at which curves are drawn
_LOGARITHMIC, _WIDE = 4.0, 12.0  # largest of smallest size: axis, and few ticks


@lru_cache(maxsize=64)
def law_chart(kind: str, law: SizeLaw, study: Study) -> str:
    """Return a chart of a law and its readings as SVG, for a page.

    Drawn once for all parts of a kit: a law is told by which object it is.

    Above: deviation against mesh size with the law, the band in which the law lies and
    the band in which single prints lie (95 % each), readings as dots and gauges as
    bars. Below: readings less the law.

    Parameters
    ----------
    kind : str
        Names the parts of the drawing that a page must tell apart.
    law : SizeLaw
    study : Study
        With the residuals.

    Returns
    -------
    str
        An `svg` element, without the XML head.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    settings: Any = {"svg.hashsalt": kind, "svg.fonttype": "none", "font.size": 9}
    with mpl.rc_context(settings | {"axes.edgecolor": _GREY, "text.color": _INK}):
        figure = Figure(figsize=(6.4, 4.6), layout="constrained")
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=(2.4, 1))
        _bands(above, law)
        _readings(above, study)
        _residuals(below, law, study)
        _axes(above, below, law)
        return _svg(figure)


def _svg(figure: Figure) -> str:
    stream = io.StringIO()
    figure.savefig(stream, format="svg", transparent=True, metadata={"Date": None})
    text = stream.getvalue()
    return _with_own_names(text[text.index("<svg") :])


def _with_own_names(text: str) -> str:
    """Drop the ids that nothing refers to: every chart has them, and a page has many."""
    referred = set(re.findall(r"#([\w-]+)", text))
    return re.sub(r' id="([\w.-]+)"', lambda m: m[0] if m[1] in referred else "", text)


def _sizes(law: SizeLaw) -> Any:
    low, high = law.valid_from, law.valid_to
    if low == high:
        low, high = 0.8 * low, 1.2 * high
    return np.geomspace(low, high, _POINTS)


def _bands(axes: Any, law: SizeLaw) -> None:
    from scipy.special import stdtrit

    x = _sizes(law)
    y = np.array([law.deviation(size) for size in x])
    factor = float(stdtrit(law.degrees_of_freedom, 0.975))
    of_law = factor * np.array([law.standard_uncertainty(size) for size in x])
    of_print = factor * np.array([law.prediction_uncertainty(size) for size in x])
    axes.fill_between(
        x, y - of_print, y + of_print, color=_BLUE, alpha=0.13, lw=0, label="single prints"
    )
    axes.fill_between(x, y - of_law, y + of_law, color=_BLUE, alpha=0.3, lw=0, label="law")
    axes.plot(x, y, color=_BLUE, lw=1.6)
    axes.axhline(0.0, color=_GREY, lw=0.8)


def _readings(axes: Any, study: Study) -> None:
    suspects = {outlier.source or outlier.feature for outlier in study.outliers}
    read = [r for r in study.residuals if r.deviation is not None]
    for is_suspect in (False, True):
        chosen = [r for r in read if ((r.source or r.feature) in suspects) == is_suspect]
        if chosen:
            axes.errorbar(
                [r.size for r in chosen],
                [r.deviation for r in chosen],
                yerr=[2 * r.reading_uncertainty for r in chosen],
                fmt="D" if is_suspect else "o",
                ms=6 if is_suspect else 4,
                color=_ORANGE if is_suspect else _INK,
                lw=0.9,
                label="suspect readings" if is_suspect else "readings",
            )
    _gauges(axes, [r for r in study.residuals if r.deviation is None])


def _gauges(axes: Any, gauged: list[Residual]) -> None:
    """Draw what go and no-go gauges say as bars; an arrow where a side is open."""
    label = "between gauges"
    for r in gauged:
        ends = [end for end in (r.lower, r.upper) if end is not None]
        axes.plot([r.size] * len(ends), ends, "_-", color=_ORANGE, lw=1.2, label=label)
        if len(ends) == 1:
            axes.plot(r.size, ends[0], "^" if r.upper is None else "v", color=_ORANGE, ms=5)
        label = "_"


def _residuals(axes: Any, law: SizeLaw, study: Study) -> None:
    read = [r for r in study.residuals if r.residual is not None]
    axes.axhspan(-2 * law.repeatability, 2 * law.repeatability, color=_BLUE, alpha=0.13)
    axes.axhline(0.0, color=_BLUE, lw=1.2)
    axes.plot([r.size for r in read], [r.residual for r in read], "o", color=_INK, ms=4)


def _axes(above: Any, below: Any, law: SizeLaw) -> None:
    if law.valid_to > _LOGARITHMIC * law.valid_from:
        from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

        below.set_xscale("log")
        is_wide = law.valid_to > _WIDE * law.valid_from
        subs = (1.0, 2.0, 5.0) if is_wide else (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0)
        below.xaxis.set_major_locator(LogLocator(subs=subs))
        below.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
        below.xaxis.set_minor_formatter(NullFormatter())
    above.set_ylabel("print less mesh, mm")
    below.set_ylabel("reading less law, mm")
    below.set_xlabel("size in the mesh, mm")
    above.legend(
        frameon=False, fontsize=8, ncols=4, loc="upper center", bbox_to_anchor=(0.5, 1.14)
    )
    for axes in (above, below):
        axes.spines[["top", "right"]].set_visible(False)
        axes.grid(visible=True, color=_GREY, alpha=0.25, lw=0.5)
    below.figure.align_ylabels([above, below])
