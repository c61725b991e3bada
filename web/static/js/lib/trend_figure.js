import { rangeOf, spread } from "beadline/lib/axis.js"
import { KINDS, marker, verdictOf } from "beadline/lib/beads.js"
import { written } from "beadline/lib/numbers.js"

const PANEL = 138
const GAP = 34
const ROOM_FOR_PROCEDURE = 168
const MARGIN = { l: 58, r: 104, t: 42, b: 42 }

/**
 * One figure with a panel a metric over a shared axis of cycles.
 * @param {{trends: object[], events: {cycle: number, label: string}[], cycles: number[]}} bed
 * @param {{theme: import("beadline/theme.js").Theme, shown: string[], selected: number | null, narrow?: boolean}} look
 * @returns {{data: object[], layout: object}}
 */
export function trendFigure(bed, { theme, shown, selected, narrow = false }) {
  const trends = bed.trends.filter((trend) => shown.includes(trend.key))
  const inner = trends.length * PANEL + Math.max(0, trends.length - 1) * GAP
  const right = trends.some(hasProcedure) ? ROOM_FOR_PROCEDURE : MARGIN.r
  const margin = { ...MARGIN, r: narrow ? 12 : right, l: narrow ? 46 : MARGIN.l }
  const figure = { data: [], layout: frame(bed, theme, margin, inner) }
  trends.forEach((trend, place) => {
    const top = 1 - (place * (PANEL + GAP)) / inner
    addPanel(figure, trend, { theme, place, domain: [Math.max(0, top - PANEL / inner), top], crowd: bed.cycles.length * (narrow ? 2 : 1), narrow })
  })
  addMarks(figure.layout, bed.events, selected, theme)
  return figure
}

function hasProcedure({ by_procedure: { alert, action } }) {
  return [...alert, ...action].some((at) => at !== null)
}

function frame(bed, theme, margin, inner) {
  const range = rangeOf(bed.cycles, 0.02)
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
      title: { text: "cycle", standoff: 8 }, range, minallowed: range[0], maxallowed: range[1], anchor: "free", position: 0,
      showgrid: false, zeroline: false, linecolor: theme.rule, showline: true, ticks: "outside", tickcolor: theme.rule, ticklen: 4, tickformat: "d",
      showspikes: true, spikemode: "across", spikethickness: 1, spikedash: "dot", spikecolor: theme.markQuiet, spikesnap: "data",
    },
    shapes: [],
    annotations: [],
  }
}

function addPanel(figure, trend, panel) {
  const { theme, place, domain } = panel
  const axis = place ? `y${place + 1}` : "y"
  const range = rangeOf([...trend.value.map((value, i) => (value === null ? null : value + (trend.u[i] ?? 0))), ...trend.value, ...(trend.band ?? []), ...trend.alert, ...trend.action, ...trend.by_procedure.alert, ...trend.by_procedure.action])
  figure.layout[place ? `yaxis${place + 1}` : "yaxis"] = {
    domain, range, fixedrange: true, anchor: "x", nticks: 5, gridcolor: theme.ruleSoft, zeroline: false, tickfont: { size: 11 },
  }
  const unit = ["", "1"].includes(trend.unit) ? "" : `, ${trend.unit}`
  figure.layout.annotations.push({
    text: `${trend.title}${unit}`, xref: "paper", x: 0, xanchor: "left", xshift: -2, yref: "paper", y: domain[1], yanchor: "bottom", yshift: 4,
    showarrow: false, font: { size: 13, weight: 600, color: theme.text },
  })
  addLimits(figure.layout, trend, { ...panel, axis, range })
  figure.data.push({
    type: "scatter", mode: "lines", x: trend.cycle, y: trend.ewma, yaxis: axis, hoverinfo: "skip", connectgaps: true, line: { color: theme.text, width: 1.4 },
  })
  figure.data.push(...KINDS.map((kind) => beads(trend, kind, { ...panel, axis, range })).filter((trace) => trace.x.length))
}

function beads(trend, kind, { theme, axis, range, crowd }) {
  const places = trend.kind.flatMap((each, i) => (each === kind && (each === "void" || trend.value[i] !== null) ? [i] : []))
  const unit = ["", "1"].includes(trend.unit) ? "" : ` ${trend.unit}`
  const doubt = (i) => (trend.u[i] === null ? "" : ` ± ${written(trend.u[i], 2)}`)
  const said = (i) => (trend.value[i] === null ? "" : `${written(trend.value[i], trend.digits)}${doubt(i)}${unit}, `)
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

function addLimits(layout, trend, { theme, axis, range, narrow }) {
  const [x0, x1] = layout.xaxis.range
  const across = { xref: "x", x0, x1, yref: axis, layer: "between" }
  if (trend.band) layout.shapes.push({ ...across, type: "rect", y0: trend.band[0], y1: trend.band[1], fillcolor: theme.band, line: { width: 0 } })
  const lines = [
    ...trend.action.map((at, end) => ({ at, end, word: "action", color: theme.act, dash: "solid" })),
    ...trend.alert.map((at, end) => ({ at, end, word: "alert", color: theme.watch, dash: "dash" })),
    ...trend.by_procedure.action.map((at, end) => ({ at, end, word: "action by procedure", color: theme.act, dash: "longdashdot" })),
    ...trend.by_procedure.alert.map((at, end) => ({ at, end, word: "alert by procedure", color: theme.watch, dash: "dashdot" })),
  ].filter(({ at }) => at !== null)
  const pixels = (at) => ((at - range[0]) / (range[1] - range[0])) * PANEL
  const besides = ({ end, word }) => ((end === 1) === word.startsWith("action") ? 8 : -8) // away from the other limit
  const places = spread(lines.map((line) => pixels(line.at) + (narrow ? besides(line) : 0)), 14)
  lines.forEach(({ at, word, color, dash }, i) => {
    layout.shapes.push({ ...across, type: "line", y0: at, y1: at, line: { color, width: 1.3, dash } })
    layout.annotations.push({
      text: `${word} ${written(at, trend.digits)}`, xref: "paper", xanchor: "left", yref: axis, y: at, showarrow: false,
      font: { size: 11.5, color }, yanchor: "middle", yshift: places[i] - pixels(at), ...(narrow ? { x: 0, xshift: 2 } : { x: 1, xshift: 7 }),
    })
  })
}

function addMarks(layout, events, selected, theme) {
  const down = { type: "line", xref: "x", yref: "paper", y0: 0, y1: 1, layer: "between" }
  for (const { cycle, label } of events) {
    layout.shapes.push({ ...down, x0: cycle, x1: cycle, line: { color: theme.markQuiet, width: 1, dash: "dot" } })
    layout.annotations.push({
      text: "▾", hovertext: `${label}, cycle ${cycle}`, xref: "x", x: cycle, yref: "paper", y: 1, yanchor: "bottom", yshift: 18, showarrow: false, font: { size: 13, color: theme.quiet },
    })
  }
  if (selected === null) return
  layout.shapes.push({ ...down, type: "rect", x0: selected - 0.5, x1: selected + 0.5, fillcolor: theme.dataPale, opacity: 0.75, line: { width: 0 } })
}
