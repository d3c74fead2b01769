import assert from "node:assert/strict";
import { test } from "node:test";
import { GONE_MS, QUICK_MS, Sight, Wedge } from "./wedge.ts";

function type(wedge: Wedge, text: string, pause: number, from = 0): string | null {
  let at = from;
  for (const key of text) {
    assert.equal(wedge.key(key, at), null);
    at += pause;
  }
  return wedge.key("Enter", at);
}

test("quick keys and Enter are a code, slow ones are a person's", () => {
  assert.equal(type(new Wedge(), "5901234", 10), "5901234");
  assert.equal(type(new Wedge(), "5901234", QUICK_MS + 1), null);
});

test("a few quick keys are no code", () => {
  assert.equal(type(new Wedge(), "12", 5), null);
});

test("what a person typed before is no part of the code", () => {
  const wedge = new Wedge();
  wedge.key("7", 0);
  wedge.key("7", 400);
  assert.equal(type(wedge, "ABCD", 8, 1000), "ABCD");
  assert.equal(type(wedge, "EFGH", 8, 5000), "EFGH"); // and a second scan begins anew
});

test("Shift between letters is not typed, and a pause before Enter is a person's", () => {
  const wedge = new Wedge();
  for (const [n, key] of ["Shift", "A", "Shift", "B", "1", "2"].entries()) wedge.key(key, n * 10);
  assert.ok(wedge.running);
  assert.equal(wedge.key("Enter", 60), "AB12");
  for (const [n, key] of ["a", "b", "c", "d"].entries()) wedge.key(key, 1000 + n * 10);
  assert.equal(wedge.key("Enter", 2000), null);
});

test("a code in sight counts once, and again after it was gone", () => {
  const sight = new Sight();
  assert.deepEqual(sight.codes(["a", "a"], 0), ["a"]);
  assert.deepEqual(sight.codes(["a", "b"], 300), ["b"]);
  assert.deepEqual(sight.codes(["a"], 300 + GONE_MS), []); // was in sight all the time
  assert.deepEqual(sight.codes(["a"], 2 * GONE_MS + 301), ["a"]);
});
