import { nextDirection, orderOf } from "beadline/lib/sorting.js"

/**
 * Let the headings marked `data-sort` sort the rows; the order that came from the server returns with the third press.
 * @param {HTMLTableElement} root
 */
export function sortTable(root) {
  const body = root.tBodies[0]
  const asGiven = [...body.rows]
  for (const heading of /** @type {NodeListOf<HTMLTableCellElement>} */ (root.querySelectorAll("th[data-sort]"))) {
    const button = document.createElement("button")
    button.type = "button"
    button.className = "sort"
    button.append(...heading.childNodes)
    heading.append(button)
    button.addEventListener("click", () => sortBy(heading))
  }

  /** @param {HTMLTableCellElement} heading */
  function sortBy(heading) {
    const direction = nextDirection(heading.getAttribute("aria-sort"))
    for (const other of root.querySelectorAll("th[aria-sort]")) other.removeAttribute("aria-sort")
    if (direction) heading.setAttribute("aria-sort", direction)
    const values = asGiven.map((row) => row.cells[heading.cellIndex].dataset.value ?? "")
    body.append(...orderOf(values, direction).map((place) => asGiven[place]))
  }
}
