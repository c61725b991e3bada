import assert from "node:assert/strict"
import { test } from "node:test"

import { concerns, told } from "beadline/lib/news.js"

const run = { thing: "cycle", said: "Logged cycle 61 of CH-104, packing 1" }
const alert = { thing: "alert", said: "Raised alert 7 of CH-104" }

test("one piece of news is told whole, several by the last", () => {
  assert.equal(told([]), "")
  assert.equal(told([run]), "New: Logged cycle 61 of CH-104, packing 1.")
  assert.equal(told([run, alert]), "New: Raised alert 7 of CH-104, and 1 more.")
})

test("a page about one bed hears of that bed alone", () => {
  assert.ok(concerns(run, "CH-104"))
  assert.ok(!concerns(run, "CH-10"))
  assert.ok(!concerns(run, "H-104"))
  assert.ok(concerns({ thing: "cycle", said: "Logged cycle 3 of Old Knot, packing 1" }, "Old Knot"))
  assert.ok(concerns(run, undefined))
})
