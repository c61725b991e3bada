import { rangeOf, spread } from "beadline/lib/axis.js"
import { marker } from "beadline/lib/beads.js"
import { written } from "beadline/lib/numbers.js"

const PANEL = 120
const GAP = 36
const MARGIN = { l: 58, r: 104, t: 28, b: 42 }

/** @typedef {import("beadline/theme.js").Theme} Theme */
/** @typedef {import("beadline/charts.js").Figure} Figure */
/**
 * @typedef {{ label: string, unit: string, digits: number, past: [number[], number[]], cycles: number[], low: number[], median: number[],
 *   high: number[], alert: (number | null)[], action: (number | null)[] }} Forecast
 */
/** @typedef {{ l: number, r: number, t: number, b: number }} Margin */

/**
 * A panel a metric over a shared axis of cycles: what was, the band of what may come, and the limits.
 * @param {Forecast[]} forecasts as the server stored them
 * @param {{theme: Theme, narrow?: boolean}} look
 * @returns {Figure}
 */
export function prospectFigure(forecasts, { theme, narrow = false }) {
  const inner = forecasts.length * PANEL + (forecasts.length - 1) * GAP
  const margin = narrow ? { ...MARGIN, l: 46, r: 12 } : MARGIN
  /** @type {Figure} */
  const figure = { data: [], layout: frame(forecasts, theme, margin, inner) }
  forecasts.forEach((forecast, place) => {
    const top = 1 - (place * (PANEL + GAP)) / inner
    addPanel(figure, forecast, { theme, place, narrow, domain: [Math.max(0, top - PANEL / inner), top] })
  })
  return figure
}

/**
 * @param {Forecast[]} forecasts
 * @param {Theme} theme
 * @param {Margin} margin
 * @param {number} inner
 * @returns {any}
 */
function frame(forecasts, theme, margin, inner) {
  const cycles = forecasts.flatMap(({ past, cycles: ahead }) => [past[0][0], past[0][past[0].length - 1], ahead[ahead.length - 1]])
  return {
    height: inner + margin.t + margin.b, margin, showlegend: false, hovermode: "closest", dragmode: false,
    font: { family: theme.font, size: 12, color: theme.quiet }, paper_bgcolor: "transparent", plot_bgcolor: "transparent",
    hoverlabel: { bgcolor: theme.sheet, bordercolor: theme.rule, font: { color: theme.text, size: 12, family: theme.font }, align: "left" },
    xaxis: {
      title: { text: "cycle", standoff: 8 }, range: rangeOf(cycles, 0.02), fixedrange: true, anchor: "free", position: 0, showgrid: false, zeroline: false,
      linecolor: theme.rule, showline: true, ticks: "outside", tickcolor: theme.rule, ticklen: 4, tickformat: "d",
    },
    shapes: [], annotations: [],
  }
}

/**
 * @param {Figure} figure
 * @param {Forecast} forecast
 * @param {{ theme: Theme, place: number, narrow: boolean, domain: [number, number] }} panel
 */
function addPanel({ data, layout }, forecast, { theme, place, narrow, domain }) {
  const axis = place ? `y${place + 1}` : "y"
  const { past, cycles, low, median, high, alert, action, unit, digits } = forecast
  const range = rangeOf([...past[1], ...low, ...high, ...alert, ...action])
  layout[place ? `yaxis${place + 1}` : "yaxis"] = { domain, range, fixedrange: true, anchor: "x", nticks: 4, gridcolor: theme.ruleSoft, zeroline: false, tickfont: { size: 11 } }
  const shownUnit = ["", "1"].includes(unit) ? "" : unit
  layout.annotations.push({
    text: shownUnit ? `${forecast.label}, ${shownUnit}` : forecast.label, xref: "paper", x: 0, xanchor: "left", xshift: -2, yref: "paper", y: domain[1],
    yanchor: "bottom", yshift: 4, showarrow: false, font: { size: 13, weight: 600, color: theme.text },
  })
  const line = { type: "scatter", mode: "lines", x: cycles, yaxis: axis, hoverinfo: "skip" }
  const said = (/** @type {number} */ cycle, /** @type {number} */ value) => `cycle ${cycle}: ${written(value, digits)} ${shownUnit}`
  data.push(
    { ...line, y: low, line: { width: 0 } },
    { ...line, y: high, line: { width: 0 }, fill: "tonexty", fillcolor: theme.dataPale },
    { ...line, y: median, line: { color: theme.text, width: 1.4 }, hoverinfo: "text", text: cycles.map((cycle, i) => `${said(cycle, median[i])} (${written(low[i], digits)} to ${written(high[i], digits)})`) },
    { type: "scatter", mode: "markers", x: past[0], y: past[1], yaxis: axis, cliponaxis: false, marker: marker("ok", theme, past[0].length * 2), hoverinfo: "text", text: past[0].map((cycle, i) => said(cycle, past[1][i])) },
  )
  addLimits(layout, forecast, { theme, axis, range, narrow })
}

/**
 * @param {any} layout
 * @param {Forecast} forecast
 * @param {{ theme: Theme, axis: string, range: [number, number], narrow: boolean }} panel
 */
function addLimits(layout, { alert, action, digits }, { theme, axis, range, narrow }) {
  const lines = [
    ...action.map((at) => ({ at, word: "action", color: theme.act, dash: "solid" })),
    ...alert.map((at) => ({ at, word: "alert", color: theme.watch, dash: "dash" })),
  ].flatMap((line) => (line.at === null ? [] : [{ ...line, at: line.at }]))
  const pixels = (/** @type {number} */ at) => ((at - range[0]) / (range[1] - range[0])) * PANEL
  const places = spread(lines.map(({ at }) => pixels(at)), 14)
  const [x0, x1] = layout.xaxis.range
  lines.forEach(({ at, word, color, dash }, i) => {
    layout.shapes.push({ xref: "x", x0, x1, yref: axis, y0: at, y1: at, type: "line", layer: "between", line: { color, width: 1.3, dash } })
    if (narrow) return
    layout.annotations.push({
      text: `${word} ${written(at, digits)}`, xref: "paper", x: 1, xshift: 7, xanchor: "left", yref: axis, y: at, yanchor: "middle", yshift: places[i] - pixels(at),
      showarrow: false, font: { size: 11.5, color },
    })
  })
}
