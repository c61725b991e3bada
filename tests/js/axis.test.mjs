import assert from "node:assert/strict"
import { test } from "node:test"

import { rangeOf, spread } from "beadline/lib/axis.js"
import { written } from "beadline/lib/numbers.js"

test("a range shows every number, whatever is missing", () => {
  const [low, high] = rangeOf([3, null, undefined, 1, Number.NaN])
  assert.ok(low < 1 && high > 3)
})

test("a range of one number or none still has a width", () => {
  for (const numbers of [[], [null], [0], [5, 5]]) {
    const [low, high] = rangeOf(numbers)
    assert.ok(high > low)
  }
})

test("labels move apart and keep their order", () => {
  const moved = spread([100, 102, 101, 40], 14)
  const order = [3, 0, 2, 1].map((i) => moved[i])
  for (let i = 1; i < order.length; i++) assert.ok(order[i] - order[i - 1] >= 14 - 1e-9)
  assert.equal(moved[3], 40)
})

test("labels far apart stay where they are", () => {
  assert.deepEqual(spread([10, 50], 14), [10, 50])
})

test("numbers are written with significant digits, as the pages write them", () => {
  assert.equal(written(0.03456, 3), "0.0346")
  assert.equal(written(1234.5, 4), "1235")
  assert.equal(written(-0.5, 2), "−0.50")
  assert.equal(written(0, 3), "0")
  assert.equal(written(null, 3), "")
})
