import { rangeOf } from "beadline/lib/axis.js"

/**
 * A tracer peak: points, fit, and the rulers that the numbers come from.
 * @param {{volume: number[], signal: number[], fit: number[], unit: string, apex: [number, number] | null,
 *   rulers: {name: string, line: [number, number, number, number]}[],
 *   tangents: [number, number, number, number][], window: [number, number] | null}} peak volumes in CV
 * @param {import("beadline/theme.js").Theme} theme
 * @returns {import("beadline/charts.js").Figure}
 */
export function pulseFigure(peak, theme) {
  const trace = (/** @type {number[]} */ y, /** @type {object} */ more) => ({ type: "scatter", x: peak.volume, y, ...more })
  const points = { mode: "markers", marker: { symbol: "circle-open", size: 4, color: theme.data, line: { width: 1 } }, hovertemplate: `%{y:.4g} ${peak.unit} at %{x:.3f} CV<extra></extra>` }
  const fit = { mode: "lines", line: { color: theme.text, width: 1.6 }, hovertemplate: "fit %{y:.4g}<extra></extra>" }
  /** @type {any} */
  const layout = {
    height: 380,
    margin: { l: 56, r: 12, t: 12, b: 46 },
    font: { family: theme.font, size: 12, color: theme.quiet },
    paper_bgcolor: "transparent",
    plot_bgcolor: "transparent",
    showlegend: false,
    hovermode: "closest",
    uirevision: "kept",
    hoverlabel: { bgcolor: theme.sheet, bordercolor: theme.rule, font: { color: theme.text, size: 12, family: theme.font } },
    xaxis: { title: { text: "CV after the injection", standoff: 8 }, zeroline: false, gridcolor: theme.ruleSoft },
    yaxis: { title: { text: peak.unit, standoff: 8 }, zeroline: true, zerolinecolor: theme.rule, gridcolor: theme.ruleSoft, range: rangeOf([0, ...peak.signal]) },
    shapes: [],
    annotations: [],
  }
  const draw = (/** @type {number[]} */ [x0, y0, x1, y1], /** @type {object} */ line) => layout.shapes.push({ type: "line", xref: "x", yref: "y", x0, y0, x1, y1, line })
  for (const tangent of peak.tangents) draw(tangent, { color: theme.markQuiet, width: 1, dash: "dot" })
  for (const { name, line } of peak.rulers) {
    draw(line, { color: theme.text, width: 1.2 })
    layout.annotations.push({ text: name, x: line[2], y: line[3], xanchor: "left", yanchor: "middle", xshift: 6, showarrow: false, font: { size: 11.5 } })
  }
  if (peak.apex) draw([peak.apex[0], 0, ...peak.apex], { color: theme.text, width: 1, dash: "dash" })
  if (peak.window) layout.shapes.push({ type: "rect", xref: "x", yref: "paper", x0: peak.window[0], x1: peak.window[1], y0: 0, y1: 1, layer: "below", fillcolor: theme.band, opacity: 0.6, line: { width: 0 } })
  return { data: [trace(peak.signal, points), ...(peak.fit.length ? [trace(peak.fit, fit)] : [])], layout }
}
