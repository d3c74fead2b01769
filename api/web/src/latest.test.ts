import assert from "node:assert/strict";
import { test } from "node:test";
import { Latest } from "./latest.ts";

const rest = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms));

test("many changes in a moment are one run", async () => {
  let runs = 0;
  const latest = new Latest(async () => void runs++, 15);
  for (let n = 0; n < 5; n++) latest.changed();
  await rest(50);
  assert.equal(runs, 1);
});

test("never two at once, and what changed meanwhile is run last", async () => {
  let value = 1;
  let at_once = 0;
  const seen: number[] = [];
  const latest = new Latest(async () => {
    assert.equal(++at_once, 1);
    const taken = value;
    await rest(20);
    seen.push(taken);
    at_once--;
  }, 1);
  const first = latest.now();
  for (value = 2; value < 5; value++) void latest.now();
  value = 9;
  await first;
  assert.deepEqual(seen, [1, 9]);
});

test("a run that fails does not stop the next", async () => {
  let runs = 0;
  const latest = new Latest(async () => {
    if (++runs === 1) throw new Error("no connection");
  }, 1);
  await assert.rejects(latest.now());
  await latest.now();
  assert.equal(runs, 2);
});
