import { keepDrawn } from "beadline/charts.js"
import { draggedTo, planFigure } from "beadline/lib/plan_figure.js"

/**
 * Show where the windows of a step plan lie on a trace while the plan is written; a window that is dragged writes
 * its fields.
 * @param {HTMLFormElement} root
 */
export function stepPlan(root) {
  const box = /** @type {HTMLElement} */ (document.querySelector("[data-tried]"))
  /** @type {{redraw: () => void, end: () => void} | null} */
  let chart = null
  let running = new AbortController()

  async function look() {
    running.abort()
    running = new AbortController()
    const body = new FormData(root)
    body.set("part", "yes")
    box.dataset.busy = "true"
    try {
      const answer = await fetch(root.dataset.try ?? "", { method: "POST", body, signal: running.signal })
      const page = new DOMParser().parseFromString(await answer.text(), "text/html")
      chart?.end()
      box.replaceChildren(...(page.querySelector("main .notice") ? [page.querySelector("main .notice") ?? ""] : page.body.childNodes))
      draw()
    } catch (error) {
      if (error instanceof DOMException && error.name === "AbortError") return
      box.textContent = "The server did not answer; try again when it does."
    }
    box.dataset.busy = "false"
  }

  function draw() {
    const figure = /** @type {HTMLElement | null} */ (box.querySelector("[data-chart]"))
    chart = null
    if (!figure) return
    /** @type {import("beadline/lib/plan_figure.js").Plan} */
    const plan = JSON.parse(figure.querySelector("script")?.textContent ?? "{}")
    const plot = /** @type {HTMLElement} */ (figure.querySelector("[data-plot]"))
    const hint = /** @type {HTMLElement} */ (figure.querySelector("[data-script-only]"))
    hint.hidden = !plan.windows.length
    const onDrag = (/** @type {Record<string, number>} */ change) => {
      const to = draggedTo(change, plan.windows, (window) => field(plan.windows[window].row, "how")?.value === "volume")
      if (to) write(plan.windows[to.window].row, to)
    }
    chart = keepDrawn(plot, (theme) => planFigure(plan, theme), { onDrag })
  }

  /**
   * A field of the nth transition that has a name.
   * @param {number} row
   * @param {string} name
   */
  function field(row, name) {
    const of = (/** @type {Element} */ line, /** @type {string} */ what) => /** @type {HTMLInputElement | null} */ (line?.querySelector(`[name$=_${what}]`))
    const named = [...root.querySelectorAll("[data-row]")].filter((line) => of(line, "name")?.value.trim())
    return of(named[row], name)
  }

  /**
   * @param {number} row
   * @param {import("beadline/lib/plan_figure.js").Dragged} to
   */
  function write(row, { switch: at, start, end }) {
    const values = { start_cv: start, end_cv: end, ...(field(row, "how")?.value === "volume" ? { volume_cv: at } : {}) }
    for (const [name, value] of Object.entries(values)) {
      const input = field(row, name)
      if (input) input.value = String(Number(value.toFixed(2)))
    }
    look()
  }

  const free = new Set(["name", "product", "reference_flow_l_h"])
  const changed = (/** @type {Event} */ event) => {
    if (!free.has(/** @type {HTMLInputElement} */ (event.target).name)) look()
  }
  root.addEventListener("change", changed)
  draw()
  return () => {
    running.abort()
    chart?.end()
    root.removeEventListener("change", changed)
  }
}
