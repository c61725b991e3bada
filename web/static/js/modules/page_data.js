/**
 * The data that the server wrote into the page for its charts.
 * @returns {any}
 */
export function chartData() {
  return JSON.parse(document.getElementById("chart-data").textContent)
}

const SELECT = "beadline:select"

/**
 * Tell every part of the page that a cycle is selected.
 * @param {number} cycle
 */
export function select(cycle) {
  document.dispatchEvent(new CustomEvent(SELECT, { detail: cycle }))
}

/**
 * Hear which cycle is selected; returns how to stop.
 * @param {(cycle: number) => void} heard
 */
export function onSelect(heard) {
  const listen = (event) => heard(event.detail)
  document.addEventListener(SELECT, listen)
  return () => document.removeEventListener(SELECT, listen)
}

/** Whether the page is too narrow for labels beside the charts. */
export function isNarrow() {
  return matchMedia("(max-width: 44rem)").matches
}
