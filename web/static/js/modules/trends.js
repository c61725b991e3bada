import { keepDrawn } from "beadline/charts.js"
import { verdictOf } from "beadline/lib/beads.js"
import { cycleAfter, withQuery } from "beadline/lib/selection.js"
import { trendFigure } from "beadline/lib/trend_figure.js"
import { chartData, isNarrow, onSelect, select } from "beadline/modules/page_data.js"

/**
 * The trends over cycles: choose what is shown, choose a cycle by pointer or key.
 * @param {HTMLElement} root
 */
export function trends(root) {
  const bed = chartData()
  const plot = root.querySelector("[data-plot]")
  const boxes = [...root.querySelectorAll("input[name=show]")]
  let selected = bed.selected

  restoreShown(boxes)
  for (const hidden of root.querySelectorAll("fieldset.shown, .hint-keys")) hidden.hidden = false
  const shown = () => boxes.filter((box) => box.checked).map((box) => box.value)
  const figure = (theme) => trendFigure(bed, { theme, shown: shown(), selected, narrow: isNarrow() })
  const chart = keepDrawn(plot, figure, { onClick: ({ x }) => select(x) })

  root.querySelector("fieldset.shown").addEventListener("change", () => {
    history.replaceState(null, "", withQuery(location.href, "show", shown().join("~")))
    chart.redraw()
  })
  plot.addEventListener("keydown", (event) => {
    const next = cycleAfter(event.key, bed.cycles, selected)
    if (next === null || event.altKey || event.ctrlKey || event.metaKey) return
    event.preventDefault()
    if (next !== selected) select(next)
  })
  const stop = onSelect((cycle) => {
    selected = cycle
    describe(plot, bed, selected)
    chart.redraw()
  })
  describe(plot, bed, selected)
  return () => {
    stop()
    chart.end()
  }
}

function restoreShown(boxes) {
  const asked = new URLSearchParams(location.search).get("show")?.split("~")
  if (!asked) return
  for (const box of boxes) {
    box.checked = asked.includes(box.value)
    if (box.checked) box.closest("details")?.setAttribute("open", "")
  }
}

function describe(plot, bed, selected) {
  if (!bed.cycles.length) return
  const trend = bed.trends[0]
  const kind = trend?.kind[trend.cycle.indexOf(selected)]
  plot.setAttribute("aria-valuemin", String(bed.cycles[0]))
  plot.setAttribute("aria-valuemax", String(bed.cycles[bed.cycles.length - 1]))
  plot.setAttribute("aria-valuenow", String(selected ?? bed.cycles[0]))
  plot.setAttribute("aria-valuetext", kind ? `cycle ${selected}, ${trend.title} ${verdictOf(kind)}` : `cycle ${selected}`)
}
