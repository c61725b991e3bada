import assert from "node:assert/strict"
import { test } from "node:test"

import { workingFigure } from "beadline/lib/working_figure.js"

const theme = new Proxy({}, { get: (_, name) => String(name) })
const transition = {
  unit: "mS/cm",
  volume: [-0.1, 0, 1, 2],
  signal: [5, 5, 45, 85],
  plateaus: [[-0.1, 5, 2, 5.2], [-0.1, 85, 2, 85.2]],
  spikes: [0.4],
  grid: [0, 1, 2],
  fraction: [0, 0.5, 1],
  density: [0, 9, 0],
  levels: [[0.95, 0.1], [1, 0.5]],
  mean: 1.01,
  apex: [1, 9],
  rulers: [{ name: "a", line: [0.9, 0.9, 1, 0.9] }, { name: "b", line: [1, 0.9, 1.12, 0.9] }],
}

test("every construction is drawn where the numbers say", () => {
  const { data, layout } = workingFigure(transition, theme)
  assert.deepEqual(data.map((trace) => trace.yaxis), ["y", "y2", "y2", "y3"])
  const ends = layout.shapes.map(({ yref, x0, x1 }) => [yref, x0, x1])
  assert.ok(ends.some((end) => end.join() === "y,-0.1,2"))
  assert.ok(ends.some((end) => end.join() === "y3,0.9,1"))
  assert.ok(ends.some((end) => end.join() === "y3,1,1.12"))
  assert.deepEqual(layout.annotations.map(({ text }) => text).filter((text) => text.length === 1), ["a", "b"])
})

test("a record without a front draws what there is", () => {
  const bare = { ...transition, plateaus: [], spikes: [], levels: [], mean: null, apex: null, rulers: [], density: [0, 0, 0] }
  const { layout } = workingFigure(bare, theme)
  assert.equal(layout.shapes.length, 1)
})
