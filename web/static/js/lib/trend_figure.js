import { rangeOf } from "beadline/lib/axis.js"
import { KINDS, marker, verdictOf } from "beadline/lib/beads.js"
import { written } from "beadline/lib/numbers.js"
import { addLimits, hasProcedure, PANEL } from "beadline/lib/trend_limits.js"

const GAP = 34
const ROOM_FOR_PROCEDURE = 168
const MARGIN = { l: 58, r: 104, t: 42, b: 42 }

/** @typedef {import("beadline/theme.js").Theme} Theme */
/** @typedef {import("beadline/charts.js").Figure} Figure */
/** @typedef {(number | null)[]} Values */
/**
 * One metric over the cycles, one list a quantity.
 * @typedef {{ key: string, title: string, unit: string, digits: number, cycle: number[], value: Values, u: Values, ewma: Values,
 *   kind: string[], band: [number, number] | null, alert: Values, action: Values, by_procedure: { alert: Values, action: Values } }} Trend
 */
/** @typedef {{ label: string, trends: Record<string, { cycle: number[], value: Values }> }} Compared another bed */
/** @typedef {{ trends: Trend[], events: { place: number, mark: string, label: string }[], cycles: number[], compared: Compared | null }} Bed */
/** @typedef {{ theme: Theme, place: number, domain: [number, number], crowd: number, narrow: boolean, compared: Compared | null }} Panel */
/** @typedef {Panel & { axis: string, range: [number, number] }} Drawn */

/**
 * One figure with a panel a metric over a shared axis of cycles.
 * @param {Bed} bed
 * @param {{theme: Theme, shown: string[], selection: import("beadline/lib/selection.js").Selection, narrow?: boolean}} look
 * @returns {Figure}
 */
export function trendFigure(bed, { theme, shown, selection, narrow = false }) {
  const trends = bed.trends.filter((trend) => shown.includes(trend.key))
  const inner = trends.length * PANEL + Math.max(0, trends.length - 1) * GAP
  const right = trends.some(hasProcedure) ? ROOM_FOR_PROCEDURE : MARGIN.r
  const margin = { ...MARGIN, r: narrow ? 12 : right, l: narrow ? 46 : MARGIN.l }
  const figure = { data: [], layout: frame(bed, theme, margin, inner, selection.zoom) }
  trends.forEach((trend, place) => {
    const top = 1 - (place * (PANEL + GAP)) / inner
    addPanel(figure, trend, { theme, place, domain: [Math.max(0, top - PANEL / inner), top], crowd: bed.cycles.length * (narrow ? 2 : 1), narrow, compared: bed.compared })
  })
  addMarks(figure.layout, bed.events, selection, theme)
  return figure
}

/**
 * @param {Bed} bed
 * @param {Theme} theme
 * @param {{ l: number, r: number, t: number, b: number }} margin
 * @param {number} inner
 * @param {[number, number] | null} zoom
 * @returns {any}
 */
function frame(bed, theme, margin, inner, zoom) {
  const range = rangeOf([...bed.cycles, ...bed.events.map((event) => event.place)], 0.02)
  return {
    height: inner + margin.t + margin.b,
    margin,
    font: { family: theme.font, size: 12, color: theme.quiet },
    paper_bgcolor: "transparent",
    plot_bgcolor: "transparent",
    showlegend: false,
    hovermode: "x",
    hoversubplots: "axis",
    hoverdistance: 24,
    dragmode: "zoom",
    uirevision: "kept",
    hoverlabel: { bgcolor: theme.sheet, bordercolor: theme.rule, font: { color: theme.text, size: 12, family: theme.font }, align: "left" },
    xaxis: {
      title: { text: "cycle", standoff: 8 }, range: zoom ?? range, uirevision: String(zoom), minallowed: range[0], maxallowed: range[1], anchor: "free", position: 0,
      showgrid: false, zeroline: false, linecolor: theme.rule, showline: true, ticks: "outside", tickcolor: theme.rule, ticklen: 4, tickformat: "d",
      showspikes: true, spikemode: "across", spikethickness: 1, spikedash: "dot", spikecolor: theme.markQuiet, spikesnap: "data",
    },
    shapes: [],
    annotations: [],
  }
}

/**
 * @param {Figure} figure
 * @param {Trend} trend
 * @param {Panel} panel
 */
