import { spread } from "beadline/lib/axis.js"
import { written } from "beadline/lib/numbers.js"

/** How high a panel is, in px. */
export const PANEL = 138

/** @typedef {import("beadline/lib/trend_figure.js").Trend} Trend */

/**
 * Whether the site's procedure sets a limit, whose name needs more room.
 * @param {Trend} trend
 */
export function hasProcedure({ by_procedure: { alert, action } }) {
  return [...alert, ...action].some((at) => at !== null)
}

/**
 * Draw the baseline band and the limits of a panel, each limit named beside it.
 * @param {any} layout
 * @param {Trend} trend
 * @param {import("beadline/lib/trend_figure.js").Drawn} drawn
 */
export function addLimits(layout, trend, { theme, axis, range, narrow }) {
  const [x0, x1] = [layout.xaxis.minallowed, layout.xaxis.maxallowed]
  const across = { xref: "x", x0, x1, yref: axis, layer: "between" }
  if (trend.band) layout.shapes.push({ ...across, type: "rect", y0: trend.band[0], y1: trend.band[1], fillcolor: theme.band, line: { width: 0 } })
  const lines = [
    ...trend.action.map((at, end) => ({ at, end, word: "action", color: theme.act, dash: "solid" })),
    ...trend.alert.map((at, end) => ({ at, end, word: "alert", color: theme.watch, dash: "dash" })),
    ...trend.by_procedure.action.map((at, end) => ({ at, end, word: "action by procedure", color: theme.act, dash: "longdashdot" })),
    ...trend.by_procedure.alert.map((at, end) => ({ at, end, word: "alert by procedure", color: theme.watch, dash: "dashdot" })),
  ].flatMap((line) => (line.at === null ? [] : [{ ...line, at: line.at }]))
  const pixels = (/** @type {number} */ at) => ((at - range[0]) / (range[1] - range[0])) * PANEL
  const besides = (/** @type {{ end: number, word: string }} */ { end, word }) => ((end === 1) === word.startsWith("action") ? 8 : -8) // away from the other limit
  const places = spread(lines.map((line) => pixels(line.at) + (narrow ? besides(line) : 0)), 14)
  lines.forEach(({ at, word, color, dash }, i) => {
    layout.shapes.push({ ...across, type: "line", y0: at, y1: at, line: { color, width: 1.3, dash } })
    layout.annotations.push({
      text: `${word} ${written(at, trend.digits)}`, xref: "paper", xanchor: "left", yref: axis, y: at, showarrow: false,
      font: { size: 11.5, color }, yanchor: "middle", yshift: places[i] - pixels(at), ...(narrow ? { x: 0, xshift: 2 } : { x: 1, xshift: 7 }),
    })
  })
}
