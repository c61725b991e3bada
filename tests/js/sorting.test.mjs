import assert from "node:assert/strict"
import { test } from "node:test"

import { nextDirection, orderOf } from "beadline/lib/sorting.js"

test("three presses go up, down and back to the given order", () => {
  assert.equal(nextDirection(null), "ascending")
  assert.equal(nextDirection("ascending"), "descending")
  assert.equal(nextDirection("descending"), null)
})

test("numbers sort as numbers, not as text", () => {
  assert.deepEqual(orderOf(["9", "10", "-2"], "ascending"), [2, 0, 1])
})

test("rows without a number stay last both ways", () => {
  assert.deepEqual(orderOf(["", "2", "1"], "ascending"), [2, 1, 0])
  assert.deepEqual(orderOf(["", "2", "1"], "descending"), [1, 2, 0])
})

test("equal rows keep their order, and no direction keeps all", () => {
  assert.deepEqual(orderOf(["1", "1", "1"], "descending"), [0, 1, 2])
  assert.deepEqual(orderOf(["3", "1"], null), [0, 1])
})
