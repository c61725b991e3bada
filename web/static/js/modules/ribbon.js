import { keepDrawn } from "beadline/charts.js"
import { ribbonFigure } from "beadline/lib/ribbon_figure.js"
import { chartData, isNarrow, onSelect, select } from "beadline/modules/page_data.js"

/**
 * The ribbon of all transitions; a click selects the cycle.
 * @param {HTMLElement} root
 */
export function ribbon(root) {
  const bed = chartData()
  let selected = bed.selected
  const figure = (theme) => ribbonFigure(bed.ribbon, { theme, selected, narrow: isNarrow() })
  const chart = keepDrawn(root.querySelector("[data-plot]"), figure, { onClick: ({ x }) => select(x) })
  const stop = onSelect((cycle) => {
    selected = cycle
    chart.redraw()
  })
  return () => {
    stop()
    chart.end()
  }
}
