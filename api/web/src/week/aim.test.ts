import assert from "node:assert/strict";
import { test } from "node:test";
import { same, step, type Aim, type Arrow, type Grid } from "./aim.ts";

// Two crews, three days; b is off on day 1.
const held: Record<string, (number | null)[]> = { a: [2, 0, 1], b: [1, null, 3] };
const grid: Grid = { crews: ["a", "b"], days: 3, visits: (crew, day) => held[crew]![day]! };
const home = { crew: "a", day: 0, position: 1 };

function walk(from: Aim, ...arrows: Arrow[]): Aim {
  return arrows.reduce<Aim>((aim, arrow) => step(grid, aim, arrow, home), from);
}

test("up and down go through the places of a day, then to the next crew", () => {
  assert.deepEqual(walk(home, "ArrowDown"), { crew: "a", day: 0, position: 2 });
  assert.deepEqual(walk(home, "ArrowDown", "ArrowDown"), { crew: "b", day: 0, position: 0 });
  assert.deepEqual(walk({ crew: "b", day: 0, position: 0 }, "ArrowUp"), { crew: "a", day: 0, position: 2 });
  assert.deepEqual(walk({ crew: "a", day: 0, position: 0 }, "ArrowUp"), { crew: "a", day: 0, position: 0 });
});

test("left and right keep the place as far as the day has it, and step over days off", () => {
  assert.deepEqual(walk(home, "ArrowRight"), { crew: "a", day: 1, position: 0 });
  assert.deepEqual(walk({ crew: "b", day: 0, position: 1 }, "ArrowRight"), { crew: "b", day: 2, position: 1 });
  assert.deepEqual(walk({ crew: "a", day: 0, position: 0 }, "ArrowLeft"), { crew: "a", day: 0, position: 0 });
});

test("past the last day lies the pile, and left leads back", () => {
  const end = { crew: "a", day: 2, position: 0 };
  assert.equal(walk(end, "ArrowRight"), "pile");
  assert.equal(walk(end, "ArrowRight", "ArrowDown"), "pile");
  assert.deepEqual(walk("pile", "ArrowLeft"), { crew: "a", day: 2, position: 1 });
});

test("a crew off that day is stepped over", () => {
  assert.deepEqual(walk({ crew: "a", day: 1, position: 0 }, "ArrowDown"), { crew: "a", day: 1, position: 0 });
});

test("places are compared by value", () => {
  assert.ok(same({ ...home }, home));
  assert.ok(!same("pile", home));
  assert.ok(same("pile", "pile"));
});
