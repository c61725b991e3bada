import { concerns, told } from "beadline/lib/news.js"
import { part } from "beadline/modules/parts.js"
import { mount, unmount } from "beadline/mount.js"

const SETTLE_MS = 400 // a run and its alert come together
const STALE_MS = 8000 // a short break is no news

/**
 * Hear of runs and alerts; renew the regions that can be renewed, say so elsewhere, and say when nothing is heard.
 * @param {HTMLElement} root
 */
export function live(root) {
  const words = part(root, "[role=status]")
  const link = /** @type {HTMLAnchorElement} */ (part(root, "a"))
  const bed = /** @type {HTMLElement | null} */ (document.querySelector("[data-bed]"))?.dataset.bed
  /** @type {EventSource | undefined} */
  let stream
  let last = ""
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let settling
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let staleSoon
  let stale = false
  /** @type {import("beadline/lib/news.js").News[]} */
  let waiting = []

  /** @param {string} text @param {boolean} offered */
  const say = (text, offered) => {
    words.textContent = text
    link.hidden = !offered
    link.href = location.href
    root.dataset.shown = text ? "yes" : ""
  }
  const settle = async () => {
    const news = waiting
    waiting = []
    const renewed = await renewRegions()
    say(told(news), !renewed)
  }
  /** @param {MessageEvent<string>} event */
  const hear = (event) => {
    last = event.lastEventId
    if (event.type !== "news") return
    const one = JSON.parse(event.data)
    if (!concerns(one, bed)) return
    waiting.push(one)
    clearTimeout(settling)
    settling = setTimeout(settle, SETTLE_MS)
  }
  const answered = () => {
    clearTimeout(staleSoon)
    staleSoon = undefined
    if (stale) say("", false)
    stale = false
  }
  const unanswered = () => {
    staleSoon ??= setTimeout(() => {
      stale = true
      say("This page may be out of date: the server does not answer. It is tried again.", true)
    }, STALE_MS)
  }
  const stop = () => {
    stream?.close()
    clearTimeout(staleSoon)
    staleSoon = undefined
  }
  // a page out of sight lets go of its connection, of which a browser has few for one server
  const follow = () => {
    stop()
    if (document.hidden) return
    stream = new EventSource(last ? `${root.dataset.address}?after=${last}` : String(root.dataset.address))
    stream.addEventListener("news", hear)
    stream.addEventListener("here", hear)
    stream.addEventListener("open", answered)
    stream.addEventListener("error", unanswered)
  }
  document.addEventListener("visibilitychange", follow)
  follow()
  link.addEventListener("click", (event) => {
    event.preventDefault() // a link to where one is would only move to the fragment
    location.reload()
  })
  return () => {
    document.removeEventListener("visibilitychange", follow)
    stop()
  }
}

/** Replace what the page marks as [data-live] by what the server says now; false if it marks nothing. */
async function renewRegions() {
  const regions = document.querySelectorAll("[data-live]")
  const answer = await fetch(location.href, { headers: { accept: "text/html" } })
  if (!answer.ok) return false
  const page = new DOMParser().parseFromString(await answer.text(), "text/html")
  const waiting = document.querySelector("#waiting")
  const nowWaiting = page.querySelector("#waiting")
  if (waiting && nowWaiting) waiting.replaceWith(document.adoptNode(nowWaiting))
  for (const region of regions) {
    const fresh = page.getElementById(region.id)
    if (!fresh) continue
    unmount(region)
    region.replaceChildren(...document.adoptNode(fresh).childNodes)
    startAgain(region)
  }
  return regions.length > 0
}

/** @param {Element} region */
async function startAgain(region) {
  const { modules } = await import("beadline/modules.js")
  mount(region, modules)
}
