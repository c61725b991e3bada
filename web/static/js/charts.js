import { Chart } from "beadline/chart.js"
import { valueAt } from "beadline/lib/sketch.js"
import { listen } from "beadline/library.js"
import { whenQuiet } from "beadline/quiet.js"

const NEAR = 24 // px between a press and what it means

/** @typedef {{ data: any[], layout: any }} Figure */
/** @typedef {import("beadline/theme.js").Theme} Theme */
/** @typedef {import("beadline/chart.js").Plot} Plot */
/**
 * What a chart tells: a point that was pressed, with Shift or not; the part of the axis that was brushed, null for all;
 * what a dragged shape changed.
 * @typedef {{ onClick?: (point: { x: number, y?: number }, shift: boolean) => void, onZoom?: (range: [number, number] | null) => void,
 *   onDrag?: (change: Record<string, number>) => void }} Told
 */
/**
 * What is there before the library draws, which it does once a pointer comes that can hover, or the page is quiet:
 * a sketch, which can be used as well, or nothing until the chart comes in sight. Without either it draws at once.
 * @typedef {"sketch" | "nothing"} First
 */

/**
 * Keep a chart drawn in `plot`: `figure(theme)` is asked again whenever `redraw` is called or the colours change;
 * `remark` draws only its shapes again.
 * @param {HTMLElement} element
 * @param {(theme: Theme) => Figure} figure
 * @param {Told & { first?: First }} [told]
 */
export function keepDrawn(element, figure, { first, ...told } = {}) {
  const plot = /** @type {Plot} */ (element)
  const chart = new Chart(plot, figure, { draggable: Boolean(told.onDrag), onFirstDrawn: () => listen(plot, told) })
  const ending = new AbortController()
  const { signal } = ending
  const redraw = () => chart.redraw()
  addEventListener("beforeprint", () => chart.toPaper(), { signal })
  addEventListener("afterprint", () => chart.toScreen(), { signal })
  addEventListener("resize", () => chart.is("sketched") && chart.sketch(), { signal })
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw, { signal })
  document.addEventListener("beadline:appearance", redraw, { signal })
  if (first === "sketch") hearSketch(chart, told, signal)
  if (first) drawSoon(chart, first === "nothing", signal)
  else chart.draw()
  return {
    redraw,
    remark: () => chart.remark(),
    end: () => {
      ending.abort()
      chart.end()
    },
  }
}

/**
 * @param {Chart} chart
 * @param {boolean} inSight whether it is enough that the chart comes in sight
 * @param {AbortSignal} signal
 */
function drawSoon(chart, inSight, signal) {
  const draw = () => {
    stop()
    return chart.draw()
  }
  const seen = new IntersectionObserver((entries) => entries.some((entry) => entry.isIntersecting) && draw())
  const hover = (/** @type {PointerEvent} */ { pointerType }) => pointerType !== "touch" && draw()
  const callOff = whenQuiet(draw)
  const stop = () => {
    callOff()
    seen.disconnect()
    chart.plot.removeEventListener("pointerenter", hover)
  }
  if (inSight) seen.observe(chart.plot)
  chart.plot.addEventListener("pointerenter", hover)
  signal.addEventListener("abort", stop)
}

/**
 * Sketch a chart, and hear which point is pressed while there is no more of it.
 * @param {Chart} chart
 * @param {Told} told
 * @param {AbortSignal} signal
 */
function hearSketch(chart, { onClick }, signal) {
  chart.sketch()
  if (!onClick) return
  let pressed = false // the library may draw between press and click, and then knows nothing of it
  const press = () => {
    pressed = chart.is("sketched")
  }
  const click = (/** @type {MouseEvent} */ { clientX, shiftKey }) => {
    const { left, width } = chart.plot.getBoundingClientRect()
    const x = pressed ? valueAt(chart.figure(), width, clientX - left, NEAR) : null
    pressed = false
    if (x !== null) onClick({ x }, shiftKey)
  }
  chart.plot.addEventListener("pointerdown", press, { signal })
  chart.plot.addEventListener("click", click, { signal })
}
