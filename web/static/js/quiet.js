/** Tells when nobody has done anything for a while, so that long work disturbs no one. */

const CALM_MS = 1500
const BETWEEN_MS = 50
const DOINGS = ["pointerdown", "keydown", "wheel", "scroll", "beadline:select"]

/** @type {(() => void)[]} */
const waiting = []
/** @type {ReturnType<typeof setTimeout> | undefined} */
let calm
let heard = false

/**
 * Do something once the page is calm; one piece of work at a time.
 * @param {() => Promise<void> | void} work
 * @returns {() => void} how to call it off
 */
export function whenQuiet(work) {
  waiting.push(work)
  if (!heard) for (const doing of DOINGS) document.addEventListener(doing, waitAgain, { passive: true, capture: true })
  heard = true
  waitAgain()
  return () => {
    const place = waiting.indexOf(work)
    if (place >= 0) waiting.splice(place, 1)
  }
}

function waitAgain() {
  clearTimeout(calm)
  if (waiting.length) calm = setTimeout(next, CALM_MS)
}

async function next() {
  await waiting.shift()?.()
  clearTimeout(calm)
  if (waiting.length) calm = setTimeout(next, BETWEEN_MS) // room for what somebody does meanwhile
}
