/** The only file that names the plotting library: it loads it when the first chart needs it. */

/** @type {Promise<any> | undefined} */
let loading

/** @returns {Promise<any>} the library, asked for once */
export function library() {
  loading ??= new Promise((resolve, reject) => {
    const script = document.createElement("script")
    const address = document.querySelector("meta[name=plotly-address]")
    script.src = address instanceof HTMLMetaElement ? address.content : ""
    script.onload = () => resolve(loaded())
    script.onerror = () => reject(new Error("The plotting library did not load."))
    document.head.append(script)
  })
  return loading
}

/** @returns {any} the library once it is there */
export function loaded() {
  return "Plotly" in window ? window.Plotly : undefined
}

/**
 * Hear what is done in a chart that the library has drawn.
 * @param {import("beadline/chart.js").Plot} plot
 * @param {import("beadline/charts.js").Told} told
 */
export function listen(plot, { onClick, onZoom, onDrag }) {
  if (onClick) plot.on("plotly_click", ({ points, event }) => points.length && onClick(points[0], Boolean(event?.shiftKey)))
  if (onDrag) plot.on("plotly_relayout", onDrag)
  if (!onZoom) return
  plot.on("plotly_doubleclick", () => onZoom(null))
  plot.on("plotly_relayout", (changed) => {
    const range = ["xaxis.range[0]", "xaxis.range[1]"].map((end) => changed[end])
    if (range.every(Number.isFinite)) onZoom([range[0], range[1]])
  })
}