function addPanel(figure, trend, panel) {
  const { theme, place, domain } = panel
  const other = panel.compared?.trends[trend.key] ?? { cycle: [], value: [] }
  const axis = place ? `y${place + 1}` : "y"
  const range = rangeOf([...trend.value.map((value, i) => (value === null ? null : value + (trend.u[i] ?? 0))), ...trend.value, ...other.value, ...(trend.band ?? []), ...trend.alert, ...trend.action, ...trend.by_procedure.alert, ...trend.by_procedure.action])
  figure.layout[place ? `yaxis${place + 1}` : "yaxis"] = {
    domain, range, fixedrange: true, anchor: "x", nticks: 5, gridcolor: theme.ruleSoft, zeroline: false, tickfont: { size: 11 },
  }
  const unit = ["", "1"].includes(trend.unit) ? "" : `, ${trend.unit}`
  figure.layout.annotations.push({
    text: `${trend.title}${unit}`, xref: "paper", x: 0, xanchor: "left", xshift: -2, yref: "paper", y: domain[1], yanchor: "bottom", yshift: 4,
    showarrow: false, font: { size: 13, weight: 600, color: theme.text },
  })
  addLimits(figure.layout, trend, { ...panel, axis, range })
  if (panel.compared && other.cycle.length) {
    figure.data.push({
      type: "scatter", mode: "lines", x: other.cycle, y: other.value, yaxis: axis, connectgaps: true, line: { color: theme.quiet, width: 1.2, dash: "dot" },
      hovertemplate: `%{y:.${trend.digits}g} ${panel.compared.label}<extra></extra>`,
    })
  }
  figure.data.push({
    type: "scatter", mode: "lines", x: trend.cycle, y: trend.ewma, yaxis: axis, hoverinfo: "skip", connectgaps: true, line: { color: theme.text, width: 1.4 },
  })
  figure.data.push(...KINDS.map((kind) => beads(trend, kind, { ...panel, axis, range })).filter((trace) => trace.x.length))
}

/**
 * @param {Trend} trend
 * @param {string} kind
 * @param {Drawn} drawn
 */
function beads(trend, kind, { theme, axis, range, crowd }) {
  const places = trend.kind.flatMap((each, i) => (each === kind && (each === "void" || trend.value[i] !== null) ? [i] : []))
  const unit = ["", "1"].includes(trend.unit) ? "" : ` ${trend.unit}`
  const doubt = (/** @type {number} */ i) => (trend.u[i] === null ? "" : ` ± ${written(trend.u[i], 2)}`)
  const said = (/** @type {number} */ i) => (trend.value[i] === null ? "" : `${written(trend.value[i], trend.digits)}${doubt(i)}${unit}, `)
  return {
    type: "scatter", mode: "markers", yaxis: axis, cliponaxis: false, name: verdictOf(kind),
    x: places.map((i) => trend.cycle[i]),
    y: places.map((i) => trend.value[i] ?? range[0]),
    text: places.map((i) => said(i) + verdictOf(kind)),
    hovertemplate: "%{text}<extra></extra>",
    error_y: { type: "data", array: places.map((i) => (trend.value[i] === null ? 0 : trend.u[i] ?? 0)), color: theme.markQuiet, thickness: 1, width: 0 },
    marker: marker(kind, theme, crowd),
  }
}

/**
 * @param {any} layout
 * @param {Bed["events"]} events
 * @param {import("beadline/lib/selection.js").Selection} selection
 * @param {Theme} theme
 */
function addMarks(layout, events, { cycle: selected, others }, theme) {
  const down = { type: "line", xref: "x", yref: "paper", y0: 0, y1: 1, layer: "between" }
  for (const place of new Set(events.map((event) => event.place))) {
    const those = events.filter((event) => event.place === place)
    layout.shapes.push({ ...down, x0: place, x1: place, line: { color: theme.markQuiet, width: 1, dash: "dot" } })
    layout.annotations.push({
      text: [...new Set(those.map((event) => event.mark))].join(""), hovertext: those.map((event) => event.label).join("<br>"), xref: "x", x: place,
      yref: "paper", y: 1, yanchor: "bottom", yshift: 18, showarrow: false, font: { size: 15, color: theme.text },
    })
  }
  const shade = (/** @type {number} */ cycle, opacity = 0.75) => layout.shapes.push({ ...down, type: "rect", x0: cycle - 0.5, x1: cycle + 0.5, fillcolor: theme.dataPale, opacity, line: { width: 0 } })
  for (const other of others) shade(other, 0.4)
  if (selected !== null) shade(selected)
}
