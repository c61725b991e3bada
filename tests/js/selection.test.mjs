import assert from "node:assert/strict"
import { test } from "node:test"

import { cycleAfter, withQuery } from "beadline/lib/selection.js"

const cycles = [1, 2, 3, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14]

test("arrows step through the cycles that exist", () => {
  assert.equal(cycleAfter("ArrowRight", cycles, 3), 5)
  assert.equal(cycleAfter("ArrowLeft", cycles, 5), 3)
})

test("the ends hold", () => {
  assert.equal(cycleAfter("ArrowLeft", cycles, 1), 1)
  assert.equal(cycleAfter("PageUp", cycles, 10), 14)
  assert.equal(cycleAfter("Home", cycles, 9), 1)
  assert.equal(cycleAfter("End", cycles, 2), 14)
})

test("other keys and empty beds mean nothing", () => {
  assert.equal(cycleAfter("a", cycles, 3), null)
  assert.equal(cycleAfter("ArrowRight", [], 3), null)
})

test("a query is set beside what is there, and taken out by an empty value", () => {
  assert.equal(withQuery("http://a/b?x=1", "cycle", 7), "http://a/b?x=1&cycle=7")
  assert.equal(withQuery("http://a/b?x=1&cycle=7", "cycle", ""), "http://a/b?x=1")
})
