import { keepDrawn } from "beadline/charts.js"
import { ribbonFigure } from "beadline/lib/ribbon_figure.js"
import { chartData, isNarrow, onSelect, select, selected, zoomTo } from "beadline/modules/page_data.js"

/**
 * The ribbon of all transitions; a click selects the cycle, a brush zooms it with the trends.
 * @param {HTMLElement} root
 */
export function ribbon(root) {
  const bed = chartData()
  const plot = /** @type {HTMLElement} */ (root.querySelector("[data-plot]"))
  const chart = keepDrawn(plot, (theme) => ribbonFigure(bed.ribbon, { theme, selection: selected(), narrow: isNarrow() }), {
    onClick: ({ x }, shift) => select(x, shift),
    onZoom: zoomTo,
    first: "nothing",
  })
  const stop = onSelect((after, before) => {
    if (after.zoom === before.zoom) chart.remark()
    else chart.redraw()
  })
  return () => {
    stop()
    chart.end()
  }
}
