// A gap that nobody sees: without one the library scales an image by an inline style, which the page forbids.
const NO_PIXEL_IMAGE = 0.01

// Faint slopes get half of the shades: an early foot or a late tail is where a bed's trouble shows first.
const FAINT = 0.12

/**
 * Every transition's slope as a column of shades, cycle by cycle, over the same margins as the trends.
 * @param {{grid: number[], cycles: number[], density: number[][]}} ribbon
 * @param {{theme: import("beadline/theme.js").Theme, selection: import("beadline/lib/selection.js").Selection, narrow?: boolean}} look
 * @returns {import("beadline/charts.js").Figure}
 */
export function ribbonFigure(ribbon, { theme, selection, narrow = false }) {
  const { cycle, others, zoom } = selection
  const line = { color: theme.text, width: 1 }
  const edge = (/** @type {number} */ x, more = {}) => ({ type: "line", xref: "x", x0: x, x1: x, yref: "y domain", y0: 0, y1: 1, line: { ...line, ...more } })
  const [low, high] = whereItHappens(ribbon)
  return {
    data: [{
      type: "heatmap", x: ribbon.cycles, y: ribbon.grid, z: transposed(ribbon.density), xgap: NO_PIXEL_IMAGE,
      colorscale: [[0, theme.sheet], [FAINT, theme.dataPale], [1, theme.data]], showscale: false,
      hovertemplate: "cycle %{x}, %{y:.2f} CV: %{z:.2f} per CV<extra></extra>",
    }],
    layout: {
      height: 230,
      margin: { l: narrow ? 46 : 58, r: narrow ? 12 : 104, t: 12, b: 42 },
      font: { family: theme.font, size: 12, color: theme.quiet },
      paper_bgcolor: "transparent",
      plot_bgcolor: "transparent",
      uirevision: "kept",
      hoverlabel: { bgcolor: theme.sheet, bordercolor: theme.rule, font: { color: theme.text, size: 12, family: theme.font } },
      xaxis: {
        ...(zoom ? { range: zoom } : { autorange: true }), uirevision: String(zoom), title: { text: "cycle", standoff: 8 }, showgrid: false, zeroline: false, tickformat: "d", linecolor: theme.rule, ticks: "outside", tickcolor: theme.rule, ticklen: 4,
      },
      yaxis: { title: { text: "CV", standoff: 6 }, range: [low, high], fixedrange: true, showgrid: false, zeroline: false, nticks: 6, tickfont: { size: 11 } },
      shapes: [
        ...others.map((other) => edge(other, { dash: "dot" })),
        ...(cycle === null ? [] : [edge(cycle - 0.5), edge(cycle + 0.5)]),
      ],
    },
  }
}

/**
 * The volumes between which any cycle's slope is above a hundredth of the steepest.
 * @param {{grid: number[], density: number[][]}} ribbon
 * @returns {[number, number]}
 */
export function whereItHappens({ grid, density }) {
  const highest = grid.map((_, i) => Math.max(...density.map((row) => row[i] ?? 0)))
  const least = Math.max(...highest) / 100
  const first = highest.findIndex((value) => value > least)
  if (first < 0) return [grid[0], grid[grid.length - 1]]
  const last = highest.length - 1 - [...highest].reverse().findIndex((value) => value > least)
  return [grid[Math.max(0, first - 1)], grid[Math.min(grid.length - 1, last + 1)]]
}

/** @param {number[][]} rows */
function transposed(rows) {
  return (rows[0] ?? []).map((_, i) => rows.map((row) => row[i]))
}
