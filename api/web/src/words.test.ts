import assert from "node:assert/strict";
import { test } from "node:test";
import { clock, dollars } from "./words.ts";

test("values are written as the server writes them", () => {
  assert.deepEqual([0, 555, 1439].map(clock), ["0:00", "9:15", "23:59"]);
  assert.deepEqual([123_456, -99, 1250, 1350, 0].map(dollars), ["$1,235", "-$1", "$12", "$14", "$0"]);
});
