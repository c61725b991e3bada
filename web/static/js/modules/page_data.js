import { addressOf, chosen, readSelection } from "beadline/lib/selection.js"

/** @typedef {import("beadline/lib/selection.js").Selection} Selection */

const SELECT = "beadline:select"

/** @type {Selection | undefined} */
let selection

/**
 * The data that the server wrote into the page for its charts.
 * @returns {any}
 */
export function chartData() {
  return JSON.parse(document.getElementById("chart-data")?.textContent ?? "null")
}

/**
 * What is selected now; at first what the server and the address say.
 * @returns {Selection}
 */
export function selected() {
  selection ??= { ...readSelection(location.href), cycle: chartData().selected, others: chartData().others }
  return selection
}

/**
 * Select a cycle, beside what is selected if so asked, and tell every part of the page.
 * @param {number} cycle
 * @param {boolean} [add]
 */
export function select(cycle, add = false) {
  change(chosen(selected(), cycle, add))
}

/**
 * Show a part of the axis of cycles in all charts; null for all of it.
 * @param {[number, number] | null} zoom
 */
export function zoomTo(zoom) {
  change({ ...selected(), zoom })
}

/** @param {Selection} after */
function change(after) {
  const before = selected()
  selection = after
  history.replaceState(null, "", addressOf(location.href, after))
  document.dispatchEvent(new CustomEvent(SELECT, { detail: { before, after } }))
}

/**
 * Hear what is selected, and what was before; returns how to stop.
 * @param {(after: Selection, before: Selection) => void} heard
 */
export function onSelect(heard) {
  /** @param {Event} event */
  const listen = (event) => {
    if (event instanceof CustomEvent) heard(event.detail.after, event.detail.before)
  }
  document.addEventListener(SELECT, listen)
  return () => document.removeEventListener(SELECT, listen)
}

/** Whether the page is too narrow for labels beside the charts. */
export function isNarrow() {
  return matchMedia("(max-width: 44rem)").matches
}
