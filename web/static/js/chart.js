import { library, loaded } from "beadline/library.js"
import { sketch, unsketch } from "beadline/sketching.js"
import { readTheme } from "beadline/theme.js"

const CONFIG = { displayModeBar: false, responsive: true, doubleClick: false, showTips: false, displaylogo: false }
/** Shapes that say so themselves can be dragged. */
const DRAGGABLE = { ...CONFIG, edits: { shapePosition: true } }

/** How wide a chart is on paper, in px: a sheet of A4 within its margins. */
const ON_PAPER = 660

/** @typedef {import("beadline/charts.js").Figure} Figure */
/** @typedef {HTMLElement & { layout?: object, on: (name: string, heard: (event: any) => void) => void }} Plot */

/**
 * A chart in its place. Its root's data-state is "drawing", "sketched", "drawn", or "failed", after which the table
 * beside it has to do.
 */
export class Chart {
  /**
   * @param {Plot} plot
   * @param {(theme: import("beadline/theme.js").Theme) => Figure} figure
   * @param {{ draggable: boolean, onFirstDrawn: () => void }} look
   */
  constructor(plot, figure, look) {
    this.plot = plot
    this.figure = () => figure(readTheme())
    this.look = look
    this.ended = false
    this.root = /** @type {HTMLElement} */ (plot.closest("[data-module], [data-chart]"))
    this.root.dataset.state = "drawing"
    plot.hidden = false
  }

  /** @param {string} state */
  is(state) {
    return this.root.dataset.state === state
  }

  /** Draw with the library, in place of a sketch. */
  async draw() {
    try {
      const drawn = await library()
      if (this.ended) return
      const { data, layout } = this.figure()
      this.plot.style.height = `${layout.height}px`
      const first = !this.plot.layout
      await drawn.react(this.plot, data, layout, this.look.draggable ? DRAGGABLE : CONFIG)
      if (this.ended) return
      unsketch(this.plot)
      if (first) this.look.onFirstDrawn()
      this.root.dataset.state = "drawn"
    } catch (error) {
      this.plot.hidden = true
      this.root.dataset.state = "failed"
      console.error(error)
    }
  }

  /** @param {number} [width] in px; that of its place if none is given */
  sketch(width) {
    const figure = this.figure()
    this.plot.style.height = `${figure.layout.height}px`
    sketch(this.plot, figure, width)
    this.root.dataset.state = "sketched"
  }

  redraw() {
    if (this.is("sketched")) this.sketch()
    else this.draw()
  }

  /** Draw only the shapes again, which is quick. */
  remark() {
    if (this.is("drawn")) loaded().relayout(this.plot, { shapes: this.figure().layout.shapes })
    else if (this.is("sketched")) this.sketch()
  }

  toPaper() {
    if (this.is("sketched")) this.sketch(ON_PAPER)
    else if (this.is("drawn")) loaded().relayout(this.plot, { width: ON_PAPER })
    else this.draw()
  }

  toScreen() {
    if (this.is("sketched")) this.sketch()
    else if (this.is("drawn")) loaded().relayout(this.plot, { width: null, autosize: true })
  }

  end() {
    this.ended = true
    loaded()?.purge(this.plot)
  }
}
