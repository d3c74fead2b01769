import assert from "node:assert/strict";
import { test } from "node:test";
import { newKey } from "./key.ts";

test("keys are long, plain and never the same", () => {
  const keys = Array.from({ length: 200 }, newKey);
  assert.equal(new Set(keys).size, 200);
  for (const key of keys) assert.match(key, /^[0-9a-f]{32}$/);
});
