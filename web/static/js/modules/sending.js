import { mount, unmount } from "beadline/mount.js"

/**
 * Send a form without leaving the page, so that nothing is lost if the server is away or refuses.
 * @param {HTMLFormElement} form
 * @param {HTMLElement} place where to say how it goes: a live region with a button to send again
 * @param {() => void} taken told when the server has it
 */
export async function send(form, place, taken) {
  const buttons = /** @type {HTMLButtonElement[]} */ ([...form.querySelectorAll("button[type=submit]")])
  const words = /** @type {HTMLElement} */ (place.querySelector("[role=status]"))
  const again = /** @type {HTMLButtonElement} */ (place.querySelector("[data-again]"))
  /** @param {string} text @param {boolean} offered */
  const say = (text, offered) => {
    words.textContent = text
    again.hidden = !offered
    place.hidden = !text
    for (const button of buttons) button.disabled = !offered
  }
  say("Sending …", false)
  try {
    const answer = await fetch(form.action, { method: "POST", body: new FormData(form) })
    if (answer.redirected) return leave(answer.url, taken)
    const page = new DOMParser().parseFromString(await answer.text(), "text/html")
    if (putAnswer(page, form)) return
    say(`The server did not take it: ${page.querySelector("main h1")?.textContent ?? `answer ${answer.status}`} Everything typed is kept on this device.`, true)
  } catch (error) {
    console.warn(error)
    say("The server does not answer. Everything typed is kept on this device, and a chosen file stays chosen while this page is open.", true)
  }
}

/**
 * Follow where the server leads; a page to sign in means that it has nothing yet.
 * @param {string} address
 * @param {() => void} taken
 */
function leave(address, taken) {
  const signIn = new URL(address).pathname === "/sign-in"
  if (!signIn) taken()
  location.assign(signIn ? `/sign-in?then=${encodeURIComponent(location.pathname + location.search)}` : address)
}

/**
 * Show a refusal in place of the form, the chosen files still chosen; false if the answer holds no such form.
 * @param {Document} page
 * @param {HTMLFormElement} form
 */
function putAnswer(page, form) {
  const main = document.querySelector("main")
  const fresh = page.querySelector("main")
  const same = (/** @type {Element} */ other) => other.getAttribute("action") === form.getAttribute("action")
  if (!main || !fresh || ![...fresh.querySelectorAll("form")].some(same)) return false
  const files = new Map(filesOf(form).map((input) => [input.name, input.files]))
  unmount(main)
  main.replaceChildren(...document.adoptNode(fresh).childNodes)
  for (const input of filesOf(main)) input.files = files.get(input.name) ?? null
  startAgain(main)
  return true
}

/**
 * @param {ParentNode} part
 * @returns {HTMLInputElement[]}
 */
function filesOf(part) {
  return [...part.querySelectorAll("input[type=file]")].filter((input) => input instanceof HTMLInputElement)
}

/** @param {HTMLElement} main */
async function startAgain(main) {
  const { modules } = await import("beadline/modules.js")
  mount(main, modules)
  for (const input of filesOf(main)) if (input.files?.length) input.dispatchEvent(new Event("change", { bubbles: true }))
  main.focus()
  main.querySelector("[role=alert], [aria-invalid=true]")?.scrollIntoView({ block: "center" })
}
