import assert from "node:assert/strict"
import { test } from "node:test"

import { curveFigure } from "beadline/lib/curve_figure.js"
import { pulseFigure } from "beadline/lib/pulse_figure.js"
import { ribbonFigure, whereItHappens } from "beadline/lib/ribbon_figure.js"
import { trendFigure } from "beadline/lib/trend_figure.js"

const theme = new Proxy({}, { get: (_, name) => `colour of ${String(name)}` })
const trend = (key, more = {}) => ({
  key, title: key.toUpperCase(), unit: "cm", digits: 3, cycle: [1, 2, 3, 4], value: [1, 2, 3, null], u: [0.1, 0.1, null, null],
  ewma: [1, 1.2, 1.6, 1.6], kind: ["ok", "watch", "act", "void"], centre: 1, band: [0.8, 1.2], alert: [null, 1.9], action: [0.2, 2.5], by_procedure: { alert: [null, null], action: [null, null] }, ...more,
})
const bed = { trends: [trend("hetp"), trend("asymmetry"), trend("mean")], events: [{ place: 2.5, mark: "≈", label: "Cleaned in place, after cycle 2" }, { place: 3, mark: "!", label: "Past alert limit, cycle 3" }, { place: 2.5, mark: "+", label: "Pump serviced, after cycle 2" }], cycles: [1, 2, 3, 4] }
const nothing = { cycle: null, others: [], zoom: null }
const draw = (more = {}) => trendFigure(bed, { theme, shown: ["hetp", "mean"], selection: { cycle: 2, others: [3], zoom: null }, ...more })

test("on a phone, labels of limits that lie close together do not lie on one another", () => {
  const close = { ...bed, trends: [trend("hetp", { value: [1, 2, 9, null], alert: [1.8, 1.9], action: [1.7, 2] })] }
  const { layout } = trendFigure(close, { theme, shown: ["hetp"], selection: nothing, narrow: true })
  const [low, high] = layout.yaxis.range
  const labels = layout.annotations.filter(({ text }) => /^(alert|action) /.test(text))
  const heights = labels.map(({ y, yshift }) => ((y - low) / (high - low)) * 138 + yshift).sort((a, b) => a - b)
  assert.equal(heights.length, 4)
  heights.slice(1).forEach((height, i) => assert.ok(height - heights[i] >= 13.9, `${heights}`))
})

test("on a phone, an upper action limit is named above its line and its alert limit below, wherever they lie", () => {
  const high = { ...bed, trends: [trend("hetp", { value: [1, 2, 30, null], alert: [null, 4], action: [null, 5] })] }
  const { layout } = trendFigure(high, { theme, shown: ["hetp"], selection: nothing, narrow: true })
  const shift = (word) => layout.annotations.find(({ text }) => text.startsWith(word)).yshift
  assert.ok(shift("action") > 0 && shift("alert") < 0)
})

test("only what is chosen gets a panel, and panels do not overlap", () => {
  const { layout } = draw()
  assert.deepEqual(Object.keys(layout).filter((key) => key.startsWith("yaxis")), ["yaxis", "yaxis2"])
  assert.ok(layout.yaxis.domain[0] > layout.yaxis2.domain[1])
})

test("shape and fill carry the verdict, not colour alone", () => {
  const markers = draw().data.filter((trace) => trace.mode === "markers" && trace.yaxis === "y").map((trace) => trace.marker)
  const looks = markers.map(({ symbol, gradient, line }) => `${symbol} ${gradient ? "half" : ""} ${line.width}`)
  assert.equal(markers.length, 4)
  assert.equal(new Set(looks).size, 4)
})

test("every bead says its value, uncertainty, unit and verdict in words", () => {
  const said = draw().data.filter((trace) => trace.mode === "markers" && trace.yaxis === "y").flatMap((trace) => trace.text)
  assert.deepEqual(said.sort(), ["1.00 ± 0.10 cm, in limits", "2.00 ± 0.10 cm, past alert limit", "3.00 cm, past action limit", "not usable"].sort())
})

test("each limit is drawn and named; alert dashed, action solid", () => {
  const { shapes, annotations } = draw({ shown: ["hetp"] }).layout
  const lines = shapes.filter((shape) => shape.type === "line" && shape.yref === "y")
  assert.deepEqual(lines.map(({ y0, line }) => [y0, line.dash]), [[0.2, "solid"], [2.5, "solid"], [1.9, "dash"]])
  const words = annotations.map(({ text }) => text)
  for (const word of ["action 0.200", "action 2.50", "alert 1.90"]) assert.ok(words.includes(word), word)
})

test("limits by procedure stand beside the others, are named so and drawn otherwise", () => {
  const set = { alert: [null, 2.2], action: [null, 4] }
  const { layout } = trendFigure({ ...bed, trends: [trend("hetp", { by_procedure: set })] }, { theme, shown: ["hetp"], selection: nothing })
  const lines = layout.shapes.filter((shape) => shape.type === "line" && shape.yref === "y")
  assert.deepEqual(lines.slice(3).map(({ y0, line }) => [y0, line.dash]), [[4, "longdashdot"], [2.2, "dashdot"]])
  const words = layout.annotations.map(({ text }) => text)
  for (const word of ["action 2.50", "action by procedure 4.00", "alert by procedure 2.20"]) assert.ok(words.includes(word), word)
  assert.ok(layout.yaxis.range[1] > 4)
})

