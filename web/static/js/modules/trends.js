import { keepDrawn } from "beadline/charts.js"
import { verdictOf } from "beadline/lib/beads.js"
import { cycleAfter, withQuery, zoomAfter } from "beadline/lib/selection.js"
import { trendFigure } from "beadline/lib/trend_figure.js"
import { chartData, isNarrow, onSelect, select, selected, zoomTo } from "beadline/modules/page_data.js"

/**
 * The trends over cycles: choose what is shown, choose cycles by pointer or key, zoom all charts at once.
 * @param {HTMLElement} root
 */
export function trends(root) {
  const bed = chartData()
  const plot = /** @type {HTMLElement} */ (root.querySelector("[data-plot]"))
  const boxes = /** @type {HTMLInputElement[]} */ ([...root.querySelectorAll("input[name=show]")])
  const adding = /** @type {HTMLInputElement} */ (root.querySelector("[data-add]"))
  const all = /** @type {HTMLButtonElement} */ (root.querySelector("[data-all]"))

  restoreShown(boxes)
  for (const hidden of root.querySelectorAll("fieldset.shown, [data-tools], .hint-keys")) if (hidden instanceof HTMLElement) hidden.hidden = false
  const shown = () => boxes.filter((box) => box.checked).map((box) => box.value)
  const chart = keepDrawn(plot, (theme) => trendFigure(bed, { theme, shown: shown(), selection: selected(), narrow: isNarrow() }), {
    onClick: ({ x }, shift) => select(x, shift || adding.checked),
    onZoom: zoomTo,
    first: "sketch",
  })

  root.querySelector("fieldset.shown")?.addEventListener("change", () => {
    history.replaceState(null, "", withQuery(location.href, "show", shown().join("~")))
    chart.redraw()
  })
  all.addEventListener("click", () => zoomTo(null))
  plot.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return
    const zoom = zoomAfter(event.key, selected(), bed.cycles)
    const next = cycleAfter(event.key, bed.cycles, selected().cycle)
    if (zoom === undefined && next === null) return
    event.preventDefault()
    if (zoom !== undefined) zoomTo(zoom)
    else if (next !== null && next !== selected().cycle) select(next, event.shiftKey || adding.checked)
  })
  const tell = () => {
    describe(plot, bed, selected().cycle)
    all.hidden = selected().zoom === null
  }
  const stop = onSelect((after, before) => {
    tell()
    if (after.zoom === before.zoom) chart.remark()
    else chart.redraw()
  })
  tell()
  return () => {
    stop()
    chart.end()
  }
}

/** @param {HTMLInputElement[]} boxes */
function restoreShown(boxes) {
  const asked = new URLSearchParams(location.search).get("show")?.split("~")
  if (!asked) return
  for (const box of boxes) {
    box.checked = asked.includes(box.value)
    if (box.checked) box.closest("details")?.setAttribute("open", "")
  }
}

/**
 * @param {HTMLElement} plot
 * @param {import("beadline/lib/trend_figure.js").Bed} bed
 * @param {number | null} cycle
 */
function describe(plot, bed, cycle) {
  if (!bed.cycles.length) return
  const now = cycle ?? bed.cycles[0]
  const trend = bed.trends[0]
  const kind = trend?.kind[trend.cycle.indexOf(now)]
  plot.setAttribute("aria-valuemin", String(bed.cycles[0]))
  plot.setAttribute("aria-valuemax", String(bed.cycles[bed.cycles.length - 1]))
  plot.setAttribute("aria-valuenow", String(now))
  plot.setAttribute("aria-valuetext", kind ? `cycle ${now}, ${trend.title} ${verdictOf(kind)}` : `cycle ${now}`)
}
