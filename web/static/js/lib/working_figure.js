import { rangeOf } from "beadline/lib/axis.js"

/** @typedef {import("beadline/theme.js").Theme} Theme */
/** @typedef {[number, number, number, number]} Segment */
/**
 * @typedef {{unit: string, volume: number[], signal: number[], plateaus: Segment[], spikes: number[],
 *   grid: number[], fraction: number[], density: number[], levels: [number, number][], mean: number | null,
 *   apex: [number, number] | null, rulers: {name: string, line: Segment}[]}} Drawn volumes in CV
 */

/**
 * A transition and its constructions: the signal with its plateau lines, the fraction with its levels, the slope
 * with apex, front a and back b.
 * @param {Drawn} t
 * @param {Theme} theme
 * @returns {import("beadline/charts.js").Figure}
 */
export function workingFigure(t, theme) {
  const line = (/** @type {number[]} */ x, /** @type {number[]} */ y, /** @type {string} */ yaxis, more = {}) => ({ type: "scatter", mode: "lines", x, y, yaxis, line: { color: theme.data, width: 1.5 }, ...more })
  const marks = (/** @type {number[]} */ x, /** @type {number[]} */ y, /** @type {string} */ yaxis, /** @type {string} */ hovertemplate) => ({ type: "scatter", mode: "markers", x, y, yaxis, marker: { symbol: "circle-open", size: 7, color: theme.text, line: { width: 1.6 } }, hovertemplate })
  return {
    data: [
      line(t.volume, t.signal, "y", { hovertemplate: `%{y:.4g} ${t.unit} at %{x:.3f} CV<extra></extra>` }),
      line(t.grid, t.fraction, "y2", { hovertemplate: "%{y:.3f} at %{x:.3f} CV<extra></extra>" }),
      marks(t.levels.map(([x]) => x), t.levels.map(([, y]) => y), "y2", "%{y:.0%} at %{x:.4f} CV<extra></extra>"),
      line(t.grid, t.density, "y3", { hovertemplate: "%{y:.3g} per CV at %{x:.3f} CV<extra></extra>" }),
    ],
    layout: { ...frame(t, theme), shapes: shapes(t, theme), annotations: labels(t, theme) },
  }
}

/**
 * @param {Drawn} t
 * @param {Theme} theme
 */
function shapes(t, theme) {
  const segment = (/** @type {Segment} */ [x0, y0, x1, y1], /** @type {string} */ yref, /** @type {object} */ line) => ({ type: "line", xref: "x", yref, x0, y0, x1, y1, line })
  const upright = (/** @type {number} */ x, /** @type {string} */ dash) => ({ type: "line", xref: "x", yref: "paper", x0: x, x1: x, y0: 0, y1: 1, line: { color: theme.markQuiet, width: 1, dash } })
  /** @type {object[]} */
  const found = t.plateaus.map((plateau) => segment(plateau, "y", { color: theme.text, width: 1.2, dash: "dash" }))
  found.push(upright(0, "solid"))
  if (t.mean !== null) found.push(upright(t.mean, "dot"))
  for (const x of t.spikes) found.push({ ...upright(x, "dot"), yref: "y domain", line: { color: theme.void, width: 1 } })
  for (const { line } of t.rulers) found.push(segment(line, "y3", { color: theme.text, width: 1.4 }))
  if (t.apex) found.push(segment([t.apex[0], 0, ...t.apex], "y3", { color: theme.text, width: 1, dash: "dash" }))
  return found
}

/**
 * @param {Drawn} t
 * @param {Theme} theme
 */
function labels(t, theme) {
  const label = (/** @type {string} */ text, /** @type {number} */ x, /** @type {number} */ y, /** @type {string} */ yref, more = {}) => ({ text, x, y, xref: "x", yref, showarrow: false, font: { size: 11.5, color: theme.quiet }, ...more })
  const caption = (/** @type {string} */ text, /** @type {number} */ y) => label(text, 0.01, y, "paper", { xref: "paper", xanchor: "left", yanchor: "top" })
  const found = [caption(`signal, ${t.unit}`, 0.92), caption("fraction of the step", 0.63), caption("slope, 1/CV", 0.3)]
  found.push(label("switch", 0, 1, "paper", { yanchor: "bottom" }))
  if (t.mean !== null) found.push(label("mean", t.mean, 1, "paper", { yanchor: "bottom" }))
  for (const { name, line } of t.rulers) found.push(label(name, (line[0] + line[2]) / 2, line[1], "y3", { yanchor: "top" }))
  return found
}

/**
 * @param {Drawn} t
 * @param {Theme} theme
 */
function frame(t, theme) {
  const axis = { gridcolor: theme.ruleSoft, zeroline: false, tickfont: { size: 11 }, nticks: 5 }
  return {
    height: 560,
    margin: { l: 50, r: 10, t: 22, b: 44 },
    font: { family: theme.font, size: 12, color: theme.quiet },
    paper_bgcolor: "transparent",
    plot_bgcolor: "transparent",
    showlegend: false,
    hovermode: "closest",
    uirevision: "kept",
    hoverlabel: { bgcolor: theme.sheet, bordercolor: theme.rule, font: { color: theme.text, size: 12, family: theme.font } },
    xaxis: { ...axis, nticks: 9, anchor: "y3", title: { text: "CV after the switch, hold-up taken off", standoff: 8 } },
    yaxis: { ...axis, domain: [0.7, 1] },
    yaxis2: { ...axis, domain: [0.37, 0.63], range: [-0.05, 1.1] },
    yaxis3: { ...axis, domain: [0, 0.3], range: rangeOf([0, ...t.density]) },
  }
}
