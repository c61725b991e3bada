/** The only file that names the plotting library: it loads it when the first chart is drawn. */
import { readTheme } from "beadline/theme.js"

const CONFIG = { displayModeBar: false, responsive: true, doubleClick: false, showTips: false, displaylogo: false }
/** Shapes that say so themselves can be dragged. */
const DRAGGABLE = { ...CONFIG, edits: { shapePosition: true } }

/** How wide a chart is on paper, in px: a sheet of A4 within its margins. */
const ON_PAPER = 660

/** @typedef {{ data: any[], layout: any }} Figure */
/** @typedef {import("beadline/theme.js").Theme} Theme */
/** @typedef {HTMLElement & { layout?: object, on: (name: string, heard: (event: any) => void) => void }} Plot */
/**
 * What a chart tells: a point that was pressed, with Shift or not; the part of the axis that was brushed, null for all;
 * what a dragged shape changed.
 * @typedef {{ onClick?: (point: { x: number, y: number }, shift: boolean) => void, onZoom?: (range: [number, number] | null) => void,
 *   onDrag?: (change: Record<string, number>) => void }} Told
 */

/** @type {Promise<any> | undefined} */
let loading

function library() {
  loading ??= new Promise((resolve, reject) => {
    const script = document.createElement("script")
    const address = document.querySelector("meta[name=plotly-address]")
    script.src = address instanceof HTMLMetaElement ? address.content : ""
    script.onload = () => resolve(plotly())
    script.onerror = () => reject(new Error("The plotting library did not load."))
    document.head.append(script)
  })
  return loading
}

/** @returns {any} the library once it is there */
function plotly() {
  return "Plotly" in window ? window.Plotly : undefined
}

/**
 * Keep a chart drawn in `plot`: `figure(theme)` is asked again whenever `redraw` is called or the colours change;
 * `remark` draws only its shapes again, which is quick.
 * The figure around it gets data-state "drawn", or "failed", after which the table beside it has to do.
 * @param {HTMLElement} element
 * @param {(theme: Theme) => Figure} figure
 * @param {Told} [told]
 */
export function keepDrawn(element, figure, told = {}) {
  const plot = /** @type {Plot} */ (element)
  const root = /** @type {HTMLElement} */ (plot.closest("[data-module], [data-chart]"))
  const dark = matchMedia("(prefers-color-scheme: dark)")
  let ended = false
  root.dataset.state = "drawing"
  plot.hidden = false

  async function redraw() {
    try {
      const Plotly = await library()
      if (ended) return
      const { data, layout } = figure(readTheme())
      plot.style.height = `${layout.height}px`
      const first = !plot.layout
      await Plotly.react(plot, data, layout, told.onDrag ? DRAGGABLE : CONFIG)
      if (ended) return
      if (first) listen(plot, told)
      root.dataset.state = "drawn"
    } catch (error) {
      plot.hidden = true
      root.dataset.state = "failed"
      console.error(error)
    }
  }

  function remark() {
    if (root.dataset.state === "drawn") plotly().relayout(plot, { shapes: figure(readTheme()).layout.shapes })
  }

  const toPaper = () => plotly()?.relayout(plot, { width: ON_PAPER })
  const toScreen = () => plotly()?.relayout(plot, { width: null, autosize: true })

  function end() {
    ended = true
    removeEventListener("beforeprint", toPaper)
    removeEventListener("afterprint", toScreen)
    dark.removeEventListener("change", redraw)
    document.removeEventListener("beadline:appearance", redraw)
    plotly()?.purge(plot)
  }

  addEventListener("beforeprint", toPaper)
  addEventListener("afterprint", toScreen)
  dark.addEventListener("change", redraw)
  document.addEventListener("beadline:appearance", redraw)
  redraw()
  return { redraw, remark, end }
}

/**
 * @param {Plot} plot
 * @param {Told} told
 */
function listen(plot, { onClick, onZoom, onDrag }) {
  if (onClick) plot.on("plotly_click", ({ points, event }) => points.length && onClick(points[0], Boolean(event?.shiftKey)))
  if (onDrag) plot.on("plotly_relayout", onDrag)
  if (!onZoom) return
  plot.on("plotly_doubleclick", () => onZoom(null))
  plot.on("plotly_relayout", (changed) => {
    const range = ["xaxis.range[0]", "xaxis.range[1]"].map((end) => changed[end])
    if (range.every(Number.isFinite)) onZoom([range[0], range[1]])
  })
}
