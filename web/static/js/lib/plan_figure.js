/** @typedef {import("beadline/theme.js").Theme} Theme */
/** @typedef {{ row: number, name: string, switch: number, from: number, to: number }} Window in CV from the trace's start */
/** @typedef {{ signals: { name: string, unit: string, cv: number[], value: number[] }[], windows: Window[] }} Plan */
/** @typedef {{ window: number, switch: number, start: number, end: number }} Dragged in CV; start and end after the switch */

const ROW = 14 // px between the names of neighbouring windows
const MARGIN = { l: 56, r: 10, t: 22 + 2 * ROW, b: 38 }

/**
 * Signals over column volumes, one above the other, with the windows of a step plan across all of them.
 * The shapes come in pairs: a window, which can be dragged, and the line of its switch.
 * @param {Plan} plan
 * @param {Theme} theme
 * @returns {import("beadline/charts.js").Figure}
 */
export function planFigure({ signals, windows }, theme) {
  const share = 1 / Math.max(signals.length, 1)
  const axis = { gridcolor: theme.ruleSoft, zeroline: false, tickfont: { size: 11 }, fixedrange: true, nticks: 4 }
  const named = (/** @type {string} */ text, /** @type {number} */ at) => ({ text, xref: "paper", x: 0.01, xanchor: "left", yref: "paper", y: at, yanchor: "top", showarrow: false, font: { size: 11.5, color: theme.quiet } })
  const layout = /** @type {Record<string, any>} */ ({
    height: 110 + 2 * ROW + 130 * signals.length,
    margin: MARGIN,
    font: { family: theme.font, size: 12, color: theme.quiet },
    paper_bgcolor: "transparent",
    plot_bgcolor: "transparent",
    showlegend: false,
    hovermode: "x",
    dragmode: false,
    xaxis: { ...axis, anchor: signals.length > 1 ? `y${signals.length}` : "y", fixedrange: false, nticks: 10, title: { text: "CV from the start of the trace", standoff: 6 } },
    shapes: windows.flatMap((one) => shapesOf(one, theme)),
    annotations: [
      ...signals.map(({ name, unit }, i) => named(unit ? `${name}, in ${unit}` : name, 1 - i * share)),
      ...windows.map((one, i) => ({ text: one.name, x: one.switch, yshift: (i % 3) * ROW, xanchor: "left", yref: "paper", y: 1, yanchor: "bottom", showarrow: false, font: { size: 11, color: theme.text } })),
    ],
  })
  signals.forEach((_, i) => {
    layout[i ? `yaxis${i + 1}` : "yaxis"] = { ...axis, domain: [1 - (i + 0.92) * share, 1 - i * share - 0.04] }
  })
  const data = signals.map(({ cv, value, unit }, i) => ({ type: "scatter", mode: "lines", x: cv, y: value, yaxis: i ? `y${i + 1}` : "y", line: { color: theme.text, width: 1.4 }, hovertemplate: `%{y:.4g} ${unit} at %{x:.2f} CV<extra></extra>` }))
  return { data, layout }
}

/**
 * @param {Window} window
 * @param {Theme} theme
 */
function shapesOf({ from, to, switch: at }, theme) {
  const tall = { yref: "paper", y0: 0, y1: 1, xref: "x" }
  return [
    { ...tall, type: "rect", x0: from, x1: to, editable: true, fillcolor: theme.dataPale, opacity: 0.45, line: { width: 1.5, color: theme.markQuiet }, layer: "above" },
    { ...tall, type: "line", x0: at, x1: at, editable: false, line: { width: 1.2, dash: "dot", color: theme.text } },
  ]
}

/**
 * Where a window lies after it was dragged, from what the plotting library tells of the change.
 * A window that is found by volume takes its switch along when it is moved as a whole.
 * @param {Record<string, number>} change such as {"shapes[2].x0": 3.1, "shapes[2].x1": 5.2}
 * @param {Window[]} windows
 * @param {(window: number) => boolean} byVolume
 * @returns {Dragged | null}
 */
export function draggedTo(change, windows, byVolume) {
  const found = Object.keys(change).map((key) => /^shapes\[(\d+)\]\.x[01]$/.exec(key)).find(Boolean)
  if (!found) return null
  const shape = Number(found[1])
  const window = shape / 2
  const before = windows[window]
  if (!before) return null
  const ends = [change[`shapes[${shape}].x0`] ?? before.from, change[`shapes[${shape}].x1`] ?? before.to]
  const [from, to] = [Math.min(...ends), Math.max(...ends)]
  const moved = Math.abs(to - from - (before.to - before.from)) < 1e-6
  const at = moved && byVolume(window) ? before.switch + from - before.from : before.switch
  return { window, switch: at, start: from - at, end: to - at }
}
