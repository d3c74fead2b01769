import assert from "node:assert/strict";
import { test } from "node:test";
import { ahead, told, words, type Item } from "./tally.ts";

const BRACKET: Item = { item: "bracket", listed: 4, counted: 2, damaged: 0, looked: true, missing: 0 };
const one = (pieces: number, damaged = 0) => ({ item: "bracket", pieces, damaged, to: null });

test("taps on their way are shown on top of what the service has told", () => {
  assert.equal(ahead(BRACKET, [one(1), one(1), { ...one(1), item: "hood" }]).counted, 4);
  assert.equal(ahead(BRACKET, [one(1), { ...one(0), to: 4 }, one(-1)]).counted, 3);
  assert.equal(ahead(BRACKET, [one(-5)]).counted, 0);
  assert.equal(ahead(BRACKET, [one(0, 3)]).damaged, 2);
  assert.ok(ahead({ ...BRACKET, looked: false }, [{ ...one(0), to: 0 }]).looked);
});

test("words tell a short from an item that nobody has looked at", () => {
  assert.deepEqual(words({ ...BRACKET, looked: false, counted: 0 }), { text: "○ not looked at", warn: true });
  assert.deepEqual(words(BRACKET), { text: "▲ 2 short", warn: true });
  assert.deepEqual(words({ ...BRACKET, counted: 5, damaged: 1 }), { text: "✓ all here", warn: false });
  assert.equal(words({ ...BRACKET, counted: 4, damaged: 1 }).text, "▲ 1 short");
  assert.equal(words({ ...BRACKET, listed: 0, counted: 1 }).text, "+ not on the list");
});

test("a line says what it did", () => {
  const line = { id: 1, item: "bracket", pieces: -1, damaged: 0, code: "", by: "x", when: "" };
  assert.equal(told(line), "-1 bracket");
  assert.equal(told({ ...line, pieces: 0, damaged: 1 }), "bracket, +1 damaged");
  assert.equal(told({ ...line, pieces: 0 }), "+0 bracket");
  assert.equal(told(line, "soporte"), "-1 soporte"); // as the page of its reader names it
});
