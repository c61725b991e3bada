/**
 * A long table within a closed part of the page: its elements are made when it is opened.
 * @param {HTMLDetailsElement} root
 */
export function held(root) {
  const kept = root.querySelector("noscript")
  if (kept) root.addEventListener("toggle", () => kept.replaceWith(...contentOf(kept)), { once: true })
}

/**
 * What a noscript element holds: text as long as it came with the page, elements if script parsed it.
 * @param {Element} kept
 */
function contentOf(kept) {
  if (kept.firstElementChild) return [...kept.childNodes]
  return [...new DOMParser().parseFromString(kept.textContent ?? "", "text/html").body.childNodes]
}
