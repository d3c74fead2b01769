import assert from "node:assert/strict";
import { test } from "node:test";
import { nextAt, words } from "./flow.ts";
import { after, type DayState } from "./state.ts";
import type { Entry } from "./queue.ts";

const DAY: DayState = {
  now: "2027-04-12T12:00:00Z", posted: 1, posted_at: "", loaded: [], out: null, ticks: {}, steps: {}, results: {}, photos: {}, times: {},
  stops: [{ visit: "a", start: 540, end: 600 }, { visit: "b", start: 660, end: 700 }],
};
const entry = (what: string, body: Record<string, unknown>): Entry =>
  ({ n: 1, key: "k", page: "/p", thing: "t", path: `/p/${what}`, body: { at: "2027-04-12T13:00:00Z", ...body }, words: "", tries: 0 });

test("a stop goes from the way to its end, one thing after the other", () => {
  let state = DAY;
  const seen: string[] = [];
  const steps = ["level", "pitch"];
  for (const [what, body] of [
    ["times", { visit: "b", what: "on_way", noted: true }],
    ["times", { visit: "b", what: "here", noted: true }],
    ["steps", { visit: "b", step: "level", signed: true }],
    ["steps", { visit: "b", step: "pitch", signed: true }],
    ["results", { visit: "b", outcome: "done" }],
  ] as const) {
    seen.push(nextAt(state, "b", steps));
    state = after(state, entry(what, body));
  }
  assert.deepEqual([...seen, nextAt(state, "b", steps)], ["on_way", "here", "sign", "sign", "done", "on"]);
});

test("leaving the yard is the way to the first stop, and to no other", () => {
  const out = after(DAY, entry("out", {}));
  assert.equal(nextAt(out, "a", []), "here");
  assert.equal(nextAt(out, "b", []), "on_way");
});

test("a time taken back is open again, and of two the first counts", () => {
  const on = after(DAY, entry("times", { visit: "a", what: "here", noted: true }));
  const twice = after(on, entry("times", { visit: "a", what: "here", noted: true, at: "2027-04-12T15:00:00Z" }));
  assert.equal(twice.times["a"]?.["here"], "2027-04-12T13:00:00Z");
  assert.deepEqual(after(on, entry("times", { visit: "a", what: "here", noted: false })).times["a"], {});
});

test("the last stop leads to the yard", () => {
  assert.equal(words("on", 0, false), "To the yard");
  assert.equal(words("sign", 3, true), "All in order: sign 3 steps");
});
