import assert from "node:assert/strict";
import { test } from "node:test";
import { curve } from "./curve.ts";

test("nothing is drawn before there is a plan", () => {
  assert.deepEqual(curve([{ seconds: 1, cost: null, bound: 500 }]), { cost: "", bound: "" });
});

test("cost falls and bound rises to the same height where the plan is proven", () => {
  const drawn = curve([
    { seconds: 0, cost: 1000, bound: null },
    { seconds: 5, cost: 800, bound: 400 },
    { seconds: 10, cost: 600, bound: 600 },
  ]);
  assert.equal(drawn.cost, "M0.0 3.0H300.0V30.0H600.0V57.0H600");
  assert.ok(drawn.bound.startsWith("M300.0 57.0"));
  assert.ok(drawn.bound.endsWith("V57.0H600"));
});

test("a first plan that is far off does not flatten the rest", () => {
  const costs = [90000, 1000, 900, 800, 700];
  const drawn = curve(costs.map((cost, seconds) => ({ seconds, cost, bound: null })));
  assert.match(drawn.cost, /^M0\.0 3\.0H150\.0V3\.0H300\.0V/);
});
