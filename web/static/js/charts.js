/** The only file that names the plotting library: it loads it when the first chart is drawn. */
import { readTheme } from "beadline/theme.js"

const CONFIG = { displayModeBar: false, responsive: true, doubleClick: "reset", showTips: false, displaylogo: false }

/** How wide a chart is on paper, in px: a sheet of A4 within its margins. */
const ON_PAPER = 660

/** @type {Promise<any> | undefined} */
let loading

function library() {
  loading ??= new Promise((resolve, reject) => {
    const script = document.createElement("script")
    script.src = document.querySelector("meta[name=plotly-address]").content
    script.onload = () => resolve(window.Plotly)
    script.onerror = () => reject(new Error("The plotting library did not load."))
    document.head.append(script)
  })
  return loading
}

/**
 * Keep a chart drawn in `plot`: `figure(theme)` is asked again whenever `redraw` is called or the colours change.
 * The figure around it gets data-state "drawn", or "failed", after which the table beside it has to do.
 * @param {HTMLElement} plot
 * @param {(theme: import("beadline/theme.js").Theme) => {data: object[], layout: object}} figure
 * @param {{onClick?: (point: {x: number, y: number}) => void}} [options]
 */
export function keepDrawn(plot, figure, { onClick } = {}) {
  const root = plot.closest("[data-module]")
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
      await Plotly.react(plot, data, layout, CONFIG)
      if (ended) return
      if (first && onClick) plot.on("plotly_click", ({ points }) => points.length && onClick(points[0]))
      root.dataset.state = "drawn"
    } catch (error) {
      plot.hidden = true
      root.dataset.state = "failed"
      console.error(error)
    }
  }

  const toPaper = () => window.Plotly?.relayout(plot, { width: ON_PAPER })
  const toScreen = () => window.Plotly?.relayout(plot, { width: null, autosize: true })

  function end() {
    ended = true
    removeEventListener("beforeprint", toPaper)
    removeEventListener("afterprint", toScreen)
    dark.removeEventListener("change", redraw)
    document.removeEventListener("beadline:appearance", redraw)
    window.Plotly?.purge(plot)
  }

  addEventListener("beforeprint", toPaper)
  addEventListener("afterprint", toScreen)
  dark.addEventListener("change", redraw)
  document.addEventListener("beadline:appearance", redraw)
  redraw()
  return { redraw, end }
}
