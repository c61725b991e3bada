import { rangeOf } from "beadline/lib/axis.js"

/** @typedef {import("beadline/theme.js").Theme} Theme */
/**
 * @typedef {{ grid: number[], fraction: number[], low: number[], high: number[], density: number[], baseline: number[],
 *   beside?: { label: string, fraction: number[], density: number[] }[] }} Curve
 */

const DASHES = ["dash", "dot", "dashdot", "longdash", "longdashdot", "5px 2px 1px 2px", "1px 4px"]
const MARGIN = { l: 40, r: 8, t: 8, b: 36 }

/**
 * A cycle's curve over the baseline envelope, and below it its slope over the baseline's.
 * @param {Curve} curve
 * @param {Theme} theme
 * @returns {import("beadline/charts.js").Figure}
 */
export function curveFigure(curve, theme) {
  const others = curve.beside ?? []
  const line = (/** @type {number[]} */ y, /** @type {string} */ color, /** @type {number} */ width, more = {}) => ({ type: "scatter", mode: "lines", x: curve.grid, y, line: { color, width }, showlegend: false, ...more })
  const quiet = { hoverinfo: "skip" }
  return {
    data: [
      line(curve.low, theme.dataPale, 0.8, quiet),
      line(curve.high, theme.dataPale, 0.8, { ...quiet, fill: "tonexty", fillcolor: theme.dataPale }),
      line(curve.fraction, theme.text, 1.8, { hovertemplate: "%{y:.3f} at %{x:.2f} CV<extra></extra>" }),
      line(curve.baseline, theme.dataPale, 2.5, { yaxis: "y2", hovertemplate: "baseline %{y:.2f}<extra></extra>" }),
      line(curve.density, theme.text, 1.6, { yaxis: "y2", hovertemplate: "%{y:.2f} per CV<extra></extra>" }),
      ...others.flatMap(({ label, fraction, density }, i) => {
        const drawn = { color: theme.quiet, width: 1.3, dash: DASHES[i % DASHES.length] }
        return [
          { ...line(fraction, theme.quiet, 1.3), line: drawn, name: label, showlegend: true, hovertemplate: `%{y:.3f} ${label}<extra></extra>` },
          { ...line(density, theme.quiet, 1.3), line: drawn, yaxis: "y2", hovertemplate: `%{y:.2f} ${label}<extra></extra>` },
        ]
      }),
    ].filter((trace) => trace.y.length),
    layout: layoutOf(curve, theme),
  }
}

/**
 * @param {Curve} curve
 * @param {Theme} theme
 */
function layoutOf(curve, theme) {
  const others = curve.beside ?? []
  const axis = { gridcolor: theme.ruleSoft, zeroline: false, tickfont: { size: 11 }, fixedrange: true }
  const caption = (/** @type {string} */ text, /** @type {number} */ y) => ({ text, xref: "paper", x: 0.02, xanchor: "left", yref: "paper", y, yanchor: "top", showarrow: false, font: { size: 11.5, color: theme.quiet } })
  return {
    height: 270 + 18 * others.length,
    legend: { orientation: "v", yref: "container", y: 0, yanchor: "bottom", x: 0, font: { size: 11.5 }, itemclick: false, itemdoubleclick: false },
    margin: { ...MARGIN, b: MARGIN.b + 18 * others.length },
    font: { family: theme.font, size: 12, color: theme.quiet },
    paper_bgcolor: "transparent",
    plot_bgcolor: "transparent",
    showlegend: others.length > 0,
    hovermode: "x",
    hoversubplots: "axis",
    uirevision: "kept",
    hoverlabel: { bgcolor: theme.sheet, bordercolor: theme.rule, font: { color: theme.text, size: 12, family: theme.font } },
    xaxis: { ...axis, fixedrange: false, title: { text: "CV after the switch", standoff: 6 }, anchor: "y2", showspikes: true, spikemode: "across", spikethickness: 1, spikedash: "dot", spikecolor: theme.markQuiet },
    yaxis: { ...axis, domain: [0.45, 1], range: [-0.05, 1.1], tickvals: [0, 0.5, 1] },
    yaxis2: { ...axis, domain: [0, 0.38], range: rangeOf([0, ...curve.density, ...curve.baseline, ...others.flatMap(({ density }) => density)]), nticks: 4 },
    annotations: [caption("fraction of the step", 1), caption("slope, 1/CV", 0.38)],
  }
}