test("the range holds limits and whiskers", () => {
  const [low, high] = draw().layout.yaxis.range
  assert.ok(low < 0.2 && high > 3)
})

test("the selected cycle and the events are marked on the shared axis", () => {
  const { shapes, annotations } = draw().layout
  assert.ok(shapes.some(({ type, x0, x1 }) => type === "rect" && x0 === 1.5 && x1 === 2.5))
  const down = shapes.filter(({ type, yref }) => type === "line" && yref === "paper")
  assert.deepEqual(down.map(({ x0 }) => x0), [2.5, 3])
  const marks = annotations.filter(({ hovertext }) => hovertext)
  assert.deepEqual(marks.map(({ text }) => text), ["≈+", "!"])
  assert.equal(marks[0].hovertext, "Cleaned in place, after cycle 2<br>Pump serviced, after cycle 2")
})

test("what happened before the first cycle is on the axis too", () => {
  const packed = { place: 0.5, mark: "□", label: "Packed, before cycle 1" }
  const { layout } = trendFigure({ ...bed, events: [packed] }, { theme, shown: ["hetp"], selection: nothing })
  assert.ok(layout.xaxis.range[0] < 0.5)
})

test("without limits or band nothing is invented", () => {
  const bare = trend("bare", { band: null, alert: [null, null], action: [null, null] })
  const { layout } = trendFigure({ trends: [bare], events: [], cycles: [1, 2, 3, 4] }, { theme, shown: ["bare"], selection: nothing })
  assert.deepEqual(layout.shapes, [])
})

test("a curve without an envelope is drawn alone", () => {
  const curve = { grid: [0, 1], fraction: [0, 1], low: [], high: [], density: [0, 1], baseline: [] }
  assert.equal(curveFigure(curve, theme).data.length, 2)
})

test("the ribbon shows a column a cycle and crops to where the slope is", () => {
  const ribbon = { grid: [0, 0.5, 1, 1.5, 2, 2.5], cycles: [1, 2], density: [[0, 0, 5, 0, 0, 0], [0, 0, 4, 3, 0, 0]] }
  assert.deepEqual(whereItHappens(ribbon), [0.5, 2])
  const { data } = ribbonFigure(ribbon, { theme, selection: nothing })
  assert.deepEqual(data[0].z[2], [5, 4])
})

test("a ribbon of flat curves shows its whole grid", () => {
  assert.deepEqual(whereItHappens({ grid: [0, 1], density: [[0, 0]] }), [0, 1])
})

test("a pulse is drawn with every ruler named, and without what is missing", () => {
  const peak = { volume: [0, 1, 2], signal: [0, 5, 0], fit: [], unit: "mS/cm", apex: [1, 5], rulers: [{ name: "half height", line: [0.5, 2.5, 1.5, 2.5] }], tangents: [], window: null }
  const { data, layout } = pulseFigure(peak, theme)
  assert.equal(data.length, 1)
  assert.deepEqual(layout.annotations.map(({ text }) => text), ["half height"])
  assert.deepEqual(layout.shapes.map(({ x0, y0, x1, y1 }) => [x0, y0, x1, y1]), [[0.5, 2.5, 1.5, 2.5], [1, 0, 1, 5]])
})

test("a zoom holds for the shared axis, and the limits still reach across all of it", () => {
  const whole = draw().layout
  const { layout } = draw({ selection: { ...nothing, zoom: [2, 3] } })
  assert.deepEqual(layout.xaxis.range, [2, 3])
  assert.deepEqual(layout.shapes.filter(({ x0 }) => x0 < 1), whole.shapes.filter(({ x0 }) => x0 < 1))
})

test("every selected cycle is marked", () => {
  const marked = draw().layout.shapes.filter(({ fillcolor, opacity }) => fillcolor === theme.dataPale && opacity)
  assert.deepEqual(marked.map(({ x0 }) => x0), [2.5, 1.5])
})

test("another bed is drawn behind this one, in the panels whose metric it has", () => {
  const compared = { label: "Dunlin, packing 1", trends: { hetp: { cycle: [1, 2], value: [5, 90] } } }
  const { data, layout } = trendFigure({ ...bed, compared }, { theme, shown: ["hetp", "mean"], selection: nothing })
  const lines = data.filter(({ line }) => line?.dash === "dot")
  assert.equal(lines.length, 1)
  assert.match(lines[0].hovertemplate, /Dunlin, packing 1/)
  assert.ok(layout.yaxis.range[1] > 90)
})

test("other cycles' curves are told apart by their dashes and named", () => {
  const grid = [0, 1]
  const one = { label: "cycle 3", fraction: [0, 1], density: [0, 2] }
  const two = { label: "cycle 4", fraction: [0, 1], density: [0, 9] }
  const { data, layout } = curveFigure({ grid, fraction: [0, 1], low: [], high: [], density: [0, 1], baseline: [], beside: [one, two] }, theme)
  const named = data.filter(({ showlegend }) => showlegend)
  assert.deepEqual(named.map(({ name }) => name), ["cycle 3", "cycle 4"])
  assert.notEqual(named[0].line.dash, named[1].line.dash)
  assert.ok(layout.yaxis2.range[1] > 9)
})
