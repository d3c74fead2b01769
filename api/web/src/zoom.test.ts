import assert from "node:assert/strict";
import { test } from "node:test";
import { stepped } from "./zoom.ts";

test("steps nearer and farther meet again at the whole, and end somewhere", () => {
  assert.equal(stepped(stepped(1, 1), -1), 1);
  assert.equal(stepped(1, -1), 1);
  assert.equal(stepped(3, 0), 1);
  let scale = 1;
  for (let n = 0; n < 20; n++) scale = stepped(scale, 1);
  assert.equal(scale, 6);
});
