import assert from "node:assert/strict";
import { test } from "node:test";
import { drawn, pathOf, placed, type Strokes } from "./signature.ts";
import { after, type DayState } from "./state.ts";
import type { Entry } from "./queue.ts";

test("a finger's place is a point of the field, whatever its size on the screen, and never outside", () => {
  const box = { left: 20, top: 100, width: 300, height: 120 };
  assert.deepEqual(placed(box, 20, 100), [0, 0]);
  assert.deepEqual(placed(box, 170, 160), [500, 200]);
  assert.deepEqual(placed(box, 999, -5), [1000, 0]);
});

test("points that say nothing more are left out, and a full field takes no more", () => {
  const one: Strokes = [[[10, 10]]];
  assert.equal(drawn(one, [11, 12]), one);
  assert.deepEqual(drawn(one, [40, 10]), [[[10, 10], [40, 10]]]);
  const full: Strokes = [Array.from({ length: 6000 }, (_, n): [number, number] => [n % 1000, 0])];
  assert.equal(drawn(full, [500, 300]), full);
});

test("strokes are drawn as lines, a dot too", () => {
  assert.equal(pathOf([[[1, 2], [3, 4], [5, 6]], [], [[7, 8]]]), "M1 2L3 4 5 6M7 8L7 8");
});

test("a signature that waits counts, and one taken back does not", () => {
  const state = { stops: [], steps: {}, results: {}, ticks: {}, photos: {}, times: {} } as unknown as DayState;
  const entry = (body: Record<string, unknown>): Entry =>
    ({ n: 1, key: "k", page: "/p", thing: "t", path: "/p/signatures", body: { at: "2027-04-12T13:00:00Z", ...body }, words: "", tries: 0 });
  const signed = after(state, entry({ visit: "a", name: "Ana", strokes: [[[1, 1], [9, 9]]], signed: true }));
  assert.deepEqual(signed.signatures, { a: { name: "Ana", at: "2027-04-12T13:00:00Z" } });
  assert.deepEqual(after(signed, entry({ visit: "a", signed: false })).signatures, {});
});
